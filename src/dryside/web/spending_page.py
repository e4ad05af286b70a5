"""Spending: by month, lab, process, owner, roll; what a frame costs; what is not paid yet; the shelf's worth."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from fastapi import APIRouter, Request, Response

from dryside.book.instants import parse_day
from dryside.stats.charges import list_charges
from dryside.stats.spending import count_frames, list_unpaid, shelf_worth, spending, whole
from dryside.web import plot
from dryside.web.pages import page, site_of

router = APIRouter()
WAYS = ("month", "lab", "process", "owner", "roll")
MOST_BARS = 12
FEWEST_BARS = 6


@router.get("/spending")
def spending_page(request: Request, by: str = "month", since: str = "", until: str = "") -> Response:
    """The tables and the months as bars."""
    site = site_of(request)
    by = by if by in WAYS else "month"
    for one in (since, until):
        if one:
            parse_day(one)
    with site.book.read() as conn:
        charges = list_charges(conn, since=since or None, until=until or None)
        counts = count_frames(conn)
        unpaid, shelf = list_unpaid(conn), shelf_worth(conn, site.day().isoformat())
    rows = spending(charges, counts, by)
    return page(
        request, "spending.html", title="Spending", by=by, ways=WAYS, since=since, until=until,
        rows=rows, whole=whole(charges, counts), unpaid=unpaid, shelf=shelf,
        months=_months(rows if by == "month" else spending(charges, counts, "month")),
    )  # fmt: skip


def _months_between(first: str, last: str) -> list[str]:
    """Every month from the first to the last, so that a pause shows; a few before where there are few."""
    year, month = int(last[:4]), int(last[5:7])
    found: list[str] = []
    while len(found) < FEWEST_BARS or (f"{year:04}-{month:02}" >= first and len(found) < MOST_BARS):
        found.append(f"{year:04}-{month:02}")
        year, month = (year, month - 1) if month > 1 else (year - 1, 12)
    return found[::-1]


def _months(rows: Sequence[Any]) -> list[dict[str, Any]]:
    """The months as bars, one drawing for each currency; the amounts above them in whole units."""
    drawn = []
    for currency in dict.fromkeys(row.total.currency for row in rows):
        own = {row.key: row for row in rows if row.total.currency == currency}
        values = [
            (f"{date.fromisoformat(f'{key}-01'):%b %y}", float(row.total.amount), f"{row.total.amount:.0f}")
            if (row := own.get(key))
            else (f"{date.fromisoformat(f'{key}-01'):%b %y}", 0.0, "")
            for key in _months_between(min(own), max(own))
        ]
        title = f"Spending by month, {currency}"
        drawn.append({"currency": currency, "drawn": plot.bars(values, title=title)})
    return drawn
