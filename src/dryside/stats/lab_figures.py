"""What the book knows of a lab's work: days promised and taken, frames that came out well, a process that drifts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import TYPE_CHECKING, Any

from dryside.book.schema import developments, frames, labs, order_lines, orders, rolls, stocks
from dryside.stats.control_chart import ControlChart, control_chart
from dryside.stats.spending import KEPT_RATING

if TYPE_CHECKING:
    from sqlalchemy import Connection

QUANTITIES = ("base_red", "base_green", "base_blue", "contrast", "picture_range")
IN_WORDS = {
    "base_red": "film base, red density",
    "base_green": "film base, green density",
    "base_blue": "film base, blue density",
    "contrast": "contrast over a chart's greys",
    "picture_range": "density range of the pictures",
}
NO_STOCK = "(stock not told)"


@dataclass(frozen=True)
class LabFigures:
    """One lab in numbers.

    Attributes
    ----------
    lab : str
        The lab.
    orders : int
        Orders given to it.
    promised_days, real_days : float or None
        Median days from the drop-off to ready, as promised and as it was; over the orders of which both are known.
    late : int
        Orders that came later than promised, of `measured`.
    measured : int
        Orders of which both days are known.
    rated, good : int
        Frames of its rolls that were rated, and those rated 3 or better.
    """

    lab: str
    orders: int
    promised_days: float | None
    real_days: float | None
    late: int
    measured: int
    rated: int
    good: int

    @property
    def good_pct(self) -> float | None:
        """Share of the rated frames that are good; None where none is rated."""
        return 100 * self.good / self.rated if self.rated else None


@dataclass(frozen=True)
class Development:
    """What captures say of one roll's developing; None for what they do not.

    Attributes
    ----------
    base_red, base_green, base_blue : float or None
        Density of the film base.
    contrast : float or None
        Slope of density over log10 exposure along the greys of a chart that is on the roll: the contrast itself.
    picture_range : float or None
        Median over the frames of the density range of their pictures. What was photographed is in it too.
    picture_range_error : float or None
        Its standard error, from the scatter over the frames.
    """

    roll: str
    day: str
    base_red: float | None
    base_green: float | None
    base_blue: float | None
    contrast: float | None
    picture_range: float | None = None
    picture_range_error: float | None = None


@dataclass(frozen=True)
class ProcessSeries:
    """A lab's developments of one stock in order of time, with the control chart of each quantity that has enough."""

    lab: str
    stock: str
    process: str
    developments: tuple[Development, ...]
    charts: dict[str, ControlChart]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What drifts, in words; empty while the process is steady or too little is known."""
        said = []
        for name, chart in self.charts.items():
            rolls_outside = [self.developments[place].roll for place in self._places(name, chart.outside)]
            if rolls_outside:
                said.append(
                    f"{self.lab}, {self.stock}: {IN_WORDS[name]} outside its limits on {', '.join(rolls_outside)}"
                )
            elif chart.shifted:
                last = self.developments[self._places(name, chart.shifted)[-1]].roll
                said.append(f"{self.lab}, {self.stock}: {IN_WORDS[name]} has shifted; see up to {last}")
        return tuple(said)

    def _places(self, name: str, places: Sequence[int]) -> list[int]:
        """Places among all developments of places among those that have the quantity."""
        having = [place for place, one in enumerate(self.developments) if getattr(one, name) is not None]
        return [having[place] for place in places]


def newest(series: ProcessSeries, quantity: str) -> float | None:
    """The newest value of a quantity; None where it was never measured."""
    found = [value for one in series.developments if (value := getattr(one, quantity)) is not None]
    return found[-1] if found else None


def lab_figures(conn: Connection) -> list[LabFigures]:
    """Every lab that was given an order, by name."""
    from sqlalchemy import func, select

    real = func.coalesce(orders.c.ready_real_on, orders.c.scans_on).label("real_on")  # scans tell when it was ready
    columns = (orders.c.id, labs.c.name, orders.c.dropped_on, orders.c.ready_on, real)
    by_lab: dict[str, list[Any]] = {}
    for row in conn.execute(select(*columns).select_from(orders.join(labs)).order_by(labs.c.name, orders.c.id)):
        by_lab.setdefault(row.name, []).append(row)
    rated = _rated(conn)
    return [_figures(lab, found, rated) for lab, found in by_lab.items()]


def _figures(lab: str, found: Sequence[Any], rated: dict[str, tuple[int, int]]) -> LabFigures:
    known = [row for row in found if row.ready_on and row.real_on]
    promised = [_days(row.dropped_on, row.ready_on) for row in known]
    real = [_days(row.dropped_on, row.real_on) for row in known]
    count, good = rated.get(lab, (0, 0))
    return LabFigures(
        lab=lab,
        orders=len(found),
        promised_days=median(promised) if promised else None,
        real_days=median(real) if real else None,
        late=sum(taken > said for taken, said in zip(real, promised, strict=True)),
        measured=len(known),
        rated=count,
        good=good,
    )


def _days(start: str, end: str) -> int:
    return (date.fromisoformat(end) - date.fromisoformat(start)).days


def _roll_labs() -> Any:
    """Rolls with the lab that had them last: a roll may go to a second lab for scans only."""
    from sqlalchemy import func, select

    last = (
        select(order_lines.c.roll_id, func.max(order_lines.c.order_id).label("order_id"))
        .where(order_lines.c.roll_id.is_not(None), order_lines.c.service.in_(("develop", "push")))
        .group_by(order_lines.c.roll_id)
        .subquery()
    )
    return (
        select(last.c.roll_id, labs.c.name)
        .select_from(last.join(orders, orders.c.id == last.c.order_id).join(labs, labs.c.id == orders.c.lab_id))
        .subquery()
    )


def _rated(conn: Connection) -> dict[str, tuple[int, int]]:
    """Rated and good frames of each lab's rolls."""
    from sqlalchemy import case, func, select

    had = _roll_labs()
    good = func.sum(case((frames.c.rating >= KEPT_RATING, 1), else_=0))
    query = (
        select(had.c.name, func.count(), good)
        .select_from(frames.join(had, had.c.roll_id == frames.c.roll_id))
        .where(frames.c.rating.is_not(None), frames.c.rating > 0)
        .group_by(had.c.name)
    )
    return {lab: (count, int(kept or 0)) for lab, count, kept in conn.execute(query)}


def process_series(conn: Connection) -> list[ProcessSeries]:
    """Film base and contrast of every lab's developments, stock by stock, in order of time."""
    from sqlalchemy import select

    had = _roll_labs()
    source = (
        developments.join(rolls, rolls.c.id == developments.c.roll_id)
        .join(had, had.c.roll_id == rolls.c.id)
        .outerjoin(stocks, stocks.c.id == rolls.c.stock_id)
    )
    columns = (had.c.name.label("lab"), stocks.c.name.label("stock"), rolls.c.process, rolls.c.code,
               developments.c.measured_on, developments.c.picture_range_error,
               *(developments.c[name] for name in QUANTITIES))  # fmt: skip
    query = (
        select(*columns)
        .select_from(source)
        .order_by(had.c.name, stocks.c.name, developments.c.measured_on, rolls.c.code)
    )
    groups: dict[tuple[str, str, str], list[Development]] = {}
    for row in conn.execute(query):
        values = {name: getattr(row, name) for name in (*QUANTITIES, "picture_range_error")}
        one = Development(roll=row.code, day=row.measured_on, **values)
        groups.setdefault((row.lab, row.stock or NO_STOCK, row.process), []).append(one)
    return [ProcessSeries(*key, tuple(found), _charts(found)) for key, found in groups.items()]


def _charts(found: Sequence[Development]) -> dict[str, ControlChart]:
    charts = {}
    for name in QUANTITIES:
        values = [value for one in found if (value := getattr(one, name)) is not None]
        chart = control_chart(values)
        if chart is not None:
            charts[name] = chart
    return charts
