"""Where the server listens: this machine only, one address, or the household's network over TLS."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.web.certificate import certificate_for, fingerprint
from dryside.web.server import bind

if TYPE_CHECKING:
    from dryside.book.folder import Book

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})


@dataclass(frozen=True)
class Place:
    """A place to listen.

    Attributes
    ----------
    socket : socket
        Bound and listening.
    addresses : tuple of str
        What to type into a browser, the likeliest first.
    hosts : frozenset of str
        Names a request's Host header may carry.
    password_needed : bool
        Whether other machines can reach it.
    certificate, key : Path or None
        For TLS.
    """

    socket: socket.socket
    addresses: tuple[str, ...]
    hosts: frozenset[str]
    password_needed: bool
    certificate: Path | None = None
    key: Path | None = None


def listening(book: Book, *, host: str | None, port: int, lan: bool) -> Place:
    """Listen where the person asked.

    Raises
    ------
    Refusal
        If the address or port cannot be listened on.
    """
    if not lan:
        where = host or "127.0.0.1"
        made = bind(where, port)
        port = made.getsockname()[1]
        shown = f"[{where}]" if ":" in where else where
        hosts = LOOPBACK | {where} | (set() if where in LOOPBACK else {*own_addresses(), own_name()})
        return Place(made, (f"http://{shown}:{port}/",), frozenset(hosts), where not in LOOPBACK)
    reached = (host,) if host else own_addresses()
    made = bind(host or "0.0.0.0", port)  # noqa: S104 - asked for by --lan, behind a password and TLS
    port = made.getsockname()[1]
    certificate, key = certificate_for(book.root / "web", [*reached, own_name()])
    addresses = tuple(f"https://{one}:{port}/" for one in (*reached, own_name()))
    return Place(made, addresses, frozenset({*reached, own_name(), *LOOPBACK}), True, certificate, key)


def own_name() -> str:
    """This machine's name in the household's network."""
    name = socket.gethostname().split(".")[0].lower()
    return f"{name}.local" if name else "localhost"


def own_addresses() -> tuple[str, ...]:
    """This machine's addresses in the household's network (IPv4), the one of the default route first.

    Nothing is sent: a datagram socket is only asked which address it would send from.
    """
    found = []
    for target in ("192.0.2.1", "10.255.255.255", "192.168.255.255"):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((target, 9))
                found.append(probe.getsockname()[0])
            except OSError:
                continue
    with contextlib.suppress(OSError):
        found += [str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    usable = [str(one) for one in found if not ipaddress.ip_address(one).is_loopback]
    return tuple(dict.fromkeys(usable)) or ("127.0.0.1",)


def say_addresses(place: Place) -> str:
    """What to do now, in words; in the household's network with a QR code for the phone."""
    if place.certificate is None:
        words = f"Open {place.addresses[0]} in a browser. Ctrl-C ends it."
        if place.password_needed:
            words += "\nIt asks for the password, and sends it unencrypted: use --lan where others share the network."
        return words
    import io

    import segno

    drawn = io.StringIO()
    segno.make(place.addresses[0], error="l").terminal(out=drawn, compact=True)
    return "\n".join(
        [
            drawn.getvalue(),
            f"On the phone: scan this, or open {place.addresses[0]}",
            f"Also: {', '.join(place.addresses[1:])}" if place.addresses[1:] else "",
            "",
            "The phone will warn that it does not know the certificate. It is this book's own. Compare its SHA-256:",
            f"  {fingerprint(place.certificate)}",
            "If it is the same, go on. To be asked no more, and to install 'In the field': open",
            f"  {place.addresses[0]}trust  on the phone, load the certificate, and trust it in the phone's settings.",
            "Ctrl-C ends it.",
        ]
    )
