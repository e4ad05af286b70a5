"""Labs of the book: each with its price lists, one a day, kept as the TOML text that a person wrote."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.instants import now
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import labs, price_lists
from dryside.film.nearest import nearest_names
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.lab import Lab
from dryside.labs.lab_file import read_lab

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class LabRow:
    """A lab the book knows; one no longer used is not active and is left out of plans."""

    id: int
    name: str
    active: bool


@dataclass(frozen=True)
class PriceListRow:
    """A lab's file as it stood on the day `as_of`."""

    id: int
    lab_id: int
    as_of: str
    toml: str
    added_at: str


@dataclass(frozen=True)
class KnownLab:
    """A lab of the book with the price list that holds."""

    row: LabRow
    price_list: PriceListRow
    lab: Lab


def add_lab(conn: Connection, text: str, *, source: str, today: date) -> tuple[KnownLab, bool]:
    """Put a lab's file in the book: a new lab, or a new price list of one that is there.

    The same text again adds nothing; another text of the same day replaces that day's list, unless an order was made by
    it.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    text : str
        The file's text, checked before anything is written.
    today : date
        Stands for `prices_as_of` where the file does not say it.

    Returns
    -------
    KnownLab, bool
        And whether anything was written.

    Raises
    ------
    LabProblems
        If the file is wrong.
    Refusal
        If an order was made by that day's list.
    """
    lab = read_lab(text, source=source)
    row = fetch_one(conn, LabRow, labs, labs.c.name == lab.name)
    if row is None:
        row = LabRow(insert(conn, labs, {"name": lab.name, "active": True}), lab.name, True)
    elif not row.active:
        update(conn, labs, row.id, {"active": True})
        row = replace(row, active=True)
    as_of = (lab.prices_as_of or today).isoformat()
    known = fetch_one(conn, PriceListRow, price_lists, price_lists.c.lab_id == row.id, price_lists.c.as_of == as_of)
    if known is not None and known.toml == text:
        return KnownLab(row, known, lab), False
    if known is not None:
        _refuse_if_ordered_by(conn, known, lab.name, source)
        update(conn, price_lists, known.id, {"toml": text, "added_at": now()})
        list_id = known.id
    else:
        list_id = insert(conn, price_lists, {"lab_id": row.id, "as_of": as_of, "toml": text, "added_at": now()})
    kept = must_be(fetch_one(conn, PriceListRow, price_lists, price_lists.c.id == list_id), "price list")
    return KnownLab(row, kept, lab), True


def _refuse_if_ordered_by(conn: Connection, known: PriceListRow, name: str, source: str) -> None:
    from sqlalchemy import func, select

    from dryside.book.schema import orders

    count = conn.execute(select(func.count()).where(orders.c.price_list_id == known.id)).scalar_one()
    if count:
        found = f"{count} order{'s' if count > 1 else ''} of '{name}' stand on the list of {known.as_of}"
        raise Refusal(source, found, "Give the new list its own day: prices_as_of.")


def add_lab_file(conn: Connection, path: Path, *, today: date) -> tuple[KnownLab, bool]:
    """`add_lab` from a file.

    Raises
    ------
    NotFound
        If there is no such file.
    Refusal
        If it is no UTF-8, or as `add_lab`.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise NotFound(str(path), f"it cannot be read ({error.strerror})", "Name a lab's TOML file.") from error
    except UnicodeDecodeError as error:
        raise Refusal(path.name, "this is not UTF-8, which TOML is written in", "Save it as UTF-8.") from error
    return add_lab(conn, text, source=path.name, today=today)


def list_labs(conn: Connection, *, day: date | None = None, with_inactive: bool = False) -> list[KnownLab]:
    """The labs by name, each with the list that holds on `day`: the newest not after it, else the oldest."""
    where = () if with_inactive else (labs.c.active,)
    rows = fetch(conn, LabRow, labs, *where, order=(labs.c.name,))
    return [_with_list(conn, row, day) for row in rows]


def current_labs(conn: Connection, day: date) -> tuple[Lab, ...]:
    """The active labs as they price on `day`."""
    return tuple(known.lab for known in list_labs(conn, day=day))


def get_lab(conn: Connection, name: str | int, *, day: date | None = None) -> KnownLab:
    """A lab by name (any case, or the only one that begins so) or row id.

    Raises
    ------
    NotFound
        If there is none; the nearest are named.
    """
    rows = fetch(conn, LabRow, labs, order=(labs.c.name,))
    if isinstance(name, int):
        found = [row for row in rows if row.id == name]
    else:
        wanted = name.strip().casefold()
        found = [row for row in rows if row.name.casefold() == wanted] or [
            row for row in rows if wanted and row.name.casefold().startswith(wanted)
        ]
    if len(found) != 1:
        near = nearest_names(str(name), [row.name for row in rows], count=2)
        remedy = f"Near it: {', '.join(near)}." if near else "Add one: dryside lab add FILE.toml."
        raise NotFound(f"lab {name}", "several begin so" if found else "not in this book", remedy)
    return _with_list(conn, found[0], day)


def price_lists_of(conn: Connection, lab_id: int) -> list[PriceListRow]:
    """All price lists of a lab, oldest first."""
    return fetch(conn, PriceListRow, price_lists, price_lists.c.lab_id == lab_id, order=(price_lists.c.as_of,))


def set_active(conn: Connection, lab_id: int, active: bool) -> None:
    """Take a lab into plans or leave it out of them; its past stays."""
    update(conn, labs, lab_id, {"active": active})


def _with_list(conn: Connection, row: LabRow, day: date | None) -> KnownLab:
    lists = price_lists_of(conn, row.id)
    holding = [one for one in lists if day is None or one.as_of <= day.isoformat()] or lists[:1]
    if not holding:
        raise NotFound(f"lab {row.name}", "it has no price list", "Add one: dryside lab add FILE.toml.")
    chosen = holding[-1]
    lab = read_lab(chosen.toml, source=f"{row.name} as of {chosen.as_of}")
    if lab.prices_as_of is None:
        lab = replace(lab, prices_as_of=date.fromisoformat(chosen.as_of))
    return KnownLab(row, chosen, lab)
