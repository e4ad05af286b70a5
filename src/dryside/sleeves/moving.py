"""Moving pages and strips, and putting a whole binder in order: each one change that can be taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from dryside.book.rows import fetch_one
from dryside.book.schema import binders, pages, rolls, strips
from dryside.book.undoing import Ledger
from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import SleevePage, sleeve_page
from dryside.sleeves.binders import (
    Address,
    BinderRow,
    PageRow,
    StripRow,
    find_binder,
    find_page,
    list_pages,
    strips_of_roll,
    strips_on_page,
)
from dryside.sleeves.laying import places_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.rolls import RollRow

Order = Literal["date", "code", "page"]
ORDERS: tuple[Order, ...] = ("date", "code", "page")


@dataclass(frozen=True)
class Move:
    """What moved, from where, to where, in words."""

    what: str
    from_place: str
    to_place: str


def move_page(
    conn: Connection, binder: BinderRow, number: int, to: Address, *, make_room: bool = False, at: str | None = None
) -> Move:
    """Move a page to another place or binder.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    binder, number : BinderRow, int
        The page.
    to : Address
        A binder (behind its last page), or a binder and page number.
    make_room : bool, optional
        Where that number is taken, whether it and the pages behind it go one further.
    at : str, optional
        Instant of the change.

    Raises
    ------
    NotFound
        If there is no such page or binder.
    Refusal
        If the number is taken, or `to` names a row.
    """
    page = find_page(conn, binder, number)
    target = find_binder(conn, to.binder)
    if to.row is not None:
        raise Refusal(f"page {binder.name}/{number}", "a page does not go into a row", f"Name a page: {target.name}/4.")
    existing = {other.number: other for other in list_pages(conn, target.id) if other.id != page.id}
    wanted = to.page if to.page is not None else max(existing, default=0) + 1
    ledger = Ledger(conn)
    behind: list[PageRow] = []
    if wanted in existing:
        if not make_room:
            found = f"there is a page {wanted} already"
            raise Refusal(f"binder {target.name}", found, "Add --make-room to push the others back, or leave it out.")
        behind = [other for other in existing.values() if other.number >= wanted]
    moves = [(page, target.id, wanted), *((other, target.id, other.number + 1) for other in behind)]
    _renumber(ledger, moves)
    ledger.save(f"move page {binder.name}/{number} to {target.name}/{wanted}", at=at)
    return Move("page", f"{binder.name}/{number}", f"{target.name}/{wanted}")


def move_strip(conn: Connection, roll: RollRow, number: int, to: Address, *, at: str | None = None) -> Move:
    """Move one strip to a row of a page.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    roll, number : RollRow, int
        The strip.
    to : Address
        Binder and page; a row and a place in it, or the page's first free row.
    at : str, optional
        Instant of the change.

    Raises
    ------
    NotFound
        If the strip, binder or page is not there.
    Refusal
        If the page is full, the row is not on the page, or the place is taken or too short.
    """
    strip = next((one for one in strips_of_roll(conn, roll.id) if one.number == number), None)
    if strip is None:
        raise NotFound(
            f"strip {number} of roll {roll.code}", "the roll has no such strip", "See: dryside sleeve where."
        )
    if to.page is None:
        raise Refusal(str(to), "a strip goes onto a page", f"Name one: {to.binder}/3.")
    binder = find_binder(conn, to.binder)
    page = find_page(conn, binder, to.page)
    others = [one for one in strips_on_page(conn, page.id) if one.id != strip.id]
    row, place = _free_place(strip, page, others, to, roll.format)
    before = _address_of(conn, strip)
    ledger = Ledger(conn)
    ledger.update(strips, {"id": strip.id}, {"page_id": page.id, "row": row, "place": place})
    after = str(Address(binder.name, page.number, row, place))
    ledger.save(f"move strip {roll.code}/{number} to {after}", at=at)
    return Move(f"strip {number} of roll {roll.code}", before, after)


def refile(
    conn: Connection,
    binder: BinderRow,
    *,
    order: Order = "date",
    into: BinderRow | None = None,
    name: str | None = None,
    at: str | None = None,
) -> list[Move]:
    """Put a binder's pages in order, carry them into another, or give the binder another name: one change.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    binder : BinderRow
        The binder.
    order : {'date', 'code', 'page'}, optional
        By the day the first roll of each page was exposed (or loaded), by roll code, or as they lie.
    into : BinderRow, optional
        Binder that takes the pages, behind its own.
    name : str, optional
        The binder's new name.
    at : str, optional
        Instant of the change.

    Raises
    ------
    Refusal
        If the new name is taken or has a slash, or the order is none.
    """
    if order not in ORDERS:
        raise Refusal(f"order '{order}'", "pages are not put in that order", f"Use one of: {', '.join(ORDERS)}.")
    ledger = Ledger(conn)
    keys = {page.id: _sort_key(conn, page, order) for page in list_pages(conn, binder.id)}
    sorted_pages = sorted(list_pages(conn, binder.id), key=lambda page: keys[page.id])
    target = into or binder
    first = 1 if target.id == binder.id else max((page.number for page in list_pages(conn, target.id)), default=0) + 1
    moves = [(page, target.id, first + index) for index, page in enumerate(sorted_pages)]
    _renumber(ledger, moves)
    if name is not None:
        _rename(ledger, binder, name)
    ledger.save(f"refile binder {binder.name}", at=at)
    shown = name or target.name if target.id == binder.id else target.name
    return [
        Move("page", f"{binder.name}/{page.number}", f"{shown}/{number}")
        for page, _, number in moves
        if (page.number, binder.name) != (number, shown)
    ]


def _renumber(ledger: Ledger, moves: Sequence[tuple[PageRow, int, int]]) -> None:
    """Give pages their new numbers; through numbers below 0, since no two pages may share one at any moment."""
    changed = [(page, to, number) for page, to, number in moves if (page.binder_id, page.number) != (to, number)]
    for page, _, _ in changed:
        ledger.update(pages, {"id": page.id}, {"number": -page.id})
    for page, binder_id, number in changed:
        ledger.update(pages, {"id": page.id}, {"binder_id": binder_id, "number": number})


def _rename(ledger: Ledger, binder: BinderRow, name: str) -> None:
    name = name.strip()
    if not name or "/" in name:
        raise Refusal("binder", "its name is empty or has a slash", "Use letters and digits.")
    other = fetch_one(ledger.conn, BinderRow, binders, binders.c.name == name)
    if other is not None and other.id != binder.id:
        raise Refusal(f"binder {name}", "already in this book", "Use another name, or carry the pages over: --into.")
    ledger.update(binders, {"id": binder.id}, {"name": name})


def _sort_key(conn: Connection, page: PageRow, order: Order) -> tuple[str, str, int]:
    """What a page is sorted by; pages with nothing on them come last, equal ones stay as they lie."""
    from sqlalchemy import select

    if order == "page":
        return ("", "", page.number)
    lying = select(strips.c.roll_id).where(strips.c.page_id == page.id)
    found = conn.execute(rolls.select().where(rolls.c.id.in_(lying))).all()
    if not found:
        return ("~", "~", page.number)
    if order == "code":
        return (min(roll.code for roll in found), "", page.number)
    days = [roll.exposed_on or roll.loaded_on or "~" for roll in found]
    return (min(days), min(roll.code for roll in found), page.number)


def _free_place(strip: StripRow, page: PageRow, others: Sequence[StripRow], to: Address, film: str) -> tuple[int, int]:
    layout = sleeve_page(page.layout, film=film)
    thing = f"page {page.number} of binder {to.binder}"
    if to.row is None:
        taken = {other.row for other in others}
        free = next((row for row in range(1, layout.rows + 1) if row not in taken), None)
        if free is None:
            raise Refusal(thing, "it has no free row", "Name another page, or a row with room in it.")
        return free, 1
    if to.row > layout.rows:
        raise Refusal(thing, f"a {page.layout} page has {layout.rows} rows, not {to.row}", "Name one of them.")
    place = to.place or 1
    covered = set(range(place, place + _places(strip, layout)))
    if max(covered) > layout.frames_per_row:
        found = f"from place {place} a strip of {len(covered)} frames reaches beyond the row's {layout.frames_per_row}"
        raise Refusal(thing, found, "Begin further left.")
    for other in others:
        if other.row == to.row and covered & set(range(other.place or 1, (other.place or 1) + _places(other, layout))):
            raise Refusal(thing, f"row {to.row} is taken there", "Name another row or place, or leave the row out.")
    return to.row, place


def _places(strip: StripRow, layout: SleevePage) -> int:
    frames = strip.last_position - strip.first_position + 1
    return places_of(strip.length_mm, layout) if strip.length_mm else min(frames, layout.frames_per_row)


def _address_of(conn: Connection, strip: StripRow) -> str:
    from sqlalchemy import select

    if strip.page_id is None:
        return "no page"
    query = select(binders.c.name, pages.c.number).select_from(pages.join(binders)).where(pages.c.id == strip.page_id)
    row = conn.execute(query).one()
    return str(Address(row.name, row.number, strip.row, strip.place))
