"""A roll's scans are here: the roll moves on, and its order learns the day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryside.book.events import add_event
from dryside.book.journey import MOVES, RollState
from dryside.book.rolls import get_roll, move_roll
from dryside.book.schema import orders
from dryside.scans.rolls_waited import RollLog

if TYPE_CHECKING:
    from sqlalchemy import Connection


def came_back(conn: Connection, log: RollLog, *, delivery_id: int, count: int, at: str, who: str | None) -> None:
    """Move a roll to 'scans back' where its journey allows, else note the event; write the day on its order.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    log : RollLog
        The roll.
    delivery_id, count : int
        The delivery, and how many pictures of it are the roll's.
    at : str
        ISO 8601 with offset.
    who : str or None
        For the event.
    """
    detail = {"delivery": delivery_id, "pictures": count}
    roll = get_roll(conn, log.roll.id)
    if RollState.SCANS_BACK in MOVES[roll.place]:
        move_roll(conn, roll, RollState.SCANS_BACK, at=at, who=who, detail=detail)
    else:
        add_event(conn, kind="scans received", at=at, roll_id=roll.id, who=who, detail=detail)
    if log.order_id is not None:
        unknown = orders.update().where(orders.c.id == log.order_id, orders.c.scans_on.is_(None))
        conn.execute(unknown.values(scans_on=at[:10]))
