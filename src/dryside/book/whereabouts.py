"""The way from a picture to its strip: roll, strip, page, row and place in a binder, and who has it meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.frame_pictures import pictures_of_frames
from dryside.book.schema import binders, frame_strips, loans, pages, strips

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book


@dataclass(frozen=True)
class Whereabouts:
    """Where a frame's picture and its film are; None for what is not known.

    Attributes
    ----------
    picture : str or None
        The picture shown for it, relative to the book's folder.
    strip : int or None
        Number of the strip along the roll; `place_on_strip` counts from 1.
    binder, binder_place : str or None
        Its name and the shelf it stands on.
    page, row, place : int or None
        In the binder, from 1.
    lent_to : str or None
        Who has strip or page now.
    """

    frame_id: int
    picture: str | None = None
    strip: int | None = None
    place_on_strip: int | None = None
    binder: str | None = None
    binder_place: str | None = None
    page: int | None = None
    row: int | None = None
    place: int | None = None
    lent_to: str | None = None

    @property
    def in_words(self) -> str:
        """The way for a person: `binder Blue, page 3, row 2, frame 4 of strip 2`."""
        if self.strip is None:
            return "not cut yet"
        strip = f"frame {self.place_on_strip} of strip {self.strip}"
        if self.binder is None:
            return f"{strip}, not in a binder"
        shelf = f" ({self.binder_place})" if self.binder_place else ""
        lent = f"; lent to {self.lent_to}" if self.lent_to else ""
        return f"binder {self.binder}{shelf}, page {self.page}, row {self.row}, {strip}{lent}"


def where_are(conn: Connection, book: Book, frame_ids: Sequence[int]) -> dict[int, Whereabouts]:
    """Where each of these frames is, by frame id; a handful of queries whatever their number."""
    ids = list(frame_ids)
    if not ids:
        return {}
    pictures = {
        one: found.path.relative_to(book.root).as_posix()
        for one, found in pictures_of_frames(conn, book, ids).items()
        if found.path.is_relative_to(book.root)
    }
    lent = lent_out(conn)
    found = {}
    for row in places_of(conn, ids):
        found[row.frame_id] = Whereabouts(
            frame_id=row.frame_id,
            picture=pictures.get(row.frame_id),
            strip=row.strip,
            place_on_strip=row.place_on_strip,
            binder=row.binder,
            binder_place=row.binder_place,
            page=row.page,
            row=row.row,
            place=row.place,
            lent_to=(lent.get(("strip", row.strip_id)) or lent.get(("page", row.page_id)) or (None, None))[0],
        )
    return {one: found.get(one) or Whereabouts(one, picture=pictures.get(one)) for one in ids}


def places_of(conn: Connection, ids: Sequence[int]) -> Any:
    """Rows with strip, page and binder of the frames that lie on a strip; `place` is the strip's first in its row."""
    from sqlalchemy import select

    statement = (
        select(
            frame_strips.c.frame_id,
            strips.c.id.label("strip_id"),
            strips.c.number.label("strip"),
            frame_strips.c.place.label("place_on_strip"),
            strips.c.page_id,
            strips.c.row,
            strips.c.place,
            pages.c.number.label("page"),
            binders.c.name.label("binder"),
            binders.c.place.label("binder_place"),
        )
        .select_from(
            frame_strips.join(strips, strips.c.id == frame_strips.c.strip_id)
            .outerjoin(pages, pages.c.id == strips.c.page_id)
            .outerjoin(binders, binders.c.id == pages.c.binder_id)
        )
        .where(frame_strips.c.frame_id.in_(list(ids)))
    )
    return conn.execute(statement)


def lent_out(conn: Connection) -> dict[tuple[str, int], tuple[str, str]]:
    """Who has which strips and pages now, and since when, by ("strip" or "page", row id)."""
    rows = conn.execute(loans.select().where(loans.c.back_on.is_(None)).order_by(loans.c.id))
    return {
        ("strip" if row.strip_id else "page", row.strip_id or row.page_id): (row.to_whom, row.lent_on) for row in rows
    }
