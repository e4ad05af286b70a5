"""The server over one book: uvicorn, quiet, ended by Ctrl-C or a signal."""

from __future__ import annotations

import socket
from datetime import date
from typing import TYPE_CHECKING, Any

from dryside.film.refusal import Refusal
from dryside.web.app import Site, create_app
from dryside.web.security import Door
from dryside.web.settings import api_token_digests, open_sessions

if TYPE_CHECKING:
    from dryside.book.folder import Book
    from dryside.web.network import Place

SHUT_DOWN_S = 3


def run_server(book: Book, place: Place, *, password_digest: str | None = None, today: date | None = None) -> None:
    """Serve until told to stop.

    Parameters
    ----------
    book : Book
        The open book; the caller closes it.
    place : Place
        Where to listen and who may ask.
    password_digest : str, optional
        Needed where `place.password_needed`.
    today : date, optional
        The day the pages stand on, instead of the clock's.
    """
    import uvicorn

    site = make_site(book, place, password_digest=password_digest, today=today)
    options: dict[str, Any] = {"ssl_certfile": place.certificate, "ssl_keyfile": place.key} if place.certificate else {}
    config = uvicorn.Config(
        create_app(site),
        log_level="warning",
        access_log=False,  # addresses of requests could carry words of a search; nothing is written down
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=SHUT_DOWN_S,
        **options,
    )
    uvicorn.Server(config).run(sockets=[place.socket])


def make_site(book: Book, place: Place, *, password_digest: str | None, today: date | None) -> Site:
    """The site of a place."""
    door = Door(place.hosts, place.password_needed, secure=place.certificate is not None)
    return Site(
        book,
        door,
        open_sessions(book),
        password_digest=password_digest,
        today=today,
        api_token_digests=api_token_digests(book),
        certificate=place.certificate,
        address=place.addresses[0],
    )


def bind(host: str, port: int) -> socket.socket:
    """A listening socket.

    Raises
    ------
    Refusal
        If the port is taken or the address is none of this machine.
    """
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        made = socket.socket(family, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(128)
    except OSError as error:
        remedy = "Is it running already? Name another port: --port 0 takes a free one."
        raise Refusal(f"{host} port {port}", f"it cannot be listened on ({error.strerror or error})", remedy) from error
    return made
