"""Spending: what it cost, by month, lab, process, owner and roll; a frame and a kept one; how the labs work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, say, table, today

if TYPE_CHECKING:
    from dryside.stats.lab_figures import LabFigures, ProcessSeries
    from dryside.stats.spending import SpendingRow

app = typer.Typer(add_completion=False)


@app.command()
def spending(
    ctx: typer.Context,
    by: Annotated[str, typer.Option("--by", help="month, lab, process, owner, roll or service.")] = "month",
    since: Annotated[str | None, typer.Option("--since", metavar="DAY")] = None,
    until: Annotated[str | None, typer.Option("--until", metavar="DAY")] = None,
    plots: Annotated[
        Path | None, typer.Option("--plots", metavar="DIR", help="Write plots there, SVG and PNG.")
    ] = None,
    labs: Annotated[
        bool, typer.Option("--labs", help="How the labs work: days, good frames, a process that drifts.")
    ] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """What it cost: by month, lab, process, owner, roll; per roll, frame and kept frame; what waits unpaid."""
    from dryside.book.instants import parse_day
    from dryside.stats.charges import list_charges
    from dryside.stats.lab_figures import lab_figures, process_series
    from dryside.stats.spending import count_frames, list_unpaid, shelf_worth, whole
    from dryside.stats.spending import spending as spent

    span = {name: parse_day(text).isoformat() for name, text in (("since", since), ("until", until)) if text}
    with book_from(ctx, create=False) as book, book.read() as conn:
        charges, counts = list_charges(conn, **span), count_frames(conn)
        rows, everything = spent(charges, counts, by), whole(charges, counts)
        unpaid, shelf = list_unpaid(conn), shelf_worth(conn, today(day).isoformat())
        figures, series = lab_figures(conn), process_series(conn)
    written = _write_plots(plots, charges, series) if plots else []
    if json:
        print_json({
            "by": by, "rows": [_row(row) for row in rows], "whole": [_row(row) for row in everything],
            "unpaid": [vars(one) | {"estimate": one.estimate.as_dict()} for one in unpaid],
            "shelf": vars(shelf) | {"worth": [money.as_dict() for money in shelf.worth]},
            "labs": [vars(one) | {"good_pct": one.good_pct} for one in figures],
            "processes": [_series(one) for one in series], "plots": written,
        })  # fmt: skip
        return
    _show(by, rows, everything)
    for one in unpaid:
        say(f"Not paid yet: order {one.order}, {one.lab}, dropped off {one.dropped_on}, {one.estimate}")
    if shelf.rolls:
        priced = " and ".join(str(money) for money in shelf.worth) or "no price known"
        more = f", {shelf.without_price} without a price" if shelf.without_price else ""
        say(f"On the shelf: {shelf.rolls} rolls, {priced}{more}")
    if labs:
        _show_labs(figures, series)
    for path in written:
        say(str(path))


def _row(row: SpendingRow) -> dict[str, Any]:
    from dryside.stats.spending import as_data

    return as_data(row)


def _series(one: ProcessSeries) -> dict[str, Any]:
    charts = {name: vars(chart) for name, chart in one.charts.items()}
    return {"lab": one.lab, "stock": one.stock, "process": one.process, "developments": one.developments,
            "charts": charts, "remarks": one.remarks}  # fmt: skip


def _write_plots(folder: Path, charges: list[Any], series: list[ProcessSeries]) -> list[Path]:
    from dryside.book.files import put_file
    from dryside.stats.plots import control_charts, spending_by_month

    written = []
    for plot in (*spending_by_month(charges), *control_charts(series)):
        stem = "".join(letter if letter.isalnum() else "-" for letter in plot.name)
        written += [put_file(folder, f"{stem}.svg", plot.svg), put_file(folder, f"{stem}.png", plot.png)]
    return written


def _show(by: str, rows: list[SpendingRow], everything: list[SpendingRow]) -> None:
    columns = (by, "cost", "not paid yet", "rolls", "a roll", "a frame", "a kept frame")
    lines = [
        (row.key, row.total, row.unpaid or "", row.rolls, row.per_roll, row.per_frame, row.per_kept_frame)
        for row in (*rows, *everything)
    ]
    table(columns, lines, right=columns[1:])


def _show_labs(figures: list[LabFigures], series: list[ProcessSeries]) -> None:
    columns = ("lab", "orders", "days promised", "days taken", "late", "good frames")
    lines = [
        (
            one.lab,
            one.orders,
            f"{one.promised_days:g}" if one.promised_days is not None else "",
            f"{one.real_days:g}" if one.real_days is not None else "",
            f"{one.late} of {one.measured}",
            f"{one.good_pct:.0f} % of {one.rated}" if one.good_pct is not None else "none rated",
        )
        for one in figures
    ]
    table(columns, lines, right=columns[1:])
    _show_developing(series)
    for one in series:
        for remark in one.remarks:
            say(f"Look at this: {remark}.")


def _show_developing(series: list[ProcessSeries]) -> None:
    """Newest value of each quantity, with the limits of its usual scatter where there are any."""
    from dryside.stats.lab_figures import IN_WORDS, newest

    lines = []
    for one in series:
        for name, words in IN_WORDS.items():
            value, chart = newest(one, name), one.charts.get(name)
            if value is not None:
                limits = f"{chart.low:.2f} to {chart.high:.2f}" if chart else "too few yet"
                lines.append((one.lab, one.stock, words, f"{value:.2f}", limits))
    if lines:
        table(("lab", "stock", "developing", "newest", "limits"), lines, right=("newest",))
