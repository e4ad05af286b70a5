"""What is due: scans, downloads, negatives and prints at labs, rolls and film that wait, old price lists, loans."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from dryside.book.journey import WAITING_FOR_NEGATIVES, RollState
from dryside.book.rolls import get_roll, list_rolls
from dryside.book.schema import loans, order_lines
from dryside.book.stocks import get_stock, list_shelf
from dryside.labs.book_labs import KnownLab, list_labs
from dryside.labs.lab import OLD_AFTER_DAYS
from dryside.labs.lab_record import LabRecord, expected_days, record_of
from dryside.labs.orders import OrderLineRow, OrderRow, lines_of, list_orders
from dryside.labs.roll_warnings import LONG_EXPOSED_DAYS

if TYPE_CHECKING:
    from sqlalchemy import Connection

EXPIRY_AHEAD_DAYS = 60
URGENCIES = ("later", "soon", "now", "overdue")
"""From calm to late; what is kept for someone who may throw it away grows through all of them."""
_SOON_DAYS, _NOW_DAYS = 21, 7


@dataclass(frozen=True)
class DueEntry:
    """One thing to do or to expect.

    Attributes
    ----------
    kind : str
        `scans`, `download`, `negatives`, `prints`, `hand in`, `film expires`, `price list` or `loan`.
    subject : str
        A stable name of what it is about: an order's number, a roll's code, a lab. Kind and subject are one entry.
    day : date
        The day it is expected, or the last day for it.
    title, detail : str
        For people; they change only when the thing itself does.
    urgency : str
        One of `URGENCIES`.
    alarm_days : tuple of int
        How many days before `day` a calendar should speak up.
    aside : str
        What is true today only: how many days old, whom to ask.
    """

    kind: str
    subject: str
    day: date
    title: str
    detail: str
    urgency: str
    alarm_days: tuple[int, ...] = (0,)
    aside: str = ""


def due_entries(conn: Connection, today: date) -> tuple[DueEntry, ...]:
    """Everything due, the earliest day first."""
    labs = {known.row.id: known for known in list_labs(conn, day=today, with_inactive=True)}
    orders = list_orders(conn)
    found: list[DueEntry] = []
    records: dict[int, LabRecord | None] = {}
    with_prints = _with_prints(conn)
    for order in orders:
        if _is_closed(order, has_prints=order.id in with_prints):
            continue
        if order.scans_on is None and order.lab_id not in records:
            past = [one for one in orders if one.lab_id == order.lab_id]
            records[order.lab_id] = record_of(labs[order.lab_id].lab, past)
        found += _of_order(conn, order, labs[order.lab_id], records.get(order.lab_id), today)
    found += _exposed(conn, today)
    found += _shelf(conn, today)
    found += _price_lists(conn, labs, today)
    found += _loans(conn, today)
    return tuple(sorted(found, key=lambda one: (one.day, one.kind, one.subject)))


def _with_prints(conn: Connection) -> set[int]:
    """Row ids of orders with prints in them."""
    from sqlalchemy import select

    return set(
        conn.execute(
            select(order_lines.c.order_id).where(order_lines.c.service.startswith("print")).distinct()
        ).scalars()
    )


def _is_closed(order: OrderRow, *, has_prints: bool) -> bool:
    """Whether everything of an order is back: nothing of it is due any more, and its lines need not be read."""
    is_fetched = order.prints_fetched_on is not None or not has_prints
    return order.scans_on is not None and order.negatives_fetched_on is not None and is_fetched


def urgency_of(day: date, today: date) -> str:
    """How urgent a last day is: 'overdue' past it, 'now' within a week, 'soon' within three, else 'later'."""
    left = (day - today).days
    if left < 0:
        return "overdue"
    return "now" if left <= _NOW_DAYS else "soon" if left <= _SOON_DAYS else "later"


def _of_order(
    conn: Connection, order: OrderRow, known: KnownLab, record: LabRecord | None, today: date
) -> Iterator[DueEntry]:
    lines = lines_of(conn, order.id)
    services = {line.service.split()[0] for line in lines}
    if "scan" in services and order.scans_on is None:
        yield _scans(order, known, record, today)
        if order.download_ends_on:
            day = date.fromisoformat(order.download_ends_on)
            detail = f"Then {known.row.name} deletes its copies. Take them in: dryside receive."
            title = f"Download of {order.number} ends"
            yield DueEntry("download", order.number, day, title, detail, urgency_of(day, today), (7, 2, 0))
    waiting = _codes_waiting(conn, lines)
    if waiting:
        yield _negatives(order, known, waiting, today)
    if "print" in services and order.prints_fetched_on is None and order.ready_on is not None:
        day = date.fromisoformat(order.ready_on)
        count = sum(line.quantity for line in lines if line.service.startswith("print"))
        detail = f"{count} prints at {known.row.name}. When you have them: dryside collect {order.number} --prints."
        urgency = "later" if day > today else "soon"
        yield DueEntry("prints", order.number, day, f"Fetch the prints of {order.number}", detail, urgency)


def _scans(order: OrderRow, known: KnownLab, record: LabRecord | None, today: date) -> DueEntry:
    promised = date.fromisoformat(order.ready_on or order.dropped_on)
    day, latest = promised, promised
    detail = f"Promised by {known.row.name} for {promised}."
    if record is not None:
        day, latest = expected_days(known.lab, record, date.fromisoformat(order.dropped_on))
        detail += f" By its last {record.orders} orders: half came by {day}, nine in ten by {latest}."
    urgency = "overdue" if today > latest else "now" if today >= day else "later"
    aside = "Ask there." if urgency == "overdue" else ""
    return DueEntry("scans", order.number, day, f"Scans of {order.number} expected", detail, urgency, aside=aside)


def _negatives(order: OrderRow, known: KnownLab, codes: list[str], today: date) -> DueEntry:
    what = f"{len(codes)} roll{'s' if len(codes) > 1 else ''}: {', '.join(codes)}."
    remedy = f"When you have them: dryside collect {order.number}."
    if order.negatives_until is None:
        day = date.fromisoformat(order.ready_on or order.dropped_on)
        title = f"Fetch the negatives of {order.number}"
        detail = f"{what} {known.row.name} does not say how long it keeps them. {remedy}"
        return DueEntry("negatives", order.number, day, title, detail, "later" if day > today else "soon")
    day = date.fromisoformat(order.negatives_until)
    title = f"Last day for the negatives of {order.number}"
    detail = f"{what} {known.row.name} keeps them until {day}. {remedy}"
    return DueEntry("negatives", order.number, day, title, detail, urgency_of(day, today), (21, 7, 2, 0))


def _codes_waiting(conn: Connection, lines: list[OrderLineRow]) -> list[str]:
    rolls = [get_roll(conn, roll_id) for roll_id in dict.fromkeys(line.roll_id for line in lines) if roll_id]
    return [roll.code for roll in rolls if roll.place in WAITING_FOR_NEGATIVES]


def _exposed(conn: Connection, today: date) -> Iterator[DueEntry]:
    for roll in list_rolls(conn, states=[RollState.EXPOSED]):
        if roll.exposed_on is None:
            continue
        exposed = date.fromisoformat(roll.exposed_on)
        if (today - exposed).days > LONG_EXPOSED_DAYS:
            day = exposed + timedelta(days=LONG_EXPOSED_DAYS)
            title, aside = f"Hand in roll {roll.code}", f"{(today - exposed).days} days ago."
            detail = f"Exposed on {exposed}: the latent image fades. Plan: dryside plan."
            yield DueEntry("hand in", roll.code, day, title, detail, "overdue", aside=aside)


def _shelf(conn: Connection, today: date) -> Iterator[DueEntry]:
    for lot in list_shelf(conn):
        if lot.expires_on is None:
            continue
        day = date.fromisoformat(lot.expires_on)
        if (day - today).days > EXPIRY_AHEAD_DAYS:
            continue
        name = get_stock(conn, lot.stock_id).name
        rolls = f"{lot.quantity} roll{'s' if lot.quantity > 1 else ''}"
        title = f"{rolls} of {name} in {lot.format} expire{'s' if lot.quantity == 1 else ''}"
        detail = f"Kept {lot.kept}. Use them first, or freeze them."
        yield DueEntry("film expires", f"lot-{lot.id}", day, title, detail, urgency_of(day, today), (30, 0))


def _price_lists(conn: Connection, labs: dict[int, KnownLab], today: date) -> Iterator[DueEntry]:
    for known in labs.values():
        as_of = known.lab.prices_as_of
        if not known.row.active or as_of is None or not known.lab.prices_are_old(today):
            continue
        day = as_of + timedelta(days=OLD_AFTER_DAYS + 1)
        title, aside = f"Price list of {known.row.name} is old", f"{(today - as_of).days} days old."
        detail = f"It is of {as_of}. Ask for the new one: dryside lab add FILE.toml."
        yield DueEntry("price list", known.row.name, day, title, detail, "soon", aside=aside)


def _loans(conn: Connection, today: date) -> Iterator[DueEntry]:
    from sqlalchemy import select

    rows = conn.execute(select(loans).where(loans.c.back_on.is_(None), loans.c.due_on.is_not(None)))
    for row in rows.mappings():
        day = date.fromisoformat(row["due_on"])
        what = f"strip {row['strip_id']}" if row["strip_id"] is not None else f"page {row['page_id']}"
        detail = f"Lent on {row['lent_on']}" + (f" for {row['why']}." if row["why"] else ".")
        title = f"{row['to_whom']} brings {what} back"
        yield DueEntry("loan", f"loan-{row['id']}", day, title, detail, urgency_of(day, today), (2, 0))
