"""A plan report as plain data for JSON, and as rows of a table for people."""

from __future__ import annotations

from datetime import date
from typing import Any

from dryside.labs.lab import Lab
from dryside.labs.offers import conversion_of
from dryside.labs.planning import Plan, PlannedOrder, PlanReport
from dryside.labs.prices import PriceLine

OLD_MARK = "†"
"""Stands beside each figure of a price list gone old."""


def as_document(report: PlanReport) -> dict[str, Any]:
    """The report as JSON holds it.

    Amounts are text in the plan's currency; days are ISO 8601. `plans` has the cheapest first, then every plan that is
    ready sooner for more money. A figure from a price list gone old says so with `old_prices`.
    """
    document: dict[str, Any] = {
        "from": report.start.isoformat(),
        "currency": report.currency,
        "plans": [_plan(plan, report.start) for plan in report.plans],
        "refused": [
            {
                "roll": one.roll,
                "why": one.why,
                "labs": [{"lab": reason.lab, "reasons": list(reason.reasons)} for reason in one.labs],
            }
            for one in report.refused
        ],
        "one_lab": None if report.one_lab is None else _plan(report.one_lab, report.start),
        "old_price_lists": [_old_list(lab, report.start) for lab in report.labs if lab.prices_are_old(report.start)],
        "converted": [
            {"lab": lab.name, "rate": words} for lab in report.labs if (words := conversion_of(lab)) is not None
        ],
    }
    if report.elsewhere:
        document["other_currencies"] = [as_document(other) for other in report.elsewhere]
    return document


def _plan(plan: Plan, start: date) -> dict[str, Any]:
    return {
        "total": plan.total.as_dict(),
        "ready": plan.ready.isoformat(),
        "orders": [_order(order, start) for order in plan.orders],
    }


def _order(order: PlannedOrder, start: date) -> dict[str, Any]:
    old = order.lab.prices_are_old(start)
    return {
        "lab": order.lab.name,
        "drop_off": order.drop_off.isoformat(),
        "ready": order.ready.isoformat(),
        "total": order.total.as_dict(),
        "rolls": [
            {
                "roll": one.wish.roll,
                "owner": one.wish.owner,
                "ready": one.offer.days.ready.isoformat(),
                "amount": str(one.offer.price.amount),
            }
            for one in order.rolls
        ],
        "lines": [{"roll": line.roll, **_line(line, old=old)} for line in order.lines],
        "fees": [_line(line, old=old) for line in order.fees],
    }


def _line(line: PriceLine, *, old: bool) -> dict[str, Any]:
    found: dict[str, Any] = {
        "service": line.service,
        "amount": str(line.amount.amount),
        "detail": line.detail,
        "quantity": line.quantity,
    }
    return {**found, "old_prices": True} if old else found


def _old_list(lab: Lab, day: date) -> dict[str, Any]:
    as_of = lab.prices_as_of
    return {
        "lab": lab.name,
        "as_of": None if as_of is None else as_of.isoformat(),
        "age_days": None if as_of is None else (day - as_of).days,
    }


def overview_rows(report: PlanReport) -> list[tuple[str, ...]]:
    """A row for each plan: its number, total, what it costs more than the cheapest, ready day, labs with rolls."""
    rows: list[tuple[str, ...]] = []
    for number, plan in enumerate(report.plans, start=1):
        more = plan.total - report.plans[0].total
        mark = OLD_MARK if any(order.lab.prices_are_old(report.start) for order in plan.orders) else ""
        rows.append(
            (
                str(number),
                f"{plan.total}{mark}",
                f"+{more.amount}" if more else "",
                _day(plan.ready),
                ", ".join(f"{order.lab.name} ({len(order.rolls)})" for order in plan.orders),
            )
        )
    return rows


def order_rows(plan: Plan, start: date) -> list[tuple[str, ...]]:
    """A row for each line of each order of a plan: lab and days on its first, then roll, service, amount."""
    rows: list[tuple[str, ...]] = []
    for order in plan.orders:
        mark = OLD_MARK if order.lab.prices_are_old(start) else ""
        rows.append((order.lab.name, _day(order.drop_off), _day(order.ready), "", "", ""))
        for one in order.rolls:
            for place, line in enumerate(one.offer.lines):
                roll, ready = (line.roll, _day(one.offer.days.ready)) if place == 0 else ("", "")
                rows.append(("", "", ready, roll, line.detail, f"{line.amount.amount}{mark}"))
        rows += [("", "", "", "", line.detail, f"{line.amount.amount}{mark}") for line in order.fees]
        rows.append(("", "", "", "", "together", f"{order.total}{mark}"))
    return rows


def old_list_words(report: PlanReport) -> list[str]:
    """A sentence for each price list gone old, to explain the mark."""
    return [
        f"{OLD_MARK} {lab.name}: prices as of {lab.prices_as_of}, {(report.start - lab.prices_as_of).days} days old."
        if lab.prices_as_of
        else f"{OLD_MARK} {lab.name}: its price list says no day."
        for lab in report.labs
        if lab.prices_are_old(report.start)
    ]


def _day(day: date) -> str:
    return f"{day:%a} {day.isoformat()}"
