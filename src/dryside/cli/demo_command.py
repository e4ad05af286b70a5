"""`dryside demo`: an invented photographer's season, by the same commands that a person types."""

from __future__ import annotations

import contextlib
import io
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, print_json, progress
from dryside.film.refusal import Refusal

app = typer.Typer(add_completion=False)

FOLDER = Path("demo-book")


@app.command()
def demo(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where the book and all papers go.")] = FOLDER,
    quiet: Annotated[bool, typer.Option("--quiet", help="Only say where everything is.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take an invented photographer's season through the whole job; a second run adds nothing."""
    from dryside.demo.run import run_season
    from dryside.demo.season import steps

    book, desk = (out / "book").resolve(), (out / "desk").resolve()
    total = sum(1 for _ in steps(desk))
    with progress("the season", total) as bar:
        outcome = run_season(
            book,
            desk,
            run=_run,
            say=(lambda _: None) if quiet or as_json else typer.echo,
            step=lambda name: bar.step(1, name[:48]),
        )
    if as_json:
        print_json({"book": book, "desk": desk, "ran": outcome.ran, "skipped": outcome.skipped})
        return
    typer.echo(_where(outcome, book, desk))


def _run(words: list[str]) -> tuple[int, str]:
    """One command line in this process, its standard output caught."""
    from dryside.cli.main import app as dryside

    caught = io.StringIO()
    with contextlib.redirect_stdout(caught):
        try:
            status: Any = dryside(words, standalone_mode=False)
        except Refusal as refusal:
            sys.stderr.write(f"dryside: {refusal}\n")
            status = refusal.exit_status
        except SystemExit as end:
            status = end.code
    return int(status or 0), caught.getvalue()


def _where(outcome: Any, book: Path, desk: Path) -> str:
    lines = [
        "",
        f"{len(outcome.ran)} commands run, {outcome.skipped} steps were done before.",
        "",
        "Where everything is:",
    ]
    for what, place, pattern in (
        ("the book", book, ""),
        ("scans with date, camera and caption", book / "pictures", "*.jpg"),
        ("papers: order sheets, labels, contact sheets, inserts", book / "paper", "*.pdf"),
        ("her captures of negatives", desk / "captures", "*.tif"),
        ("positives made from them", book / "pictures" / "positives", "*.tif"),
    ):
        count = f"  ({sum(1 for _ in place.rglob(pattern))} files)" if pattern else ""
        lines.append(f"  {what:<54} {place}{count}")
    lines += ["", f"Look around:  dryside --book {book} roll list", "In a browser: make serve"]
    return "\n".join(lines)
