"""Binders and their pages: what stands on the shelf, and what lies where in it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.book.rows import fetch, fetch_one, insert, must_be
from dryside.book.schema import binders, pages, strips
from dryside.film.nearest import nearest_names
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

HOLDS = ("acetate", "polyester", "nitrate", "mixed", "unknown")
"""Film bases a binder may be said to hold."""


@dataclass(frozen=True)
class BinderRow:
    """A binder: `place` is the shelf it stands on, `holds` the film base."""

    id: int
    name: str
    place: str | None
    holds: str
    notes: str | None


@dataclass(frozen=True)
class PageRow:
    """A sleeve page of a binder: `number` from 1, `layout` rows x frames in a row."""

    id: int
    binder_id: int
    number: int
    layout: str


@dataclass(frozen=True)
class StripRow:
    """A strip; page, row and place are None while it lies nowhere."""

    id: int
    roll_id: int
    number: int
    first_position: int
    last_position: int
    length_mm: float | None
    page_id: int | None
    row: int | None
    place: int | None


@dataclass(frozen=True)
class Address:
    """A place in words: `Harbour/3` is a page, `Harbour/3/2` a row of it, `Harbour/3/2/1` a place in the row."""

    binder: str
    page: int | None = None
    row: int | None = None
    place: int | None = None

    def __str__(self) -> str:
        return "/".join(str(part) for part in (self.binder, self.page, self.row, self.place) if part is not None)


_NUMBER = re.compile(r"\d{1,6}")


def parse_address(text: str) -> Address:
    """An address as typed: the binder's name, then page, row and place, each after a slash.

    Raises
    ------
    Refusal
        If page, row or place is no number from 1, or there are more parts.
    """
    name, *numbers = [part.strip() for part in text.split("/")]
    if not name or len(numbers) > 3 or not all(_NUMBER.fullmatch(part) and int(part) > 0 for part in numbers):
        raise Refusal(f"place '{text}'", "not binder/page/row/place", "Write it like 'Harbour/3' or 'Harbour/3/2/1'.")
    return Address(name, *(int(part) for part in numbers))


def add_binder(
    conn: Connection, name: str, *, place: str | None = None, holds: str = "acetate", notes: str | None = None
) -> BinderRow:
    """Add a binder.

    Raises
    ------
    Refusal
        If the name is empty, taken, or has a slash in it; or `holds` is no film base.
    """
    name = name.strip()
    if not name or "/" in name:
        raise Refusal("binder", "its name is empty or has a slash", "Use letters and digits: 'Harbour 2026'.")
    if holds not in HOLDS:
        raise Refusal(f"binder {name}", f"'{holds}' is no film base", f"Use one of: {', '.join(HOLDS)}.")
    if fetch_one(conn, BinderRow, binders, binders.c.name == name):
        raise Refusal(f"binder {name}", "already in this book", "Use another name.")
    return _get(conn, insert(conn, binders, {"name": name, "place": place, "holds": holds, "notes": notes}))


def find_binder(conn: Connection, name: str) -> BinderRow:
    """A binder by its name, in any case.

    Raises
    ------
    NotFound
        If there is none; the nearest names are given.
    """
    from sqlalchemy import func

    found = fetch(conn, BinderRow, binders, func.lower(binders.c.name) == name.strip().lower())
    if found:
        return found[0]
    names = [binder.name for binder in list_binders(conn)]
    if not names:
        raise NotFound(f"binder {name}", "there is no binder yet", "Make it: dryside sleeve binder NAME.")
    near = ", ".join(nearest_names(name, names, count=3))
    raise NotFound(f"binder {name}", "not in this book", f"Near it: {near}. Or make it: dryside sleeve binder NAME.")


def list_binders(conn: Connection) -> list[BinderRow]:
    """All binders by name."""
    return fetch(conn, BinderRow, binders, order=(binders.c.name,))


def list_pages(conn: Connection, binder_id: int) -> list[PageRow]:
    """A binder's pages in order."""
    return fetch(conn, PageRow, pages, pages.c.binder_id == binder_id, order=(pages.c.number,))


def find_page(conn: Connection, binder: BinderRow, number: int) -> PageRow:
    """One page of a binder.

    Raises
    ------
    NotFound
        If the binder has none of that number.
    """
    page = fetch_one(conn, PageRow, pages, pages.c.binder_id == binder.id, pages.c.number == number)
    last = max((page.number for page in list_pages(conn, binder.id)), default=0)
    remedy = f"Its pages run to {last}." if last else "It has no pages yet."
    return must_be(page, f"page {number} of binder {binder.name}", remedy)


def strips_on_page(conn: Connection, page_id: int) -> list[StripRow]:
    """Strips of a page, by row and place."""
    return fetch(conn, StripRow, strips, strips.c.page_id == page_id, order=(strips.c.row, strips.c.place))


def strips_of_roll(conn: Connection, roll_id: int) -> list[StripRow]:
    """Strips of a roll, along the film."""
    return fetch(conn, StripRow, strips, strips.c.roll_id == roll_id, order=(strips.c.number,))


def _get(conn: Connection, binder_id: int) -> BinderRow:
    return must_be(fetch_one(conn, BinderRow, binders, binders.c.id == binder_id), f"binder with row id {binder_id}")


def pages_of_roll(conn: Connection, roll_id: int) -> list[tuple[BinderRow, PageRow]]:
    """Binders and pages that hold strips of a roll, in order."""
    from sqlalchemy import select

    ids = select(strips.c.page_id).where(strips.c.roll_id == roll_id, strips.c.page_id.is_not(None))
    found = fetch(conn, PageRow, pages, pages.c.id.in_(ids), order=(pages.c.binder_id, pages.c.number))
    return [(_get(conn, page.binder_id), page) for page in found]
