"""What the book knows of the rolls a delivery may hold: their log, names, lab numbers and the order they travel in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.book.frames import FrameRow, list_frames
from dryside.book.journey import RollState
from dryside.book.rolls import RollRow, find_roll, get_roll, list_rolls, names_of
from dryside.book.schema import order_lines, orders, stocks
from dryside.film.formats import FORMATS
from dryside.film.refusal import NotFound
from dryside.scans.which_roll import RollWaited

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class RollLog:
    """A roll with its logged frames, its order's row and number, and what `which_roll` weighs."""

    roll: RollRow
    frames: tuple[FrameRow, ...]
    order_id: int | None
    order_number: str | None
    waited: RollWaited


def find_order_id(conn: Connection, number: str) -> int:
    """Row id of an order by our number or the lab's receipt number.

    Raises
    ------
    NotFound
        If there is none.
    """
    from sqlalchemy import func, or_, select

    wanted = number.strip().lower()
    row = conn.execute(
        select(orders.c.id)
        .where(or_(func.lower(orders.c.number) == wanted, func.lower(orders.c.receipt_number) == wanted))
        .order_by(orders.c.id.desc())
    ).first()
    if row is None:
        known = [n for (n,) in conn.execute(select(orders.c.number).order_by(orders.c.id.desc()).limit(5))]
        raise NotFound(f"order {number}", "not in this book", f"The latest: {', '.join(known) or 'none yet'}.")
    return int(row.id)


def rolls_waited(conn: Connection, *, order_id: int | None = None, rolls: tuple[str, ...] = ()) -> list[RollLog]:
    """The rolls that a delivery may be of.

    Those named; else those of the order; else all that are at a lab, and if there is none of these, those whose scans
    are back (a second delivery).
    """
    if rolls:
        found = [find_roll(conn, text) for text in rolls]
    elif order_id is not None:
        found = [get_roll(conn, roll_id) for roll_id in _rolls_of_order(conn, order_id)]
    else:
        found = list_rolls(conn, states=[RollState.AT_LAB])
        found = found or list_rolls(conn, states=[RollState.SCANS_BACK])
    return [_log_of(conn, roll) for roll in found]


def _rolls_of_order(conn: Connection, order_id: int) -> list[int]:
    from sqlalchemy import select

    lines = select(order_lines.c.roll_id).where(order_lines.c.order_id == order_id, order_lines.c.roll_id.is_not(None))
    return list(dict.fromkeys(conn.execute(lines.order_by(order_lines.c.id)).scalars()))


def _log_of(conn: Connection, roll: RollRow) -> RollLog:
    from sqlalchemy import select

    frames = tuple(list_frames(conn, roll.id))
    lines = conn.execute(
        select(order_lines.c.order_id, order_lines.c.lab_roll_number, orders.c.number)
        .join(orders, orders.c.id == order_lines.c.order_id)
        .where(order_lines.c.roll_id == roll.id)
        .order_by(order_lines.c.order_id.desc())
    ).all()
    stock_kind = conn.execute(select(stocks.c.kind).where(stocks.c.id == roll.stock_id)).scalar()
    film = FORMATS.get(roll.format)
    pictures = sum(not frame.blank for frame in frames)
    waited = RollWaited(
        code=roll.code,
        names=tuple(names_of(conn, roll.id)),
        lab_numbers=tuple({line.lab_roll_number for line in lines if line.lab_roll_number}),
        frames=pictures or roll.exposures,
        aspect=film.aspect if film else 1.5,
        is_logged=bool(pictures),
        holds=roll.exposures,
        is_bw=roll.process == "bw" or "bw" in str(stock_kind or "").lower(),
    )
    first = lines[0] if lines else None
    return RollLog(roll, frames, first.order_id if first else None, first.number if first else None, waited)
