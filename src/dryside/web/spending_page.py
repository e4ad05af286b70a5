"""Spending: by month, lab, process, owner, roll; what a frame costs; what is not paid yet; the shelf's worth."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from dryside.book.instants import parse_day
from dryside.stats.charges import Charge, list_charges
from dryside.stats.spending import count_frames, list_unpaid, shelf_worth, spending, whole
from dryside.web import plot
from dryside.web.pages import page, site_of

router = APIRouter()
WAYS = ("month", "lab", "process", "owner", "roll")
MOST_BARS = 18


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
    return page(
        request, "spending.html", title="Spending", by=by, ways=WAYS, since=since, until=until,
        rows=spending(charges, counts, by), whole=whole(charges, counts), unpaid=unpaid, shelf=shelf,
        months=_months(charges, counts),
    )  # fmt: skip


def _months(charges: list[Charge], counts: Any) -> list[dict[str, Any]]:
    """The months as bars, one drawing for each currency."""
    rows = spending(charges, counts, "month")
    drawn = []
    for currency in dict.fromkeys(row.total.currency for row in rows):
        own = [row for row in rows if row.total.currency == currency][-MOST_BARS:]
        values = [(row.key, float(row.total.amount), str(row.total.amount)) for row in own]
        title = f"Spending by month, {currency}"
        drawn.append({"currency": currency, "drawn": plot.bars(values, title=title)})
    return drawn
