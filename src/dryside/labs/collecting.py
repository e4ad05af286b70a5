"""Negatives and prints fetched from a lab: the end of an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from dryside.book.events import add_event
from dryside.book.journey import WAITING_FOR_NEGATIVES, RollState
from dryside.book.rolls import RollRow, find_roll, get_roll, move_roll
from dryside.book.rows import update
from dryside.book.schema import orders
from dryside.film.refusal import Refusal
from dryside.labs.orders import OrderRow, get_order, lines_of

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Collected:
    """What was fetched of an order, and what is still there.

    Attributes
    ----------
    rolls : tuple of str
        Rolls whose negatives came back just now.
    still_there : tuple of str
        Rolls whose negatives the lab still has.
    prints : bool
        Whether its prints were fetched just now.
    is_closed : bool
        Whether nothing of the order is left at the lab.
    """

    order: OrderRow
    rolls: tuple[str, ...]
    still_there: tuple[str, ...]
    prints: bool
    is_closed: bool


def collect(
    conn: Connection,
    order: OrderRow,
    *,
    at: str,
    rolls: Sequence[str] = (),
    negatives: bool = True,
    prints: bool = True,
    who: str | None = None,
) -> Collected:
    """Record that negatives or prints were fetched. Fetching again what is back already changes nothing.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    at : str
        Instant, with offset.
    rolls : sequence of str, optional
        Only these came back; else all of the order.
    negatives, prints : bool, optional
        What was fetched.

    Raises
    ------
    NotFound
        If a roll is not in the book.
    Refusal
        If a roll is not in the order.
    """
    day = at[:10]
    if date.fromisoformat(day) < date.fromisoformat(order.dropped_on):
        found = f"it was handed in on {order.dropped_on}, after {day}"
        raise Refusal(f"order {order.number}", found, "Correct the day: --on DAY.")
    members = _rolls_of(conn, order)
    chosen = _chosen(conn, order, members, rolls)
    moved = []
    if negatives:
        for roll in chosen:
            if roll.place in WAITING_FOR_NEGATIVES:
                move_roll(conn, roll, RollState.NEGATIVES_BACK, at=at, who=who, detail={"order": order.number})
                moved.append(roll.code)
    still = [roll.code for roll in _rolls_of(conn, order) if roll.place in WAITING_FOR_NEGATIVES]
    changes: dict[str, str] = {}
    if negatives and not still and order.negatives_fetched_on is None:
        changes["negatives_fetched_on"] = day
    has_prints = any(line.service.startswith("print") for line in lines_of(conn, order.id))
    fetched_prints = prints and has_prints and order.prints_fetched_on is None
    if fetched_prints:
        changes["prints_fetched_on"] = day
    if changes and order.ready_real_on is None:
        changes["ready_real_on"] = order.scans_on or day
    if changes:
        update(conn, orders, order.id, changes)
        add_event(conn, kind="collected", at=at, who=who, detail={"order": order.number, **changes})
    after = get_order(conn, order.id)
    closed = not still and (not has_prints or after.prints_fetched_on is not None)
    return Collected(after, tuple(moved), tuple(still), fetched_prints, closed)


def _rolls_of(conn: Connection, order: OrderRow) -> list[RollRow]:
    ids = dict.fromkeys(line.roll_id for line in lines_of(conn, order.id) if line.roll_id is not None)
    return [get_roll(conn, roll_id) for roll_id in ids]


def _chosen(conn: Connection, order: OrderRow, members: list[RollRow], rolls: Sequence[str]) -> list[RollRow]:
    if not rolls:
        return members
    known = {roll.id for roll in members}
    chosen = [find_roll(conn, text) for text in rolls]
    for roll in chosen:
        if roll.id not in known:
            remedy = f"In it: {', '.join(one.code for one in members)}."
            raise Refusal(f"roll {roll.code}", f"it is not in order {order.number}", remedy)
    return chosen
