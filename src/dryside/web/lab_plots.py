"""How a lab's developing drifts: what captures of its negatives measured, with the limits of its usual scatter."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from dryside.stats.lab_figures import QUANTITIES, ProcessSeries, lab_figures, process_series
from dryside.web import plot

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.stats.lab_figures import LabFigures

ENOUGH = 2
MOST_SHOWN = 60
_COLOURS = {"base_red": "red", "base_green": "green", "base_blue": "blue", "contrast": "grey", "picture_range": "grey"}


_IN_SHORT = {"base_red": "red", "base_green": "green", "base_blue": "blue", "contrast": "", "picture_range": ""}


def figures_of(conn: Connection, lab: str) -> LabFigures | None:
    """A lab in numbers; None while it was given no order."""
    return next((one for one in lab_figures(conn) if one.lab == lab), None)


def developing_plots(conn: Connection, lab: str) -> list[dict[str, Any]]:
    """For each stock: film base by channel, and contrast, over the days; nothing while too few were measured."""
    found = []
    for series in process_series(conn):
        if series.lab == lab and len(series.developments) >= ENOUGH:
            found += [one for one in (_drawn(series, QUANTITIES[:3], "Film base", "density"),
                                      _drawn(series, ("contrast",), "Contrast", "contrast"),
                                      _drawn(series, ("picture_range",), "Range of the pictures", "density"))
                      if one]  # fmt: skip
    return found


def _drawn(series: ProcessSeries, quantities: tuple[str, ...], name: str, unit: str) -> dict[str, Any] | None:
    lines = []
    for quantity in quantities:
        points = tuple(
            (date.fromisoformat(one.day[:10]), float(getattr(one, quantity)))
            for one in series.developments[-MOST_SHOWN:]
            if getattr(one, quantity) is not None
        )
        if len(points) >= ENOUGH:
            chart = series.charts.get(quantity)
            limits = (chart.low, chart.high) if chart else ()
            lines.append(plot.Line(_IN_SHORT[quantity], _COLOURS[quantity], points, limits))
    if not lines:
        return None
    return {
        "title": f"{name}, {series.stock}",
        "words": " ".join(series.remarks) or "No drift beyond its usual scatter is seen.",
        "drawn": plot.lines(lines, unit=unit, title=f"{name} of {series.stock} over time"),
    }
