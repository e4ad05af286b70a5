"""Which roll could go to which lab on which day, at what price, ready when: the ground that a plan stands on."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from dryside.book.money import Money, quantum
from dryside.labs.assignment import OrderSlot, Piece, turns_needed
from dryside.labs.calendar import Readiness, first_open, first_ready, next_open
from dryside.labs.lab import Lab
from dryside.labs.prices import PriceLine, Quote, quote
from dryside.labs.rolls import RollWish


@dataclass(frozen=True)
class LabReason:
    """Why one lab does not take a roll."""

    lab: str
    reasons: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.lab}: {', '.join(self.reasons)}"


@dataclass(frozen=True)
class RefusedRoll:
    """A roll that can be sent nowhere, and why, lab by lab."""

    roll: str
    labs: tuple[LabReason, ...]

    @property
    def why(self) -> str:
        """All reasons as one line."""
        return "; ".join(map(str, self.labs)) or "there is no lab"


@dataclass(frozen=True)
class OrderDay:
    """An order that could be made: a lab on one of its open days; `turn` 0 is the first, for what need not wait."""

    lab: Lab
    turn: int
    drop_off: date


@dataclass(frozen=True)
class Offer:
    """A roll at a lab on a day."""

    lines: tuple[PriceLine, ...]
    price: Money
    days: Readiness


@dataclass(frozen=True)
class Ground:
    """All offers of a plan in one currency.

    Attributes
    ----------
    wishes : tuple of RollWish
        Rolls that some lab takes in time, in the order of their names.
    days : tuple of OrderDay
        Labs in the order of their names, each with its days.
    offers : tuple of tuple
        For each wish, for each day: the offer, or None.
    reasons : tuple of tuple of LabReason
        For each wish, the labs that do not take it (or not in time on their first day).
    refused : tuple of RefusedRoll
        Rolls that none takes.
    """

    currency: str
    wishes: tuple[RollWish, ...]
    days: tuple[OrderDay, ...]
    offers: tuple[tuple[Offer | None, ...], ...]
    reasons: tuple[tuple[LabReason, ...], ...]
    refused: tuple[RefusedRoll, ...]

    def slots(self) -> tuple[OrderSlot, ...]:
        """The days as the solver takes them."""
        labs = {name: number for number, name in enumerate(dict.fromkeys(day.lab.name for day in self.days))}
        return tuple(
            OrderSlot(labs[day.lab.name], day.turn, coins(day.lab.minimum_order), coins(day.lab.postage))
            for day in self.days
        )

    def pieces(self, together: Collection[str] = ()) -> tuple[Piece, ...]:
        """The rolls as the solver takes them; `together` names owners whose rolls stay at one lab."""
        return tuple(
            Piece(
                tuple((coins(offer.price), offer.days.ready.toordinal()) if offer else None for offer in offers),
                wish.apart,
                wish.owner if wish.owner in together else None,
            )
            for wish, offers in zip(self.wishes, self.offers, strict=True)
        )


def coins(money: Money) -> int:
    """An amount in whole smallest coins."""
    return int(money.amount / quantum(money.currency))


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sorting key by which roll 9 stands before roll 10."""
    parts = re.findall(r"\d+|\D+", name.casefold())
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


def survey(
    labs: Sequence[Lab],
    wishes: Sequence[RollWish],
    start: date,
    *,
    currency: str,
    rates: dict[str, Decimal] | None = None,
) -> Ground:
    """Every offer of `labs` for `wishes` from `start` on, in `currency`.

    Parameters
    ----------
    labs : sequence of Lab
        Of that currency, or of one in `rates`.
    rates : dict, optional
        What one unit of another currency costs in `currency`, as the user states it.
    """
    labs = sorted((converted(lab, currency, rates or {}) for lab in labs), key=lambda lab: lab.name)
    wishes = sorted(wishes, key=lambda wish: (natural(wish.roll), wish.roll))
    turns = turns_needed(_conflicts(wishes))
    days = tuple(day for lab in labs for day in _order_days(lab, start, turns))
    quotes = _Quotes()
    kept, offers, reasons, refused = [], [], [], []
    for wish in wishes:
        row = tuple(_offer(wish, day, quotes) for day in days)
        why = tuple(_reason(wish, lab, start, quotes) for lab in labs)
        if any(row):
            kept.append(wish)
            offers.append(row)
            reasons.append(tuple(one for one in why if one is not None))
        else:
            refused.append(RefusedRoll(wish.roll, tuple(one for one in why if one is not None)))
    return Ground(currency, tuple(kept), days, tuple(offers), tuple(reasons), tuple(refused))


def converted(lab: Lab, currency: str, rates: dict[str, Decimal]) -> Lab:
    """A lab with its fees in `currency`; its lines are converted one by one as they are quoted."""
    if lab.currency == currency:
        return lab
    return _ConvertedLab.of(lab, currency, rates[lab.currency])


@dataclass(frozen=True)
class _ConvertedLab(Lab):
    """A lab that quotes in another currency than its own."""

    rate: Decimal = Decimal(1)
    fees_in: str = ""

    @classmethod
    def of(cls, lab: Lab, currency: str, rate: Decimal) -> _ConvertedLab:
        fields = {name: getattr(lab, name) for name in lab.__dataclass_fields__}
        for fee in ("minimum_order", "postage"):
            fields[fee] = Money.rounded(fields[fee].amount * rate, currency)
        return cls(**fields, rate=rate, fees_in=currency)


def conversion_of(lab: Lab) -> str | None:
    """How a lab's prices were converted, in words; None where they were not."""
    return f"1 {lab.currency} = {lab.rate} {lab.fees_in}" if isinstance(lab, _ConvertedLab) else None


class _Quotes:
    """Quotes by lab and service: many rolls ask for the same."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Quote | tuple[str, ...]] = {}
        self._days: dict[tuple[object, ...], Readiness | None] = {}

    def of(self, wish: RollWish, lab: Lab) -> Quote | tuple[str, ...]:
        """The quote in the plan's currency, with lines named for this roll."""
        key = (lab.name, wish.process, wish.format, wish.push_stops, wish.scan, wish.prints, wish.rush)
        if key not in self._known:
            self._known[key] = _converted_quote(quote(wish, lab), lab)
        return self._known[key]

    def days(self, lab: Lab, found: Quote, drop_off: date) -> Readiness | None:
        """Days of a quote; None where the lab has no such open day for a year and a half."""
        key = (lab.name, found.developings, found.rush_days, drop_off)
        if key not in self._days:
            try:
                self._days[key] = first_ready(lab, found.developings, drop_off, working_days=found.rush_days)
            except ValueError:
                self._days[key] = None
        return self._days[key]


def _converted_quote(found: Quote | tuple[str, ...], lab: Lab) -> Quote | tuple[str, ...]:
    if isinstance(found, tuple) or not isinstance(lab, _ConvertedLab):
        return found
    lines = tuple(
        PriceLine(
            one.roll, one.service, one.detail, one.quantity, Money.rounded(one.amount.amount * lab.rate, lab.fees_in)
        )
        for one in found.lines
    )
    return Quote(lines, found.developings, found.rush_days)


def _conflicts(wishes: Sequence[RollWish]) -> int:
    kept_apart = [wish.apart for wish in wishes if wish.apart]
    return sum(bool(one & other) for one, other in itertools.combinations(kept_apart, 2))


def _order_days(lab: Lab, start: date, turns: int) -> list[OrderDay]:
    days: list[OrderDay] = []
    try:
        day = first_open(lab, start)
        for turn in range(turns):
            days.append(OrderDay(lab, turn, day))
            day = next_open(lab, day)
    except ValueError:
        return days  # closed for good from there on: `_reason` says so
    return days


def _offer(wish: RollWish, day: OrderDay, quotes: _Quotes) -> Offer | None:
    found = quotes.of(wish, day.lab)
    if isinstance(found, tuple):
        return None
    days = quotes.days(day.lab, found, day.drop_off)
    if days is None or (wish.need_by is not None and days.ready > wish.need_by):
        return None
    lines = tuple(replace(line, roll=wish.roll) for line in found.lines)
    return Offer(lines, found.price, days)


def _reason(wish: RollWish, lab: Lab, start: date, quotes: _Quotes) -> LabReason | None:
    """Why the lab does not take the roll even on its first day; None if it does."""
    found = quotes.of(wish, lab)
    if isinstance(found, tuple):
        return LabReason(lab.name, found)
    try:
        days = quotes.days(lab, found, first_open(lab, start))
    except ValueError:
        days = None
    if days is None:
        return LabReason(lab.name, ("it does not open for a year and a half",))
    if wish.need_by is not None and days.ready > wish.need_by:
        late = (days.ready - wish.need_by).days
        return LabReason(lab.name, (f"ready {late} day{'s' if late > 1 else ''} late",))
    return None
