"""How a lab's developing drifts, as plots of what captures of its negatives measured."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from dryside.book.schema import developments, order_lines, orders
from dryside.web import plot

if TYPE_CHECKING:
    from sqlalchemy import Connection

ENOUGH = 2


def developing_plots(conn: Connection, lab_id: int) -> list[dict[str, Any]]:
    """Film base by channel, and contrast, over the days they were developed; nothing while too few were measured."""
    from sqlalchemy import select

    rolls = (
        select(order_lines.c.roll_id, orders.c.dropped_on)
        .join(orders, orders.c.id == order_lines.c.order_id)
        .where(orders.c.lab_id == lab_id, order_lines.c.roll_id.is_not(None))
        .distinct()
        .subquery()
    )
    rows = conn.execute(
        select(rolls.c.dropped_on, developments.c.base_red, developments.c.base_green, developments.c.base_blue,
               developments.c.contrast)
        .join(rolls, rolls.c.roll_id == developments.c.roll_id)
        .order_by(rolls.c.dropped_on)
    ).all()  # fmt: skip
    if len(rows) < ENOUGH:
        return []
    days = [date.fromisoformat(row.dropped_on) for row in rows]
    base = [
        plot.Line(name, name, tuple((day, float(row[place])) for day, row in zip(days, rows, strict=True)
                                    if row[place] is not None))
        for place, name in ((1, "red"), (2, "green"), (3, "blue"))
    ]  # fmt: skip
    contrast = tuple((day, float(row[4])) for day, row in zip(days, rows, strict=True) if row[4] is not None)
    found = []
    if all(one.points for one in base):
        found.append({"title": "Film base", "words": "Density of clear film in red, green and blue light.",
                      "drawn": plot.lines(base, unit="density", title="Film base density over time")})  # fmt: skip
    if contrast:
        line = plot.Line("contrast", "grey", contrast)
        found.append({"title": "Contrast", "words": "How steeply density rises with exposure.",
                      "drawn": plot.lines([line], unit="density a stop", title="Contrast over time")})  # fmt: skip
    return found
