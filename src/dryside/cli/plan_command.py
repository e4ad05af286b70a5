"""`dryside plan`: which roll to which lab, and what waiting saves."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, say, table, today
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.labs.planning import PlanLimits, PlanReport

app = typer.Typer(add_completion=False)


@app.command()
def plan(
    ctx: typer.Context,
    labs: Annotated[Path | None, typer.Option(metavar="DIR", help="Labs as TOML files; else the book's.")] = None,
    rolls: Annotated[Path | None, typer.Option(metavar="FILE.csv", help="Rolls; else the book's that wait.")] = None,
    start: Annotated[str | None, typer.Option("--from", metavar="DAY", help="First day; else today.")] = None,
    max_labs: Annotated[int | None, typer.Option(min=1, help="Use at most so many labs.")] = None,
    one_lab: Annotated[bool, typer.Option("--one-lab", help="Everything to one lab.")] = False,
    together: Annotated[
        list[str] | None, typer.Option(metavar="OWNER", help="Keep this owner's rolls at one lab.")
    ] = None,
    owners_together: Annotated[bool, typer.Option(help="Keep each owner's rolls at one lab.")] = False,
    budget: Annotated[str | None, typer.Option(metavar="AMOUNT", help="Leave out dearer plans.")] = None,
    currency: Annotated[str | None, typer.Option(metavar="CODE", help="The plan's currency.")] = None,
    rate: Annotated[list[str] | None, typer.Option(metavar="GBP=1.17", help="Convert by this rate.")] = None,
    scan: Annotated[str | None, typer.Option(metavar="NAME", help="Scan for rolls that say none.")] = None,
    plot: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw the trade-off: .png or .svg.")] = None,
    details: Annotated[int, typer.Option(min=1, metavar="N", help="Show every line of plan N.")] = 1,
    prices: Annotated[bool, typer.Option("--prices", help="Only show each roll's price at each lab.")] = False,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Plan the drop-off: the cheapest split over the labs that meets every need_by, and what waiting saves."""
    from dryside.labs.plan_document import as_document
    from dryside.labs.planning import plan_drop_off

    first = _first_day(start, day)
    known_labs, wishes = _gather(ctx, labs, rolls, first, scan)
    if prices:
        _show_prices(known_labs, wishes, first, as_json=as_json)
        return
    owners = {wish.owner for wish in wishes if wish.owner}
    limits = _limits(
        1 if one_lab else max_labs,
        frozenset(owners) if owners_together else frozenset(together or ()),
        budget,
        currency,
        rate,
    )
    report = plan_drop_off(known_labs, wishes, first, limits)
    if plot is not None:
        _write_plot(report, plot)
    if as_json:
        print_json(as_document(report))
    else:
        _show(report, details)


def _show_prices(labs, wishes, first, *, as_json: bool) -> None:
    from dryside.labs.plan_document import OLD_MARK
    from dryside.labs.price_table import price_table

    found = price_table(labs, wishes, first)
    if as_json:
        print_json({"prices": [_price(one) for one in found]})
        return
    rows = []
    for one in found:
        if one.offer is None:
            rows.append((one.roll, one.lab, "", "", ", ".join(one.reasons)))
            continue
        mark = OLD_MARK if one.is_old else ""
        lines = ", ".join(f"{line.detail} {line.amount.amount}{mark}" for line in one.offer.lines)
        rows.append((one.roll, one.lab, f"{one.offer.price}{mark}", str(one.offer.days.ready), lines))
    table(("roll", "lab", "price", "ready", ""), rows, right=("price",))
    if any(one.is_old for one in found):
        say(f"{OLD_MARK} by a price list more than 180 days old.")


def _price(one) -> dict[str, Any]:
    if one.offer is None:
        return {"roll": one.roll, "lab": one.lab, "reasons": list(one.reasons)}
    lines = [{"service": line.service, "amount": str(line.amount.amount)} for line in one.offer.lines]
    old = {"old_prices": True} if one.is_old else {}
    ready = one.offer.days.ready
    return {"roll": one.roll, "lab": one.lab, "price": one.offer.price.as_dict(), "ready": ready, "lines": lines, **old}


def _first_day(start: str | None, day: str | None):
    from dryside.book.instants import parse_day

    return parse_day(start) if start else today(day)


def _gather(ctx, labs, rolls, first, scan):
    """Labs and rolls from files where they are named, else from the book."""
    from dryside.labs.lab_file import read_labs
    from dryside.labs.rolls import read_roll_file

    known = read_labs(labs) if labs is not None else None
    wishes = None
    if rolls is not None:
        read = read_roll_file(rolls, start=first)
        if read.unread_columns:
            say(f"{rolls.name}: columns that mean nothing here: {', '.join(read.unread_columns)}", to_stderr=True)
        wishes = read.wishes
    if known is None or wishes is None:
        from dryside.labs.book_labs import current_labs
        from dryside.labs.waiting import waiting_wishes

        with book_from(ctx, create=False) as book, book.read() as conn:
            known = current_labs(conn, first) if known is None else known
            wishes = waiting_wishes(conn) if wishes is None else wishes
    if scan is not None:
        from dataclasses import replace

        wishes = tuple(replace(wish, scan=wish.scan or scan) for wish in wishes)
    return known, wishes


def _limits(
    max_labs: int | None, together: frozenset[str], budget: str | None, currency: str | None, rates: list[str] | None
) -> PlanLimits:
    from dryside.book.money import Money
    from dryside.labs.planning import PlanLimits

    amount, _, code = (budget or "").strip().partition(" ")
    currency = (currency or code or "").strip().upper() or None
    if budget and currency is None:
        raise Refusal(f"budget {budget}", "it has no currency", "Write it like --budget '120.00 EUR'.")
    return PlanLimits(
        max_labs=max_labs,
        owners_together=together,
        budget=Money.parse(amount, currency) if budget and currency else None,
        currency=currency,
        rates=dict(_rate(one) for one in rates or ()),
    )


def _rate(text: str) -> tuple[str, Decimal]:
    code, _, number = text.partition("=")
    try:
        value = Decimal(number.strip().replace(",", "."))
    except InvalidOperation:
        value = Decimal(0)
    if len(code.strip()) != 3 or not value.is_finite() or value <= 0:
        raise Refusal(f"rate {text}", "it is no currency with a number above 0", "Write it like --rate GBP=1.17.")
    return code.strip().upper(), value


def _write_plot(report: PlanReport, target: Path) -> None:
    from dryside.book.files import put_file
    from dryside.labs.plan_plot import draw_tradeoff

    kind = target.suffix.lower().lstrip(".")
    if kind not in ("png", "svg"):
        raise Refusal(str(target), "a plot is a .png or an .svg", "Name it like tradeoff.png.")
    if not report.plans:
        say("No plan, so nothing to draw.", to_stderr=True)
        return
    put_file(target.absolute().parent, target.name, draw_tradeoff(report, kind=kind))


def _show(report: PlanReport, details: int) -> None:
    from dryside.labs.plan_document import old_list_words, order_rows, overview_rows

    if report.plans:
        table(("plan", "total", "more", "all ready", "labs (rolls)"), overview_rows(report), right=("total", "more"))
        number = min(details, len(report.plans))
        say(f"\nPlan {number}:")
        rows = order_rows(report.plans[number - 1], report.start)
        table(("lab", "drop off", "ready", "roll", "service", "amount"), rows, right=("amount",))
        one = report.one_lab
        if one is not None and len(report.plans[0].orders) > 1:
            more = one.total - report.plans[0].total
            say(f"\nAll at {one.orders[0].lab.name}: {one.total} (+{more.amount}), ready {one.ready}.")
    for words in old_list_words(report):
        say(words)
    for refused in report.refused:
        say(f"Roll {refused.roll} can be sent nowhere. {refused.why}.")
    for other in report.elsewhere:
        say(f"\nLabs that price in {other.currency}, for themselves:")
        _show(other, details)
