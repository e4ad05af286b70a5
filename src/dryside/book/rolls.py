"""Rolls: codes, second names, and the moves along the journey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.events import add_event
from dryside.book.ids import looks_like_code, nearest_codes, next_code, parse_code
from dryside.book.instants import now, parse_day, parse_instant
from dryside.book.journey import RollState, place_in_words, state_after
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import roll_names, rolls
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy import ColumnElement, Connection


@dataclass(frozen=True)
class RollRow:
    """A roll as the book has it; `push_stops` negative for a pull; `state` is a `RollState` value."""

    id: int
    code: str
    owner_id: int | None
    stock_id: int | None
    camera_id: int | None
    format: str
    process: str
    cross_process: bool
    exposures: int | None
    exposure_index: int | None
    push_stops: float
    state: str
    loaded_on: str | None
    exposed_on: str | None
    expires_on: str | None
    irreplaceable: str | None
    title: str | None
    notes: str | None
    changed_at: str

    @property
    def place(self) -> RollState:
        """`state` as the enumeration."""
        return RollState(self.state)


def add_roll(
    conn: Connection,
    *,
    film_format: str,
    process: str,
    on: date,
    state: RollState = RollState.CAMERA,
    who: str | None = None,
    at: str | None = None,
    code: str | None = None,
    names: Sequence[str] = (),
    **columns: Any,
) -> RollRow:
    """Add a roll and write the event of it.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    film_format, process : str
        As film.formats and film.processes name them.
    on : date
        The day it was loaded; its year is in the code.
    state : RollState, optional
        Where it is now.
    who : str, optional
        Who says so.
    at : str, optional
        Instant of the event; left out: now.
    code : str, optional
        A code given before (import, restore); left out: the next of the year.
    names : sequence of str, optional
        The photographer's own numbers for it.
    **columns
        Further columns of `rolls`: owner_id, stock_id, camera_id, exposures, exposure_index, push_stops, ...

    Raises
    ------
    Refusal
        If the code or a name is taken, or a day is none.
    """
    for column in ("loaded_on", "exposed_on", "expires_on"):
        if columns.get(column) is not None:
            parse_day(columns[column])
    moment = at or now()
    given = str(parse_code(code)) if code else _next_free_code(conn, on.year)
    if fetch_one(conn, RollRow, rolls, rolls.c.code == given):
        raise Refusal(f"roll {given}", "already in this book", "Leave the code out to get the next.")
    values = {"code": given, "format": film_format, "process": process, "state": str(state), "changed_at": moment}
    roll_id = insert(conn, rolls, {**values, **columns})
    for name in names:
        add_roll_name(conn, roll_id, name)
    add_event(conn, kind="added", at=moment, roll_id=roll_id, who=who, to_state=str(state))
    return get_roll(conn, roll_id)


def get_roll(conn: Connection, roll_id: int) -> RollRow:
    """A roll by its row id.

    Raises
    ------
    NotFound
        If there is none.
    """
    return must_be(fetch_one(conn, RollRow, rolls, rolls.c.id == roll_id), f"roll with row id {roll_id}")


def find_roll(conn: Connection, text: str) -> RollRow:
    """The roll that `text` means: its code in any spelling, or a second name.

    Raises
    ------
    NotFound
        If it is none of the book's; the nearest ones are named.
    """
    from sqlalchemy import func, select

    wanted = text.strip()
    named = conn.execute(
        select(roll_names.c.roll_id).where(func.lower(roll_names.c.name) == wanted.lower())
    ).scalar_one_or_none()
    if named is not None:
        return get_roll(conn, named)
    found = "not in this book"
    if looks_like_code(wanted):
        try:
            row = fetch_one(conn, RollRow, rolls, rolls.c.code == str(parse_code(wanted)))
        except Refusal as refusal:
            row, found = None, refusal.found
        if row:
            return row
    near = nearest_codes(wanted, _all_names(conn))[:3]
    remedy = f"Did you mean {' or '.join(near)}?" if near else "List the rolls: dryside roll list."
    raise NotFound(f"roll {wanted}", found, remedy)


def list_rolls(
    conn: Connection, *, states: Sequence[RollState] = (), owner_id: int | None = None, camera_id: int | None = None
) -> list[RollRow]:
    """Rolls by code, narrowed to the given states, owner and camera."""
    where: list[ColumnElement[bool]] = []
    if states:
        where.append(rolls.c.state.in_([str(state) for state in states]))
    if owner_id is not None:
        where.append(rolls.c.owner_id == owner_id)
    if camera_id is not None:
        where.append(rolls.c.camera_id == camera_id)
    return fetch(conn, RollRow, rolls, *where, order=(rolls.c.code,))


def update_roll(conn: Connection, roll_id: int, **changes: Any) -> RollRow:
    """Change a roll's columns; not its state, which only `move_roll` changes.

    Raises
    ------
    ValueError
        If `state` or `code` is among the changes.
    """
    if {"state", "code"} & set(changes):
        raise ValueError("state and code of a roll are not updated; use move_roll")
    update(conn, rolls, roll_id, {**changes, "changed_at": now()})
    return get_roll(conn, roll_id)


def move_roll(
    conn: Connection,
    roll: RollRow,
    to: RollState,
    *,
    at: str | None = None,
    who: str | None = None,
    detail: Any = None,
    **changes: Any,
) -> RollRow:
    """Move a roll along its journey and write the one event of it, in this transaction.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    roll : RollRow
        The roll; its state is read anew, so an old row does no harm.
    to : RollState
        Where it goes.
    at : str, optional
        Instant of the move; left out: now.
    who, detail : optional
        For the event.
    **changes
        Columns of the roll that change with the move (camera_id, exposed_on, ...).

    Raises
    ------
    Refusal
        If the move is impossible; the roll is untouched.
    """
    fresh = get_roll(conn, roll.id)
    after = state_after(fresh.place, to, thing=f"roll {fresh.code}")
    moment = at or now()
    parse_instant(moment)
    update(conn, rolls, roll.id, {**changes, "state": str(after), "changed_at": moment})
    kind = "moved" if after is to else str(to)
    add_event(
        conn,
        kind=kind,
        at=moment,
        roll_id=roll.id,
        who=who,
        from_state=fresh.state,
        to_state=str(after),
        detail=detail,
    )
    return get_roll(conn, roll.id)


def add_roll_name(conn: Connection, roll_id: int, name: str) -> None:
    """Give a roll a second name, by which it is found from now on.

    Raises
    ------
    Refusal
        If the name is empty, another roll's, or would be read as the code of a roll.
    """
    from sqlalchemy import func

    name = name.strip()
    if not name:
        raise Refusal("second name", "it is empty", "Give a name.")
    taken = conn.execute(roll_names.select().where(func.lower(roll_names.c.name) == name.lower())).first()
    if taken is not None:
        if taken.roll_id == roll_id:
            return
        raise Refusal(f"name {name}", f"it belongs to roll {get_roll(conn, taken.roll_id).code}", "Use another.")
    if looks_like_code(name):
        own = next((row for row in [fetch_one(conn, RollRow, rolls, rolls.c.code == _code_or_text(name))] if row), None)
        if own is not None and own.id != roll_id:
            raise Refusal(f"name {name}", f"this is the code of roll {own.code}", "Use another.")
    insert(conn, roll_names, {"roll_id": roll_id, "name": name})


def title_of(conn: Connection, roll: RollRow) -> str:
    """What papers call a roll beside its code: its own numbers from before, then its title; perhaps empty."""
    return " · ".join(part for part in (*names_of(conn, roll.id), roll.title) if part)


def names_of(conn: Connection, roll_id: int) -> list[str]:
    """A roll's second names."""
    rows = conn.execute(roll_names.select().where(roll_names.c.roll_id == roll_id).order_by(roll_names.c.id))
    return [row.name for row in rows]


def describe_place(roll: RollRow) -> str:
    """Where the roll is, in words."""
    return place_in_words(roll.place)


def _code_or_text(text: str) -> str:
    try:
        return str(parse_code(text))
    except Refusal:
        return text


def _next_free_code(conn: Connection, year: int) -> str:
    from sqlalchemy import select

    prefix = f"{year % 100:02d}-"
    given = conn.execute(select(rolls.c.code).where(rolls.c.code.like(f"{prefix}%"))).scalars()
    last = max((int(code.split("-")[1]) for code in given), default=0)
    return str(next_code(year, last))


def _all_names(conn: Connection) -> list[str]:
    from sqlalchemy import select

    return [*conn.execute(select(rolls.c.code)).scalars(), *conn.execute(select(roll_names.c.name)).scalars()]
