"""An order as a person reads it, and as JSON holds it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.people import list_people
from dryside.book.rolls import get_roll
from dryside.labs.book_labs import get_lab
from dryside.labs.orders import OrderRow, differences, get_order, lines_of, shares_of

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class OrderWords:
    """A title, and rows of two tables: lines, and owners' shares."""

    title: str
    lines: list[tuple[str, ...]]
    shares: list[tuple[str, ...]]


def describe_order(conn: Connection, text: str) -> OrderWords:
    """An order in words (NotFound as `get_order`)."""
    order = get_order(conn, text)
    names = {person.id: person.name for person in list_people(conn)}
    lines: list[tuple[str, ...]] = [
        (
            "" if line.roll_id is None else get_roll(conn, line.roll_id).code,
            line.service if line.quantity == 1 else f"{line.quantity} × {line.service}",
            names.get(line.owner_id or 0, ""),
            line.estimate,
            line.amount or "",
        )
        for line in lines_of(conn, order.id)
    ]
    lines.append(("", "together", "", order.estimate, order.paid or ""))
    shares: list[tuple[str, ...]] = [
        (
            share.owner or "nobody",
            str(share.own.amount),
            str(share.shared.amount),
            str(share.owes),
            ", ".join(share.rolls) + (f"; {share.prints} prints" if share.prints else ""),
        )
        for share in shares_of(conn, order)
    ]
    return OrderWords(_title(conn, order), lines, shares)


def order_document(conn: Connection, text: str) -> dict[str, Any]:
    """An order as plain data (NotFound as `get_order`)."""
    order = get_order(conn, text)
    found, whole = differences(conn, order)
    return {
        "lab": get_lab(conn, order.lab_id).row.name,
        **asdict(order),
        "lines": [
            {**asdict(line), "roll": None if line.roll_id is None else get_roll(conn, line.roll_id).code}
            for line in lines_of(conn, order.id)
        ],
        "differences": [
            {"roll": one.roll, "service": one.service, "more": str(one.more.amount)}
            for one in [*found, *([whole] if whole else [])]
        ],
        "shares": [
            {
                "owner": share.owner,
                "owes": share.owes.as_dict(),
                "own": str(share.own.amount),
                "shared": str(share.shared.amount),
                "rolls": list(share.rolls),
                "prints": share.prints,
            }
            for share in shares_of(conn, order)
        ],
    }


def _title(conn: Connection, order: OrderRow) -> str:
    lab = get_lab(conn, order.lab_id).row.name
    parts = [f"{order.number} at {lab}, handed in {order.dropped_on}"]
    for words, day in (
        ("scans came", order.scans_on),
        ("ready" if order.scans_on is None else "promised", order.ready_on),
        ("negatives fetched", order.negatives_fetched_on),
        ("negatives kept until", None if order.negatives_fetched_on else order.negatives_until),
    ):
        parts += [f"{words} {day}"] if day else []
    if order.receipt_number:
        parts.append(f"receipt {order.receipt_number}")
    return ", ".join(parts) + f" ({order.currency})."
