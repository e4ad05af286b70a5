"""Plots of spending and of labs' developing, as SVG and PNG, made to be read on paper and on a phone."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from dryside.stats.charges import Charge
from dryside.stats.lab_figures import IN_WORDS, ProcessSeries

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Dark to light in one hue, and told apart in grey print by lightness and by their order in the legend.
_TONES = ("#1f3a4d", "#4b7f94", "#93b7bd", "#c98a4b", "#e3c394", "#8a8a8a")
_INK, _RULE, _ALARM = "#1b1b1b", "#c9c9c9", "#a8321e"
_PNG_PPI = 150
_FEWEST_MONTHS = 8


@dataclass(frozen=True)
class Plot:
    """One plot: a name for its files, and its two forms."""

    name: str
    svg: bytes
    png: bytes


def spending_by_month(charges: Sequence[Charge]) -> list[Plot]:
    """Bars by month, the labs one above the other; one plot for each currency. Empty without charges."""
    plots = []
    for currency in sorted({charge.cost.currency for charge in charges}):
        own = [charge for charge in charges if charge.cost.currency == currency]
        plots.append(_plot(f"spending-{currency}", (7.2, 3.6), partial(_bars, charges=own, currency=currency)))
    return plots


def control_charts(series: Sequence[ProcessSeries]) -> list[Plot]:
    """A plot of each lab and stock: its quantities over time with their limits. Series without limits are left out."""
    plots = []
    for one in series:
        if one.charts:
            height = 0.7 + 1.5 * len(one.charts)
            name = f"process-{one.lab}-{one.stock}".lower()
            plots.append(_plot(name, (7.2, height), partial(_chart, series=one), rows=len(one.charts)))
    return plots


def _bars(axes: Axes, charges: Sequence[Charge], currency: str) -> None:
    months = _all_months(sorted({charge.day[:7] for charge in charges}))
    totals: dict[str, float] = {}
    for charge in charges:
        totals[charge.lab] = totals.get(charge.lab, 0.0) + float(charge.cost.amount)
    below = [0.0] * len(months)
    for place, lab in enumerate(sorted(totals, key=lambda name: -totals[name])):
        heights = [
            float(sum(c.cost.amount for c in charges if c.lab == lab and c.day[:7] == month)) for month in months
        ]
        axes.bar(range(len(months)), heights, bottom=below, width=0.72, color=_TONES[place % len(_TONES)], label=lab)
        below = [a + b for a, b in zip(below, heights, strict=True)]
    for place, total in enumerate(below):
        if total:
            axes.text(place, total, f"{total:.0f}", ha="center", va="bottom", fontsize=8)
    step = max(1, len(months) // 18)
    axes.set_xticks(range(0, len(months), step), _month_words(months[::step]))
    axes.set_xlim(-0.6, max(len(months), _FEWEST_MONTHS) - 0.4)  # a lone month is a bar, not a wall
    axes.set_title(f"Cost of labs, {currency} a month", loc="left", fontweight="bold")
    axes.set_ylim(0, max(below) * 1.15 or 1)
    axes.legend(frameon=False, ncols=min(3, len(totals)), loc="upper left", bbox_to_anchor=(0, -0.16))


def _all_months(months: Sequence[str]) -> list[str]:
    """Every month from the first to the last, so that a month without spending shows as a gap."""
    year, month = int(months[0][:4]), int(months[0][5:])
    found = []
    while (word := f"{year:04}-{month:02}") <= months[-1]:
        found.append(word)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    return found


def _month_words(months: Sequence[str]) -> list[str]:
    """The months' numbers, with the year under the first that is shown of each."""
    years = [month[:4] for month in months]
    return [
        f"{int(month[5:])}\n{month[:4]}" if place == 0 or years[place] != years[place - 1] else f"{int(month[5:])}"
        for place, month in enumerate(months)
    ]


def _chart(axes: Any, series: ProcessSeries) -> None:
    every = list(axes) if hasattr(axes, "__len__") else [axes]
    for one, (name, chart) in zip(every, series.charts.items(), strict=True):
        known = [development for development in series.developments if getattr(development, name) is not None]
        values = [getattr(development, name) for development in known]
        places = range(len(values))
        one.axhspan(chart.low, chart.high, color="#eef2f3", zorder=0)
        one.axhline(chart.mean, color=_INK, linewidth=0.8)
        for limit, word in ((chart.low, "limit"), (chart.high, "limit")):
            one.axhline(limit, color=_ALARM, linewidth=0.8, linestyle=(0, (4, 3)))
            one.annotate(
                f"{word} {limit:.3f}", (1.005, limit), xycoords=("axes fraction", "data"), fontsize=7, va="center"
            )
        one.annotate(
            f"mean {chart.mean:.3f}", (1.005, chart.mean), xycoords=("axes fraction", "data"), fontsize=7, va="center"
        )
        errors = [getattr(development, f"{name}_error", None) or 0.0 for development in known]
        if any(errors):
            one.errorbar(places, values, yerr=errors, fmt="none", ecolor=_TONES[2], elinewidth=1)
        one.plot(places, values, color=_TONES[1], linewidth=1.2, marker="o", markersize=4)
        marked = sorted({*chart.outside, *chart.shifted})
        one.plot(
            marked,
            [values[place] for place in marked],
            "o",
            color=_ALARM,
            markersize=7,
            fillstyle="none",
            linestyle="none",
        )
        one.set_title(IN_WORDS[name], loc="left", fontsize=9)
        step = max(1, len(known) // 8)
        one.set_xticks(list(places)[::step], [f"{d.roll}\n{d.day}" for d in known[::step]], fontsize=6.5)
        reach = max(chart.high - chart.low, max(values) - min(values), 1e-3)
        one.set_ylim(min(chart.low, *values) - 0.12 * reach, max(chart.high, *values) + 0.12 * reach)
    every[0].figure.suptitle(f"{series.lab}: {series.stock}", x=0.01, ha="left", fontweight="bold", fontsize=11)


def _plot(name: str, size: tuple[float, float], draw: Callable[[Any], None], *, rows: int = 1) -> Plot:
    """Draw once, write both forms; nothing in them but the drawing, so that the same data give the same bytes."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {
        "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": _RULE, "axes.labelcolor": _INK,
        "text.color": _INK, "xtick.color": _INK, "ytick.color": _INK, "svg.hashsalt": "dryside", "svg.fonttype": "path",
    }  # fmt: skip
    with mpl.rc_context(settings):
        figure = Figure(figsize=size, layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots(rows, 1)
        for one in axes if rows > 1 else [axes]:
            one.spines[["top", "right", "left"]].set_visible(False)
            one.tick_params(length=0)
            one.grid(axis="y", color=_RULE, linewidth=0.5)
            one.set_axisbelow(True)
        draw(axes)
        svg, png = io.BytesIO(), io.BytesIO()
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": "Dryside"})
        figure.savefig(png, format="png", dpi=_PNG_PPI, metadata={"Software": "Dryside"})
    return Plot(name, svg.getvalue(), png.getvalue())
