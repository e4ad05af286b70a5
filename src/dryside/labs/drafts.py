"""An order before it is made: rolls at one lab on one day, priced by its list or as the lab says at the counter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from dryside.book.money import Money, total
from dryside.film.refusal import Refusal
from dryside.labs.calendar import Readiness, first_open, first_ready, is_open
from dryside.labs.lab import Lab
from dryside.labs.offers import Offer, natural
from dryside.labs.planning import PlannedOrder, PlannedRoll, order_fees
from dryside.labs.prices import PriceLine, Quote, quote
from dryside.labs.rolls import RollWish


def draft_order(
    lab: Lab,
    wishes: Sequence[RollWish],
    day: date,
    *,
    told: Mapping[str, Money] | None = None,
    ready: date | None = None,
) -> PlannedOrder:
    """Price an order as the person made it up, without asking whether another split were cheaper.

    Parameters
    ----------
    lab : Lab
    wishes : sequence of RollWish
        At least one roll.
    day : date
        The drop-off. On a closed day (a letter box) developing begins on the next open one.
    told : mapping of roll to Money, optional
        Price of a roll as the lab said it, instead of its list; such a roll is not checked against the list.
    ready : date, optional
        Promised at the counter, for every roll; else reckoned from the lab's days.

    Raises
    ------
    Refusal
        If there is no roll, rolls that are kept apart are among them, or the lab's list does not take one.
    """
    if not wishes:
        raise Refusal(f"order at {lab.name}", "there is no roll in it", "Name rolls.")
    _refuse_together(wishes)
    rolls = tuple(
        PlannedRoll(wish, _offer(lab, wish, day, (told or {}).get(wish.roll), ready))
        for wish in sorted(wishes, key=lambda wish: natural(wish.roll))
    )
    fees = order_fees(lab, total((one.offer.price for one in rolls), lab.currency))
    return PlannedOrder(lab, day, rolls, fees, max(one.offer.days.ready for one in rolls))


def _refuse_together(wishes: Sequence[RollWish]) -> None:
    seen: dict[str, str] = {}
    for wish in wishes:
        for word in sorted(wish.apart):
            if word in seen:
                found = f"it is kept apart from {seen[word]} ('{word}')"
                raise Refusal(f"roll {wish.roll}", found, "Hand one of the two in elsewhere, or another day.")
            seen[word] = wish.roll


def _offer(lab: Lab, wish: RollWish, day: date, told: Money | None, ready: date | None) -> Offer:
    found = quote(wish, lab)
    if told is not None:
        line = PriceLine(wish.roll, "other", "as told at the counter", 1, told)
        days = Readiness(day, day, ready or day) if isinstance(found, tuple) else _days(lab, found, day, ready)
        return Offer((line,), told, days)
    if isinstance(found, tuple):
        remedy = "Leave it out, or give the price the lab told you: --told ROLL=PRICE."
        raise Refusal(f"roll {wish.roll} at {lab.name}", ", ".join(found), remedy)
    return Offer(found.lines, found.price, _days(lab, found, day, ready))


def _days(lab: Lab, found: Quote, day: date, ready: date | None) -> Readiness:
    begin = day if is_open(lab, day) else first_open(lab, day)
    days = first_ready(lab, found.developings, begin, working_days=found.rush_days)
    return Readiness(day, days.developed, ready or days.ready)
