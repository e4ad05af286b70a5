"""Orders of the book: recorded as planned or as changed at the counter, with the receipt and what differs from it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from dryside.book.events import add_event
from dryside.book.files import keep_original
from dryside.book.journey import RollState
from dryside.book.money import Money
from dryside.book.people import list_people
from dryside.book.rolls import find_roll, get_roll, move_roll
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import order_lines, orders
from dryside.film.nearest import nearest_names
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.book_labs import KnownLab
from dryside.labs.planning import PlannedOrder
from dryside.labs.prices import PriceLine
from dryside.labs.waiting import get_wish

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection

    from dryside.book.folder import Book


@dataclass(frozen=True)
class OrderRow:
    """An order; days are ISO 8601 text, money a decimal text in `currency`."""

    id: int
    lab_id: int
    price_list_id: int | None
    number: str
    dropped_on: str
    ready_on: str | None
    scans_on: str | None
    ready_real_on: str | None
    download_ends_on: str | None
    negatives_until: str | None
    negatives_fetched_on: str | None
    prints_fetched_on: str | None
    receipt_number: str | None
    receipt_sha256: str | None
    estimate: str
    paid: str | None
    paid_on: str | None
    currency: str
    notes: str | None


@dataclass(frozen=True)
class OrderLineRow:
    """A line of an order; `roll_id` None for fees; `amount` as the receipt says, where it says."""

    id: int
    order_id: int
    roll_id: int | None
    owner_id: int | None
    service: str
    quantity: int
    estimate: str
    amount: str | None
    returns: str | None
    lab_roll_number: str | None


@dataclass(frozen=True)
class Difference:
    """A line where the receipt differs from the estimate, or a whole order."""

    roll: str
    service: str
    estimate: Money
    amount: Money

    @property
    def more(self) -> Money:
        """What the receipt has above the estimate; negative where it has less."""
        return self.amount - self.estimate


def record_order(
    conn: Connection,
    known: KnownLab,
    order: PlannedOrder,
    *,
    at: str,
    who: str | None = None,
    notes: str | None = None,
) -> OrderRow:
    """Write an order: its lines, and each roll's move to the lab, in this one transaction.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    known : KnownLab
        The lab and the price list that the order stands on.
    order : PlannedOrder
        As planned, or as drafted at the counter. Its rolls are named by the book's codes.
    at : str
        Instant of the drop-off, with offset.
    who, notes : str, optional

    Raises
    ------
    NotFound
        If a roll is not in the book.
    Refusal
        If a roll cannot go to a lab from where it is. Nothing is written then.
    """
    lab = order.lab
    values = {
        "lab_id": known.row.id,
        "price_list_id": known.price_list.id,
        "number": _next_number(conn, order.drop_off),
        "dropped_on": order.drop_off.isoformat(),
        "ready_on": order.ready.isoformat(),
        "download_ends_on": _after(order.ready, lab.scans_kept_days) if _has_service(order, "scan") else None,
        "negatives_until": _after(order.ready, lab.holds_negatives_days),
        "estimate": str(order.total.amount),
        "currency": order.total.currency,
        "notes": notes,
    }
    order_id = insert(conn, orders, values)
    for one in order.rolls:
        roll = find_roll(conn, one.wish.roll)
        returns = get_wish(conn, roll.id).returns
        for line in one.offer.lines:
            _add_line(conn, order_id, line, roll_id=roll.id, owner_id=roll.owner_id, returns=returns)
        detail = {"order": values["number"], "lab": lab.name}
        move_roll(conn, roll, RollState.AT_LAB, at=at, who=who, detail=detail)
    for fee in order.fees:
        _add_line(conn, order_id, fee)
    return get_order(conn, order_id)


def _has_service(order: PlannedOrder, service: str) -> bool:
    return any(line.service == service for line in order.lines)


def _after(day: date, days: int | None) -> str | None:
    return None if days is None else (day + timedelta(days=days)).isoformat()


def _add_line(
    conn: Connection,
    order_id: int,
    line: PriceLine,
    *,
    roll_id: int | None = None,
    owner_id: int | None = None,
    returns: str | None = None,
) -> None:
    values = {
        "order_id": order_id,
        "roll_id": roll_id,
        "owner_id": owner_id,
        "service": line.service,
        "quantity": line.quantity,
        "estimate": str(line.amount.amount),
        "returns": returns,
    }
    insert(conn, order_lines, values)


def _next_number(conn: Connection, day: date) -> str:
    """The next free number of the year: O26-007."""
    from sqlalchemy import select

    start = f"O{day.year % 100:02d}-"
    known = conn.execute(select(orders.c.number).where(orders.c.number.startswith(start))).scalars()
    taken = [int(number.removeprefix(start)) for number in known if number.removeprefix(start).isdecimal()]
    return f"{start}{max(taken, default=0) + 1:03d}"


def list_orders(conn: Connection, *, lab_id: int | None = None) -> list[OrderRow]:
    """Orders by number, of one lab or all."""
    where = () if lab_id is None else (orders.c.lab_id == lab_id,)
    return fetch(conn, OrderRow, orders, *where, order=(orders.c.dropped_on, orders.c.number))


def get_order(conn: Connection, order: int | str) -> OrderRow:
    """An order by row id, number (`O26-007`, also `o26-7`), or the receipt number of its lab.

    Raises
    ------
    NotFound
        If there is none, or several labs gave that receipt number.
    """
    if isinstance(order, int):
        return must_be(fetch_one(conn, OrderRow, orders, orders.c.id == order), f"order with row id {order}")
    wanted = order.strip().upper()
    short = re.fullmatch(r"O?(\d{2})-0*(\d+)", wanted)
    number = f"O{short[1]}-{int(short[2]):03d}" if short else wanted
    found = fetch(conn, OrderRow, orders, orders.c.number == number)
    found = found or fetch(conn, OrderRow, orders, orders.c.receipt_number == order.strip())
    if len(found) == 1:
        return found[0]
    near = nearest_names(number, [row.number for row in list_orders(conn)], count=2)
    remedy = f"Near it: {', '.join(near)}." if near else "List them: dryside dropoff list."
    raise NotFound(f"order {order}", "several have this receipt number" if found else "not in this book", remedy)


def lines_of(conn: Connection, order_id: int) -> list[OrderLineRow]:
    """The lines of an order as they were written."""
    return fetch(conn, OrderLineRow, order_lines, order_lines.c.order_id == order_id)


def set_receipt(
    conn: Connection,
    book: Book,
    order: OrderRow,
    *,
    number: str | None = None,
    paid: Money | None = None,
    paid_on: date | None = None,
    file: Path | None = None,
    amounts: Mapping[tuple[str, str], Money] | None = None,
    lab_numbers: Mapping[str, str] | None = None,
    at: str | None = None,
) -> OrderRow:
    """Note what the lab's receipt says; what is left out stays as it is.

    Parameters
    ----------
    file : Path, optional
        A photo or PDF of the receipt, kept as an original.
    amounts : mapping of (roll, service) to Money, optional
        What the receipt has for a line; roll ``""`` for fees. A line that the estimate had not is added.
    lab_numbers : mapping of roll to str, optional
        The lab's own number of a roll, or its twin check.

    Raises
    ------
    Refusal
        If money is in another currency than the order, or a roll is not in it.
    """
    changes: dict[str, str | None] = {}
    if number is not None:
        changes["receipt_number"] = number.strip() or None
    if paid is not None:
        _same_currency(order, paid)
        changes["paid"] = str(paid.amount)
        changes["paid_on"] = (paid_on or date.fromisoformat(order.dropped_on)).isoformat()
    if file is not None:
        changes["receipt_sha256"] = keep_original(book, file, kind="receipt", conn=conn).sha256
    for (roll, service), amount in (amounts or {}).items():
        _set_amount(conn, order, roll, service, amount)
    for roll, text in (lab_numbers or {}).items():
        for line in _lines_of_roll(conn, order, roll):
            update(conn, order_lines, line.id, {"lab_roll_number": text})
    update(conn, orders, order.id, changes)
    if at is not None and changes:
        add_event(conn, kind="receipt", at=at, detail={"order": order.number, **changes})
    return get_order(conn, order.id)


def _same_currency(order: OrderRow, money: Money) -> None:
    if money.currency != order.currency:
        found = f"{money} is not in the order's currency, {order.currency}"
        raise Refusal(f"order {order.number}", found, f"Write it in {order.currency}.")


def _lines_of_roll(conn: Connection, order: OrderRow, roll: str) -> list[OrderLineRow]:
    roll_id = find_roll(conn, roll).id
    found = [line for line in lines_of(conn, order.id) if line.roll_id == roll_id]
    if not found:
        raise Refusal(
            f"roll {roll}", f"it is not in order {order.number}", f"Look: dryside dropoff show {order.number}."
        )
    return found


def _set_amount(conn: Connection, order: OrderRow, roll: str, service: str, amount: Money) -> None:
    _same_currency(order, amount)
    lines = _lines_of_roll(conn, order, roll) if roll else [
        line for line in lines_of(conn, order.id) if line.roll_id is None
    ]  # fmt: skip
    wanted = service.strip().casefold()
    found = next((line for line in lines if line.service.casefold() == wanted), None)
    if found is not None:
        update(conn, order_lines, found.id, {"amount": str(amount.amount)})
        return
    values = {
        "order_id": order.id,
        "roll_id": lines[0].roll_id if roll else None,
        "owner_id": lines[0].owner_id if roll else None,
        "service": service.strip() or "other",
        "quantity": 1,
        "estimate": str(Money.zero(order.currency).amount),
        "amount": str(amount.amount),
    }
    insert(conn, order_lines, values)


def differences(conn: Connection, order: OrderRow) -> tuple[list[Difference], Difference | None]:
    """Where the receipt differs from the estimate, line by line, and the whole (None while nothing is paid)."""
    found = []
    for line in lines_of(conn, order.id):
        if line.amount is not None and Money.parse(line.amount, order.currency) != _estimate(line, order):
            roll = "" if line.roll_id is None else get_roll(conn, line.roll_id).code
            amount = Money.parse(line.amount, order.currency)
            found.append(Difference(roll, line.service, _estimate(line, order), amount))
    if order.paid is None:
        return found, None
    estimate, paid = (Money.parse(text, order.currency) for text in (order.estimate, order.paid))
    return found, Difference("", "total", estimate, paid)


def _estimate(line: OrderLineRow, order: OrderRow) -> Money:
    return Money.parse(line.estimate, order.currency)


@dataclass(frozen=True)
class Share:
    """What one owner owes of an order, and what of it is theirs when it comes back.

    Attributes
    ----------
    owner : str
        Name; ``""`` for rolls of nobody in particular.
    own : Money
        Lines of their rolls.
    shared : Money
        Their part of fees, and of what the receipt has besides its lines.
    rolls : tuple of str
    prints : int
    """

    owner: str
    own: Money
    shared: Money
    rolls: tuple[str, ...]
    prints: int

    @property
    def owes(self) -> Money:
        """Own and shared together."""
        return self.own + self.shared


def shares_of(conn: Connection, order: OrderRow) -> tuple[Share, ...]:
    """Who owes what of an order, by name; the sum is what was paid (the estimate, while nothing is).

    Lines go to the roll's owner, with the receipt's amount where it says one. The rest (fees, and whatever the
    receipt adds or takes off) is divided in proportion to them, without loss of a coin (largest remainder).
    """
    names = {person.id: person.name for person in list_people(conn)}
    owners: dict[str, list[OrderLineRow]] = {}
    lines = lines_of(conn, order.id)
    for line in lines:
        if line.roll_id is not None:
            owners.setdefault(names.get(line.owner_id or 0, ""), []).append(line)
    own = {name: _sum(owners[name], order) for name in sorted(owners)}
    whole = Money.parse(order.paid, order.currency) if order.paid is not None else _sum(lines, order)
    rest = whole
    for amount in own.values():
        rest = rest - amount
    parts = rest.split([amount.amount for amount in own.values()]) if own else []
    return tuple(
        Share(name, own[name], part, _codes(conn, owners[name]), _print_count(owners[name]))
        for name, part in zip(own, parts, strict=True)
    )


def _sum(lines: Sequence[OrderLineRow], order: OrderRow) -> Money:
    result = Money.zero(order.currency)
    for line in lines:
        result = result + Money.parse(line.estimate if line.amount is None else line.amount, order.currency)
    return result


def _codes(conn: Connection, lines: Sequence[OrderLineRow]) -> tuple[str, ...]:
    ids = dict.fromkeys(line.roll_id for line in lines if line.roll_id is not None)
    return tuple(get_roll(conn, roll_id).code for roll_id in ids)


def _print_count(lines: Sequence[OrderLineRow]) -> int:
    return sum(line.quantity for line in lines if line.service.startswith("print "))
