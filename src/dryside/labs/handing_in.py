"""Handing rolls in: orders drawn up by hand, what to know first, their papers, and the record of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.files import put_file
from dryside.book.money import Money
from dryside.book.people import keeper
from dryside.book.rolls import find_roll
from dryside.film.refusal import Refusal
from dryside.labs.book_labs import get_lab
from dryside.labs.calendar import first_open, is_open
from dryside.labs.drafts import draft_order
from dryside.labs.lab import Lab
from dryside.labs.offers import LabReason, RefusedRoll
from dryside.labs.orders import OrderRow, record_order
from dryside.labs.papers import PaperChoices, order_papers
from dryside.labs.planning import PlannedOrder
from dryside.labs.prices import quote
from dryside.labs.roll_warnings import mail_warnings, warnings_for
from dryside.labs.rolls import RollWish
from dryside.labs.waiting import WaitingRoll, describe_rolls

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book


@dataclass(frozen=True)
class OrderWarning:
    """What to know of a roll before an order is made; `roll` is empty for the whole parcel."""

    lab: str
    roll: str
    code: str
    is_refusal: bool
    text: str


@dataclass(frozen=True)
class HandMade:
    """Orders as a person assigned the rolls.

    Attributes
    ----------
    orders : tuple of PlannedOrder
        By day, then lab.
    totals : tuple of Money
        One for each currency.
    ready : date or None
        When everything is ready; None without an order.
    refused : tuple of RefusedRoll
        Rolls that their lab does not take.
    """

    orders: tuple[PlannedOrder, ...]
    totals: tuple[Money, ...]
    ready: date | None
    refused: tuple[RefusedRoll, ...]


def assign_by_hand(
    labs: Sequence[Lab], wishes: Sequence[RollWish], assigned: Mapping[str, str], days: Mapping[str, date], start: date
) -> HandMade:
    """Price the rolls at the labs a person gave them to.

    Parameters
    ----------
    labs : sequence of Lab
        The labs that may be named.
    wishes : sequence of RollWish
        The rolls; those without an entry in `assigned` stay at home.
    assigned : mapping of roll to lab's name
    days : mapping of lab's name to date
        Day of the drop-off; else the lab's first open day from `start` on.
    start : date
        Today.

    Raises
    ------
    Refusal
        If rolls that are kept apart go into one order.
    """
    orders, refused = [], []
    for lab in labs:
        given = [wish for wish in wishes if assigned.get(wish.roll) == lab.name]
        taken = []
        for wish in given:
            found = quote(wish, lab)
            if isinstance(found, tuple):
                refused.append(RefusedRoll(wish.roll, (LabReason(lab.name, found),)))
            else:
                taken.append(wish)
        if taken:
            day = days.get(lab.name) or (start if is_open(lab, start) else first_open(lab, start))
            orders.append(draft_order(lab, taken, day))
    orders.sort(key=lambda order: (order.drop_off, order.lab.name))
    totals: dict[str, Money] = {}
    for order in orders:
        currency = order.total.currency
        totals[currency] = totals.get(currency, Money.zero(currency)) + order.total
    ready = max((order.ready for order in orders), default=None)
    return HandMade(tuple(orders), tuple(totals.values()), ready, tuple(refused))


def rolls_of_order(conn: Connection, order: PlannedOrder) -> tuple[WaitingRoll, ...]:
    """The order's rolls as the book has them (NotFound where one is not in it)."""
    return describe_rolls(conn, [find_roll(conn, one.wish.roll) for one in order.rolls])


def order_warnings(conn: Connection, orders: Sequence[PlannedOrder]) -> list[OrderWarning]:
    """Everything to know of these orders, in their order."""
    found = []
    for order in orders:
        rolls = rolls_of_order(conn, order)
        several = [one for roll in rolls for one in warnings_for(roll, order.lab, order.drop_off)]
        several += mail_warnings(rolls, order.lab, order.drop_off)
        found += [OrderWarning(order.lab.name, one.roll, one.code, one.is_refusal, one.text) for one in several]
    return found


def write_order_papers(
    book: Book,
    conn: Connection,
    order: PlannedOrder,
    choices: PaperChoices,
    *,
    folder: Path | None = None,
    number: str = "",
) -> list[Path]:
    """Print an order's sheet and labels into `folder`, else the book's paper/; returns where they are."""
    made = order_papers(order, rolls_of_order(conn, order), choices, keeper=keeper(conn), number=number)
    target = book.paper if folder is None else folder.absolute()
    target.mkdir(parents=True, exist_ok=True)
    return [put_file(target, name, content) for name, content in made.items()]


def hand_in(
    conn: Connection,
    orders: Sequence[PlannedOrder],
    *,
    moments: Mapping[date, str],
    who: str | None = None,
    notes: str | None = None,
) -> list[OrderRow]:
    """Record orders in one transaction; each roll moves to its lab.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    orders : sequence of PlannedOrder
        As planned or as assigned by hand.
    moments : mapping of date to str
        The instant of each drop-off day.
    who, notes : str, optional
        For every order.

    Raises
    ------
    Refusal
        If a roll must not go where it is sent (see `order_warnings`); nothing is written.
    """
    for one in order_warnings(conn, orders):
        if one.is_refusal:
            found, _, remedy = one.text.partition(". ")
            raise Refusal(f"roll {one.roll} at {one.lab}", found, remedy)
    made = []
    for order in orders:
        known = get_lab(conn, order.lab.name, day=order.drop_off)
        made.append(record_order(conn, known, order, at=moments[order.drop_off], who=who, notes=notes))
    return made
