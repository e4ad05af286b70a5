"""`dryside contact`: the contact sheet of a roll."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, say
from dryside.cli.support import today as day_of

app = typer.Typer(add_completion=False)


class Page(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


@app.command()
def contact(
    ctx: typer.Context,
    roll: Annotated[str, typer.Argument(help="Code or name of the roll.")],
    page: Annotated[Page, typer.Option(help="Paper.")] = Page.A4,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.pdf", help="Where to write; the JPEG lies beside it.")
    ] = None,
    as_json: AsJson = False,
    today: Today = None,
) -> None:
    """Make a roll's contact sheet, PDF/A and JPEG: frames in strip rows as they lie in the sleeve."""
    from dryside.scans.roll_sheet import contact_sheet_of_roll

    with book_from(ctx, create=False) as book:
        pdf, jpeg = contact_sheet_of_roll(book, roll, page=page.value, out=out, made_on=day_of(today).isoformat())
    if as_json:
        print_json({"roll": roll, "pdf": pdf, "jpeg": jpeg})
        return
    say(f"{pdf}\n{jpeg}")
