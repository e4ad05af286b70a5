"""The drop-off plan: the cheapest split of the rolls over the labs, and every other that is sooner for more money."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from dryside.book.money import Money, total
from dryside.film.nearest import in_words
from dryside.film.refusal import Refusal
from dryside.labs.assignment import Assignment, cheapest, tradeoff
from dryside.labs.lab import Lab
from dryside.labs.offers import Ground, LabReason, Offer, OrderDay, RefusedRoll, natural, survey
from dryside.labs.prices import PriceLine
from dryside.labs.rolls import RollWish


@dataclass(frozen=True)
class PlanLimits:
    """What a plan must keep to besides every need_by.

    Attributes
    ----------
    max_labs : int or None
        At most so many labs.
    owners_together : frozenset of str
        Owners each of whose rolls go to one lab.
    budget : Money or None
        Plans above it are left out.
    currency : str or None
        The plan's currency; None: that of most labs.
    rates : mapping of str to Decimal
        What one unit of another currency costs in the plan's, as the user states it.
    """

    max_labs: int | None = None
    owners_together: frozenset[str] = frozenset()
    budget: Money | None = None
    currency: str | None = None
    rates: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True)
class PlannedRoll:
    """A roll in an order: its wish, the lines of its price, its own days."""

    wish: RollWish
    offer: Offer


@dataclass(frozen=True)
class PlannedOrder:
    """One drop-off at one lab.

    Attributes
    ----------
    fees : tuple of PriceLine
        Top-up to the minimum and postage, where there are any; `roll` is empty.
    ready : date
        When its last roll is.
    """

    lab: Lab
    drop_off: date
    rolls: tuple[PlannedRoll, ...]
    fees: tuple[PriceLine, ...]
    ready: date

    @property
    def lines(self) -> tuple[PriceLine, ...]:
        """The lines of all its rolls."""
        return tuple(line for one in self.rolls for line in one.offer.lines)

    @property
    def total(self) -> Money:
        """Lines and fees."""
        return total((line.amount for line in (*self.lines, *self.fees)), self.lines[0].amount.currency)


@dataclass(frozen=True)
class Plan:
    """Orders for all rolls that can be sent."""

    orders: tuple[PlannedOrder, ...]
    total: Money
    ready: date


@dataclass(frozen=True)
class PlanReport:
    """What can be done with a list of rolls, in one currency.

    Attributes
    ----------
    plans : tuple of Plan
        The cheapest first; each next one is dearer and ready sooner, and no other plan beats it on both.
    one_lab : Plan or None
        The cheapest that takes everything to one lab; None where no lab takes all.
    refused : tuple of RefusedRoll
    elsewhere : tuple of PlanReport
        The same question put to the labs of each other currency, never added to this.
    """

    start: date
    currency: str
    labs: tuple[Lab, ...]
    plans: tuple[Plan, ...]
    one_lab: Plan | None
    refused: tuple[RefusedRoll, ...]
    elsewhere: tuple[PlanReport, ...] = ()


def plan_drop_off(
    labs: Sequence[Lab], wishes: Sequence[RollWish], start: date, limits: PlanLimits | None = None
) -> PlanReport:
    """The cheapest plan and the whole trade-off of total against the day when everything is ready.

    Parameters
    ----------
    labs : sequence of Lab
        At least one.
    wishes : sequence of RollWish
        Rolls, each once.
    start : date
        Rolls are handed in on each lab's first open day on or after it (rolls kept apart also later).
    limits : PlanLimits, optional

    Raises
    ------
    Refusal
        If there is no lab or no roll, no lab has the currency asked for, or nothing fits the budget.
    """
    limits = limits or PlanLimits()
    if not labs:
        raise Refusal("plan", "there is no lab", "Add one: dryside lab add FILE.toml.")
    if not wishes:
        raise Refusal("plan", "there is no roll to plan for", "Name rolls, or finish one: dryside roll finish.")
    currency = _currency(labs, limits)
    own = [lab for lab in labs if lab.currency == currency or lab.currency in limits.rates]
    others = sorted({lab.currency for lab in labs if lab not in own})
    report = _report(own, wishes, start, currency, limits)
    elsewhere = tuple(
        _report([lab for lab in labs if lab.currency == other], wishes, start, other, replace(limits, budget=None))
        for other in others
    )
    report = replace(report, elsewhere=elsewhere)
    return report if limits.budget is None else _within_budget(report, limits.budget)


def _currency(labs: Sequence[Lab], limits: PlanLimits) -> str:
    """The currency asked for, that of the budget, or that of most labs (ties by the alphabet)."""
    counts = Counter(lab.currency for lab in labs)
    wanted = limits.currency or (limits.budget.currency if limits.budget else None)
    if wanted is None:
        return min(counts, key=lambda code: (-counts[code], code))
    if wanted not in counts and not any(code in limits.rates for code in counts):
        remedy = f"They have {in_words(sorted(counts), last='and')}: name one, or state a rate."
        raise Refusal(f"currency {wanted}", "no lab has prices in it", remedy)
    return wanted


def _report(
    labs: Sequence[Lab], wishes: Sequence[RollWish], start: date, currency: str, limits: PlanLimits
) -> PlanReport:
    ground = survey(labs, wishes, start, currency=currency, rates=dict(limits.rates))
    slots, pieces = ground.slots(), ground.pieces(limits.owners_together)
    refused = list(ground.refused)
    found = tradeoff(pieces, slots, max_labs=limits.max_labs) if pieces else ()
    if pieces and not found:
        most = cheapest(pieces, slots, max_labs=limits.max_labs, may_leave_out=True)
        assert most is not None
        ground, left_out = _leave_out(ground, most, limits)
        refused += left_out
        pieces = ground.pieces(limits.owners_together)
        found = tradeoff(pieces, slots, max_labs=limits.max_labs) if pieces else ()
    plans = tuple(_plan(ground, one) for one in found)
    return PlanReport(
        start=start,
        currency=currency,
        labs=tuple(dict.fromkeys(day.lab for day in ground.days)),
        plans=plans,
        one_lab=_one_lab(ground, plans, limits),
        refused=tuple(sorted(refused, key=lambda one: (natural(one.roll), one.roll))),
    )


def _one_lab(ground: Ground, plans: tuple[Plan, ...], limits: PlanLimits) -> Plan | None:
    if not plans:
        return None
    if len({order.lab.name for order in plans[0].orders}) == 1:
        return plans[0]
    found = cheapest(ground.pieces(limits.owners_together), ground.slots(), max_labs=1)
    return None if found is None else _plan(ground, found)


def _leave_out(ground: Ground, most: Assignment, limits: PlanLimits) -> tuple[Ground, list[RefusedRoll]]:
    """The ground without the rolls that do not fit beside the others, and why each does not."""
    stays = [slot is not None for slot in most.slots]
    left_out = []
    for number, wish in enumerate(ground.wishes):
        if stays[number]:
            continue
        known = {one.lab: one for one in ground.reasons[number]}
        names = dict.fromkeys(day.lab.name for day in ground.days)
        why = _why_not_beside(wish, ground, limits)
        labs = tuple(known.get(name, LabReason(name, (why,))) for name in names)
        left_out.append(RefusedRoll(wish.roll, labs))
    kept = [number for number, stay in enumerate(stays) if stay]
    ground = replace(
        ground,
        wishes=tuple(ground.wishes[number] for number in kept),
        offers=tuple(ground.offers[number] for number in kept),
        reasons=tuple(ground.reasons[number] for number in kept),
    )
    return ground, left_out


def _why_not_beside(wish: RollWish, ground: Ground, limits: PlanLimits) -> str:
    rivals = [one.roll for one in ground.wishes if one is not wish and one.apart & wish.apart]
    if rivals:
        return f"no day in time on which it travels apart from {in_words(rivals, last='and')}"
    if wish.owner in limits.owners_together:
        return f"it does not take all rolls of {wish.owner}"
    if limits.max_labs is not None:
        return f"more than {limits.max_labs} lab{'s' if limits.max_labs > 1 else ''} would be needed"
    return "not together with the other rolls"


def _plan(ground: Ground, found: Assignment) -> Plan:
    by_day: dict[int, list[PlannedRoll]] = defaultdict(list)
    for number, slot in enumerate(found.slots):
        assert slot is not None
        offer = ground.offers[number][slot]
        assert offer is not None
        by_day[slot].append(PlannedRoll(ground.wishes[number], offer))
    orders = [_order(ground.days[slot], tuple(rolls)) for slot, rolls in by_day.items()]
    orders.sort(key=lambda order: (order.drop_off, order.lab.name))
    return Plan(
        tuple(orders), total((order.total for order in orders), ground.currency), max(order.ready for order in orders)
    )


def _order(day: OrderDay, rolls: tuple[PlannedRoll, ...]) -> PlannedOrder:
    subtotal = total((one.offer.price for one in rolls), rolls[0].offer.price.currency)
    fees = order_fees(day.lab, subtotal)
    return PlannedOrder(day.lab, day.drop_off, rolls, fees, max(one.offer.days.ready for one in rolls))


def order_fees(lab: Lab, subtotal: Money) -> tuple[PriceLine, ...]:
    """Top-up to the lab's minimum and its postage, where there are any, for rolls that come to `subtotal`."""
    fees = []
    if subtotal < lab.minimum_order:
        detail = f"top-up to the minimum of {lab.minimum_order.amount}"
        fees.append(PriceLine("", "minimum", detail, 1, lab.minimum_order - subtotal))
    if lab.postage:
        fees.append(PriceLine("", "postage", "postage, there and back", 1, lab.postage))
    return tuple(fees)


def _within_budget(report: PlanReport, budget: Money) -> PlanReport:
    plans = tuple(plan for plan in report.plans if plan.total <= budget)
    if report.plans and not plans:
        over = report.plans[0].total - budget
        found = f"the cheapest plan costs {report.plans[0].total}, {over} more"
        raise Refusal(f"budget {budget}", found, "Raise it, or leave rolls for another day.")
    one_lab = report.one_lab if report.one_lab and report.one_lab.total <= budget else None
    return replace(report, plans=plans, one_lab=one_lab)
