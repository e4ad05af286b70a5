"""Where a negative is: binder, page, row and place, or who has it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.frames import list_frames
from dryside.book.rolls import describe_place, find_roll
from dryside.book.whereabouts import lent_out, places_of
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.rolls import RollRow

SCHEME = "dryside:roll/"
"""What stands before the roll's code in a QR, so that a scanned text says whose it is."""
BINDER_SCHEME = "dryside:binder/"
"""The same before a binder's name."""


@dataclass(frozen=True)
class Whereabouts:
    """One frame's place; without a strip it lies in no binder and `otherwise` says where the film is.

    Attributes
    ----------
    roll, label : str
        Roll code and frame label.
    strip : int or None
        Number of the strip along the roll.
    on_strip : int or None
        Which frame of the strip it is, from 1.
    binder, shelf : str or None
        The binder and where it stands.
    page, row, place : int or None
        `place` is the frame's own place in its row, as frames of the strip lie side by side.
    lent_to, lent_on : str or None
        Who has the strip or its page, and since when.
    otherwise : str or None
        Where the roll is, in words, for a frame on no strip.
    """

    roll: str
    label: str
    strip: int | None
    on_strip: int | None
    binder: str | None
    shelf: str | None
    page: int | None
    row: int | None
    place: int | None
    lent_to: str | None
    lent_on: str | None
    otherwise: str | None

    def __str__(self) -> str:
        return f"frame {self.label} of roll {self.roll}: {self.in_words()}"

    def in_words(self) -> str:
        """The way to it, as one would say it across the room."""
        if self.strip is None:
            return f"on no strip; the roll is {self.otherwise}"
        if self.binder is None:
            way = f"strip {self.strip}, in no binder"
        else:
            shelf = f" ({self.shelf})" if self.shelf else ""
            way = f"binder {self.binder}{shelf}, page {self.page}, row {self.row}, place {self.place}"
        return f"{way}; lent to {self.lent_to} since {self.lent_on}" if self.lent_to else way


def qr_text(code: str, base: str | None = None) -> str:
    """What a roll's QR says: `dryside:roll/26-014-D`, or an address under `base` that a phone opens in the browser."""
    return f"{base.rstrip('/')}/rolls/{code}" if base else f"{SCHEME}{code}"


def qr_text_of_binder(name: str) -> str:
    """What the QR on a binder's spine says."""
    return f"{BINDER_SCHEME}{name}"


def binder_of_qr(text: str) -> str | None:
    """The binder that a scanned spine names; None where it is no spine's QR."""
    plain = text.strip()
    return plain[len(BINDER_SCHEME) :] if plain.lower().startswith(BINDER_SCHEME) else None


def roll_of_qr(text: str) -> str:
    """The roll code in a scanned QR, or `text` itself where it is none of ours.

    Examples
    --------
    >>> roll_of_qr("dryside:roll/26-014-D"), roll_of_qr("https://192.168.1.5:8300/rolls/26-014-D")
    ('26-014-D', '26-014-D')
    """
    plain = text.strip()
    address = re.fullmatch(r"https?://[^/\s]+/rolls/([^/?#\s]+)", plain)
    if address:
        return address[1]
    return plain[len(SCHEME) :] if plain.lower().startswith(SCHEME) else plain


def find_picture(conn: Connection, text: str) -> tuple[RollRow, str | None]:
    """A roll, or a roll and what stands after a slash or the last space: `26-014-D`, `26-014-D/12`, `26-014-D 12`.

    A scanned QR is taken too, and a second name of a roll that has spaces or slashes of its own.

    Raises
    ------
    NotFound
        If no roll is meant.
    Refusal
        If there is nothing.
    """
    plain = roll_of_qr(text)
    if not plain:
        raise Refusal("roll", "none is named", "Write its code, and a frame after a slash: 26-014-D/12.")
    try:
        return find_roll(conn, plain), None
    except NotFound as not_a_roll:
        for mark in ("/", " "):
            roll, found, rest = plain.rpartition(mark)
            if found and roll.strip() and rest.strip():
                try:
                    return find_roll(conn, roll), rest.strip()
                except NotFound:
                    continue
        raise not_a_roll


def whereabouts(conn: Connection, roll: RollRow, label: str | None = None) -> list[Whereabouts]:
    """Places of a roll's frames in order along the film, or of one of them."""
    wanted = [frame for frame in list_frames(conn, roll.id) if label in (None, frame.label)]
    rows = {row.frame_id: row for row in places_of(conn, [frame.id for frame in wanted])}
    out = lent_out(conn)
    return [_place(frame.label, rows.get(frame.id), roll, out) for frame in wanted]


def _place(label: str, row: Any, roll: RollRow, out: dict[tuple[str, int], tuple[str, str]]) -> Whereabouts:
    if row is None:
        nothing = (None,) * 9
        return Whereabouts(roll.code, label, *nothing, otherwise=describe_place(roll))
    lent = out.get(("strip", row.strip_id)) or out.get(("page", row.page_id)) or (None, None)
    return Whereabouts(
        roll=roll.code,
        label=label,
        strip=row.strip,
        on_strip=row.place_on_strip,
        binder=row.binder,
        shelf=row.binder_place,
        page=row.page,
        row=row.row,
        place=None if row.place is None else row.place + row.place_on_strip - 1,
        lent_to=lent[0],
        lent_on=lent[1],
        otherwise=None,
    )
