"""`dryside due`: what is expected back, what must be fetched, and by when."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, say, table, today

app = typer.Typer(add_completion=False)


@app.command()
def due(
    ctx: typer.Context,
    ics: Annotated[Path | None, typer.Option(metavar="FILE.ics", help="Also write a calendar file.")] = None,
    within: Annotated[int | None, typer.Option(min=0, metavar="DAYS", help="Only what is due so soon.")] = None,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """List what is due: scans, downloads, negatives, prints, waiting rolls, film, price lists, loans."""
    from dataclasses import asdict

    from dryside.labs.due import due_entries

    on = today(day)
    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            entries = due_entries(conn, on)
        if ics is not None:
            _write_calendar(book, entries, ics, instant(day))
    shown = [one for one in entries if within is None or (one.day - on).days <= within]
    if as_json:
        print_json({"day": on, "due": [asdict(one) for one in shown]})
        return
    if not shown:
        say("Nothing is due.")
        return
    rows = [
        (one.urgency, f"{one.day:%a} {one.day}", _left((one.day - on).days), one.title, one.detail) for one in shown
    ]
    table(("", "day", "in", "what", ""), rows)


def _left(days: int) -> str:
    if days == 0:
        return "today"
    return f"{days} d" if days > 0 else f"{-days} d ago"


def _write_calendar(book, entries, target: Path, moment: str) -> None:
    from dryside.book.files import put_file
    from dryside.labs.calendar_file import export_calendar

    with book.write() as conn:
        content = export_calendar(conn, entries, now=datetime.fromisoformat(moment))
        # Written inside the transaction: what the book remembers as sent is what the file says.
        put_file(target.absolute().parent, target.name, content)
