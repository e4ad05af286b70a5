"""Events: what happened to a roll, when, by whom. Written in the transaction of what they tell; never changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.instants import utc_seconds
from dryside.book.rows import fetch, insert
from dryside.book.schema import events

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class EventRow:
    """One event; `roll_id` None for what concerns the book."""

    id: int
    roll_id: int | None
    at: str
    at_utc: float
    kind: str
    who: str | None
    from_state: str | None
    to_state: str | None
    detail: Any


def add_event(
    conn: Connection,
    *,
    kind: str,
    at: str,
    roll_id: int | None = None,
    who: str | None = None,
    from_state: str | None = None,
    to_state: str | None = None,
    detail: Any = None,
) -> int:
    """Write one event and return its id.

    Raises
    ------
    Refusal
        If `at` is no instant with an offset.
    """
    values = {
        "roll_id": roll_id,
        "at": at,
        "at_utc": utc_seconds(at),
        "kind": kind,
        "who": who,
        "from_state": from_state,
        "to_state": to_state,
        "detail": detail,
    }
    return insert(conn, events, values)


def list_events(conn: Connection, roll_id: int) -> list[EventRow]:
    """A roll's events in the order they were written (a day noted later may lie before)."""
    return fetch(conn, EventRow, events, events.c.roll_id == roll_id)
