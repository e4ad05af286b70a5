"""`dryside check`: every file of the book against its checksum."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryside.book.check import CheckReport, check_book, size_to_check
from dryside.cli.support import AsJson, book_from, counted, print_json, progress, say

app = typer.Typer(add_completion=False)


@app.command()
def check(
    ctx: typer.Context,
    backup: Annotated[Path | None, typer.Option(metavar="DIR", help="Mend from this backup.")] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Do not go on with a check that was cut short.")] = False,
    as_json: AsJson = False,
) -> None:
    """Check every file against its checksum, sidecars against the book, and name what is lost or left over.

    Exit status 1 if something is lost or damaged and was not mended.
    """
    with book_from(ctx, create=False) as book, progress("Checking", size_to_check(book)) as bar:
        report = check_book(book, backup=backup, anew=anew, step=lambda size, _name: bar.step(size))
    if as_json:
        print_json({"check": report, "is_whole": report.is_whole})
    else:
        _say(report)
    if not report.is_whole:
        raise typer.Exit(1)


def _say(report: CheckReport) -> None:
    for one in report.findings:
        say(f"{one.kind}: {one.path}: {one.found}. {one.remedy}".rstrip())
    lost = sum(not one.mended and one.kind in ("changed", "missing", "sidecar", "database") for one in report.findings)
    mended = sum(one.mended and one.kind in ("changed", "missing") for one in report.findings)
    went_on = f" ({report.resumed} of them by a check that was cut short)" if report.resumed else ""
    say(f"{counted(report.files, 'file')} checked{went_on}, {lost} to mend, {mended} mended.")
