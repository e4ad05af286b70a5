"""Rolls as a list shows them: with names, frames counted, page by page; and how many are where on the journey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.journey import RollState
from dryside.book.schema import cameras, frames, people, roll_names, rolls, stocks

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement, Connection

PAGE = 60
UNDER_WAY = (
    RollState.CAMERA,
    RollState.EXPOSED,
    RollState.AT_LAB,
    RollState.SCANS_BACK,
    RollState.NEGATIVES_BACK,
)
"""Places between the shelf and the binder."""


@dataclass(frozen=True)
class RollFilter:
    """What a list is narrowed to; everything given must hold. `words` are parts of code, title or second name."""

    words: str = ""
    states: tuple[RollState, ...] = ()
    stock_id: int | None = None
    camera_id: int | None = None
    owner_id: int | None = None
    film_format: str | None = None


@dataclass(frozen=True)
class RollLine:
    """A roll in a list; `frame_id` is a frame with a picture, to show for the roll."""

    id: int
    code: str
    title: str | None
    state: str
    format: str
    process: str
    push_stops: float
    loaded_on: str | None
    exposed_on: str | None
    stock: str | None
    camera: str | None
    owner: str | None
    frames: int
    frame_id: int | None


@dataclass(frozen=True)
class RollPage:
    """Rolls, the newest first; `after` asks for the next page, None at the end. `found` counts all of the filter."""

    rolls: tuple[RollLine, ...]
    after: int | None
    found: int


def list_roll_page(
    conn: Connection, chosen: RollFilter | None = None, *, limit: int = PAGE, after: int | None = None
) -> RollPage:
    """One page of rolls, the newest first.

    Parameters
    ----------
    conn : Connection
        To read from.
    chosen : RollFilter, optional
        What to narrow to.
    limit : int, optional
        Most rolls a page, 1 or more.
    after : int, optional
        `after` of the page before.
    """
    from sqlalchemy import func, select

    where = _conditions(chosen or RollFilter())
    found = int(conn.execute(select(func.count()).select_from(rolls).where(*where)).scalar_one())
    further = where if after is None else [*where, rolls.c.id < after]
    rows = conn.execute(_lines().where(*further).order_by(rolls.c.id.desc()).limit(limit + 1))
    lines = [RollLine(*row) for row in rows]
    more = lines[limit - 1].id if len(lines) > limit else None
    return RollPage(tuple(lines[:limit]), more, found)


def rolls_in(conn: Connection, states: Sequence[RollState]) -> tuple[RollLine, ...]:
    """Every roll at these places, the oldest first."""
    chosen = RollFilter(states=tuple(states))
    return tuple(RollLine(*row) for row in conn.execute(_lines().where(*_conditions(chosen)).order_by(rolls.c.id)))


def count_by_state(conn: Connection) -> dict[RollState, int]:
    """How many rolls are at each place of the journey; 0 where none is."""
    from sqlalchemy import func, select

    rows = conn.execute(select(rolls.c.state, func.count()).group_by(rolls.c.state))
    counted = {RollState(state): int(count) for state, count in rows}
    return {state: counted.get(state, 0) for state in RollState}


def _lines() -> Any:
    from sqlalchemy import func, select

    count = select(func.count()).where(frames.c.roll_id == rolls.c.id).scalar_subquery()
    shown = (
        select(frames.c.id)
        .where(frames.c.roll_id == rolls.c.id, frames.c.blank.is_(False))
        .order_by(frames.c.position)
        .limit(1)
        .scalar_subquery()
    )
    joined = (
        rolls.outerjoin(stocks, stocks.c.id == rolls.c.stock_id)
        .outerjoin(cameras, cameras.c.id == rolls.c.camera_id)
        .outerjoin(people, people.c.id == rolls.c.owner_id)
    )
    own = (
        rolls.c.id, rolls.c.code, rolls.c.title, rolls.c.state, rolls.c.format, rolls.c.process, rolls.c.push_stops,
        rolls.c.loaded_on, rolls.c.exposed_on,
    )  # fmt: skip
    return select(*own, stocks.c.name, cameras.c.name, people.c.name, count, shown).select_from(joined)


def _conditions(chosen: RollFilter) -> list[ColumnElement[bool]]:
    from sqlalchemy import func, or_, select

    where: list[ColumnElement[bool]] = []
    if chosen.states:
        where.append(rolls.c.state.in_([str(state) for state in chosen.states]))
    for column, value in (
        (rolls.c.stock_id, chosen.stock_id),
        (rolls.c.camera_id, chosen.camera_id),
        (rolls.c.owner_id, chosen.owner_id),
        (rolls.c.format, chosen.film_format),
    ):
        if value is not None:
            where.append(column == value)
    for word in chosen.words.split():
        part = word.lower()
        named = select(roll_names.c.roll_id).where(func.lower(roll_names.c.name).contains(part, autoescape=True))
        where.append(
            or_(
                func.lower(rolls.c.code).contains(part, autoescape=True),
                func.lower(rolls.c.title).contains(part, autoescape=True),
                rolls.c.id.in_(named),
            )
        )
    return where
