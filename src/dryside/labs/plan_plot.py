"""The trade-off drawn: what each plan costs against the day when everything is ready."""

from __future__ import annotations

import io
from typing import Any

from dryside.labs.planning import PlanReport

_INK = "#1a1a1a"
_FAINT = "#8a8a8a"


def draw_tradeoff(report: PlanReport, *, kind: str = "png") -> bytes:
    """Draw total against ready day, one point a plan, each with its total and number.

    Parameters
    ----------
    kind : str, optional
        ``"png"`` (1600 x 1000 pixels) or ``"svg"``.

    Raises
    ------
    ValueError
        If `kind` is neither, or there is no plan to draw.
    """
    if kind not in ("png", "svg"):
        raise ValueError(f"kind is {kind!r}; it must be png or svg")
    if not report.plans:
        raise ValueError("plans is empty; there is nothing to draw")
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.dates import AutoDateLocator, DateFormatter
    from matplotlib.figure import Figure
    from matplotlib.ticker import FuncFormatter

    days = [plan.ready for plan in report.plans]
    totals = [float(plan.total.amount) for plan in report.plans]
    figure = Figure(figsize=(8, 5), dpi=200, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.plot(days, totals, drawstyle="steps-pre", color=_FAINT, linewidth=1, zorder=1)  # type: ignore[arg-type]
    axes.scatter(days, totals, s=46, color=_INK, zorder=3)  # type: ignore[arg-type]
    _frame(axes, report)
    axes.xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=8))  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_formatter(DateFormatter("%a\n%d %b"))  # type: ignore[no-untyped-call]
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.2f}".replace(",", "\u2009")))
    figure.draw_without_rendering()
    _label_points(axes, report)
    out = io.BytesIO()
    # Without a date and with fixed names the same plan gives the same file.
    with rc_context({"svg.hashsalt": "dryside", "svg.fonttype": "none"}):
        figure.savefig(out, format=kind, metadata={"Date": None} if kind == "svg" else {"Software": None})
    return out.getvalue()


# Where a point's words may stand, from the point, in points of 1/72 in: the first place that is free is taken.
_PLACES = ((8, 6), (8, -30), (-8, -30), (-8, 6), (22, 30), (22, -54), (-22, -54), (-22, 30), (36, 54))


def _label_points(axes: Any, report: PlanReport) -> None:
    """Number, total, labs and day beside each point, none over another."""
    from matplotlib.dates import date2num
    from matplotlib.transforms import Bbox

    points = [(date2num(plan.ready), float(plan.total.amount)) for plan in report.plans]  # type: ignore[no-untyped-call]
    taken = [axes.transData.transform(point) for point in points]
    boxes = [Bbox([[x - 9, y - 9], [x + 9, y + 9]]) for x, y in taken]
    for number, plan in enumerate(report.plans, start=1):
        labs = len({order.lab.name for order in plan.orders})
        day = f"{plan.ready:%a} {plan.ready.day} {plan.ready:%b}"
        words = f"{number}: {plan.total.amount}\n{labs} lab{'s' if labs > 1 else ''}, {day}"
        for place in _PLACES:
            label = axes.annotate(
                words,
                (plan.ready, float(plan.total.amount)),
                xytext=place,
                textcoords="offset points",
                fontsize=8.5,
                ha="left" if place[0] > 0 else "right",
            )
            box = label.get_window_extent()
            if not any(box.overlaps(other) for other in boxes):
                break
            if place != _PLACES[-1]:
                label.remove()
        boxes.append(box)


def _frame(axes: Any, report: PlanReport) -> None:
    """Room for the words, and axes that say what they measure."""
    axes.margins(x=0.2, y=0.2)
    axes.set_title("What waiting saves: total against the day when everything is ready", fontsize=11, loc="left")
    axes.set_xlabel("everything ready on")
    axes.set_ylabel(f"total, {report.currency}")
    axes.grid(axis="y", color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=8.5)
