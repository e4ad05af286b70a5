"""What a roll costs at a lab, line by line, or why the lab does not take it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from dryside.book.money import Money, total
from dryside.film.formats import covers
from dryside.film.printsizes import PrintSize, print_size, same_size
from dryside.film.processes import process_name
from dryside.film.refusal import Refusal
from dryside.film.speed import format_push
from dryside.labs.lab import Developing, Lab, Printing, Rush, Scanning
from dryside.labs.rolls import RollWish

_FILM_OF = {
    "c41": "colour negative film",
    "ecn2": "cine film",
    "e6": "slide film",
    "bw": "black-and-white film",
}


@dataclass(frozen=True)
class PriceLine:
    """One line of an estimate: `service` as the book names it, `detail` as a person reads it, and its amount."""

    roll: str
    service: str
    detail: str
    quantity: int
    amount: Money


@dataclass(frozen=True)
class Quote:
    """A roll at a lab that takes it: its lines, and what decides its days.

    Attributes
    ----------
    developings : tuple of Developing
        The cheapest line of the lab's list that fits; more than one where several cost the same, and then the one
        that is ready first is meant.
    rush_days : int or None
        Working days instead of the usual ones, where rush was asked for.
    """

    lines: tuple[PriceLine, ...]
    developings: tuple[Developing, ...]
    rush_days: int | None = None

    @property
    def price(self) -> Money:
        """Sum of the lines."""
        return total((line.amount for line in self.lines), self.lines[0].amount.currency)


def quote(wish: RollWish, lab: Lab) -> Quote | tuple[str, ...]:
    """The estimate for a roll at a lab.

    Where two lines of the list fit, the cheaper is meant.

    Returns
    -------
    Quote or tuple of str
        The estimate; or every reason why the lab does not take the roll, never empty.
    """
    chosen = _developing(wish, lab)
    scan = _scan(wish, lab)
    prints = _prints(wish, lab)
    rush = _rush(wish, lab)
    parts = (chosen, scan, prints, rush)
    reasons = [part for part in parts if isinstance(part, str)]
    if isinstance(chosen, str) or isinstance(scan, str) or isinstance(prints, str) or isinstance(rush, str):
        return tuple(reasons)
    lines = [*_developing_lines(wish, chosen[0])]
    if scan is not None:
        size = "" if scan.long_edge_px is None else f" ({scan.long_edge_px} px)"
        lines.append(PriceLine(wish.roll, "scan", f"scan {scan.name}{size}", 1, scan.price))
    lines += prints
    if rush is not None:
        lines.append(PriceLine(wish.roll, "rush", "rush", 1, rush.price))
    return Quote(tuple(lines), chosen, None if rush is None else rush.working_days)


def push_price(developing: Developing, wish: RollWish) -> Money:
    """What the push or pull of a roll costs: by the stop, parts of a stop in proportion, rounded as on a receipt.

    Raises
    ------
    ValueError
        If the lab does neither.
    """
    if developing.push_per_stop is None:
        raise ValueError("push_per_stop is None: no push or pull here")
    stops = abs(wish.push_stops)
    exact = developing.push_per_stop.amount * stops.numerator / Decimal(stops.denominator)
    return Money.rounded(exact, developing.push_per_stop.currency)


def _developing_lines(wish: RollWish, chosen: Developing) -> list[PriceLine]:
    detail = f"develop {process_name(chosen.process)}, {wish.format}"
    lines = [PriceLine(wish.roll, "develop", detail, 1, chosen.price)]
    if wish.push_stops:
        way = "push" if wish.push_stops > 0 else "pull"
        detail = f"{way} {format_push(wish.push_stops)}"
        lines.append(PriceLine(wish.roll, "push", detail, 1, push_price(chosen, wish)))
    return lines


def _developing_cost(wish: RollWish, one: Developing) -> Decimal:
    return sum((line.amount.amount for line in _developing_lines(wish, one)), Decimal(0))


def _developing(wish: RollWish, lab: Lab) -> tuple[Developing, ...] | str:
    """The lines of the list that fit and cost least, or why none fits."""
    of_process = [one for one in lab.develop if one.process == wish.process]
    if not of_process:
        return _process_reason(wish, lab)
    fitting = [one for one in of_process if any(covers(listed, wish.format) for listed in one.formats)]
    if not fitting:
        return f"{process_name(wish.process)} is not taken in {wish.format}"
    if wish.push_stops:
        fitting = [one for one in fitting if one.push_per_stop is not None]
    if not fitting:
        return ("no push" if wish.push_stops > 0 else "no pull") + _roller_note(lab)
    least = min(_developing_cost(wish, one) for one in fitting)
    return tuple(one for one in fitting if _developing_cost(wish, one) == least)


def _process_reason(wish: RollWish, lab: Lab) -> str:
    reason = f"{_FILM_OF[wish.process]} ({process_name(wish.process)}) is not taken"
    if wish.process == "ecn2" and any(one.process == "c41" for one in lab.develop):
        reason += ", only C-41: a rem-jet backing would spoil its line"
    return reason


def _roller_note(lab: Lab) -> str:
    return " (its roller line has fixed times)" if lab.machine == ("roller",) else ""


def _scan(wish: RollWish, lab: Lab) -> Scanning | str | None:
    if wish.scan is None:
        return None
    named = [one for one in lab.scan if one.name.casefold() == wish.scan.casefold()]
    return named[0] if named else f"no scan '{wish.scan}'"


def _prints(wish: RollWish, lab: Lab) -> list[PriceLine] | str:
    lines, missing = [], []
    for size, copies in wish.prints:
        found = _printing(lab, size)
        if found is None:
            missing.append(size)
        else:
            lines.append(PriceLine(wish.roll, f"print {size}", f"{copies} × {size}", copies, found.price * copies))
    return f"no prints in {', '.join(missing)}" if missing else lines


def _printing(lab: Lab, size: str) -> Printing | None:
    """The lab's line for a size: by its name as written, else by what it measures (4x6 in is 4R)."""
    named = [one for one in lab.print if "".join(one.size.casefold().split()) == "".join(size.casefold().split())]
    if named:
        return named[0]
    wanted = _measured(size)
    if wanted is None:
        return None
    return next((one for one in lab.print if (found := _measured(one.size)) and same_size(found, wanted)), None)


@cache
def _measured(size: str) -> PrintSize | None:
    try:
        return print_size(size)
    except Refusal:
        return None  # a name of the lab's own


def _rush(wish: RollWish, lab: Lab) -> Rush | str | None:
    if not wish.rush:
        return None
    fitting = [one for one in lab.rush if wish.process in one.processes]
    return min(fitting, key=lambda one: (one.price.amount, one.working_days)) if fitting else "no rush"
