"""`dryside inspect`: check scans and say plainly what is wrong with which, and where."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, progress, say, table
from dryside.cli.support import today as day_of
from dryside.film.refusal import Refusal

app = typer.Typer(add_completion=False)


@app.command()
def inspect(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(help="A roll's code or name, or a folder of scans.")],
    film_format: Annotated[str, typer.Option("--format", help="Format of a folder's frames.")] = "135",
    promised: Annotated[
        int | None, typer.Option(metavar="PX", help="Pixels on the long side the tier promised.")
    ] = None,
    slides: Annotated[bool, typer.Option("--slides", help="The folder's scans are of slides.")] = False,
    references: Annotated[Path | None, typer.Option(help="Phone shots, to tell turned and mirrored scans.")] = None,
    thresholds: Annotated[Path | None, typer.Option(help="Your own thresholds (TOML).")] = None,
    pdf: Annotated[Path | None, typer.Option(metavar="FILE.pdf", help="One page to show the lab.")] = None,
    as_json: AsJson = False,
    today: Today = None,
) -> None:
    """Check scans: pixels, detail, clipping, cast, grain, dust, light, rebate, doubles; a verdict and where."""
    from dryside.scans.inspecting import report_pdf
    from dryside.scans.inspection import read_thresholds

    folder = Path(what)
    with progress("Inspecting") as bar:
        if folder.is_dir():
            from dryside.film.formats import film_format as format_of
            from dryside.film.formats import parse_format
            from dryside.scans.inspecting import inspect_folder

            found = inspect_folder(
                folder, film=format_of(parse_format(film_format)), thresholds=read_thresholds(thresholds),
                promised_px=promised, is_negative=not slides, likenesses=_likenesses(folder, references),
                step=lambda name: bar.step(1, name),
            )  # fmt: skip
            paths = {scan.name: folder / scan.name for scan in found.scans}
        else:
            found, paths = _of_book(ctx, what, thresholds, promised, references, bar)
    if pdf is not None:
        from dryside.book.files import put_file

        page = report_pdf(found, paths, made_on=day_of(today).isoformat())
        put_file(pdf.resolve().parent, pdf.name, page)
    if as_json:
        print_json(found.as_dict() | {"pdf": pdf})
        return
    _tell(found, pdf)


def _of_book(ctx: typer.Context, roll: str, thresholds: Path | None, promised: int | None, references: Path | None,
             bar: Any) -> tuple[Any, dict[str, Path]]:  # fmt: skip
    from dryside.scans.inspecting import inspect_book_roll, scan_files
    from dryside.scans.inspection import read_thresholds

    with book_from(ctx, create=False) as book:
        own = book.root / "thresholds.toml"
        rules = read_thresholds(thresholds or (own if own.exists() else None))
        paths = scan_files(book, roll)
        likenesses = _likenesses_of(list(paths.items()), references)
        found = inspect_book_roll(
            book,
            roll,
            thresholds=rules,
            promised_px=promised,
            likenesses=likenesses,
            step=lambda name: bar.step(1, name),
        )
    return found, paths


def _likenesses(folder: Path, references: Path | None) -> Any:
    from dryside.scans.parcel import open_parcel

    entries = open_parcel([folder]).entries if references else ()
    return _likenesses_of([(entry.name, entry.source) for entry in entries], references)


def _likenesses_of(scans: list[tuple[str, Path]], references: Path | None) -> Any:
    if references is None:
        return {}
    from dryside.scans.matching import match_pictures
    from dryside.scans.phone import read_phone_folder

    found = match_pictures(scans, read_phone_folder(references).shots)
    seen = {pair.scan: [one for one in (pair.likeness, pair.second) if one] for pair in found.pairs}
    return {scan: likenesses for scan, likenesses in seen.items() if likenesses}


def _tell(found: Any, pdf: Path | None) -> None:
    rows = [
        (scan.name, scan.verdict, "; ".join(f.says for f in scan.findings if f.verdict != "good"))
        for scan in found.scans
        if scan.verdict != "good"
    ]
    good = len(found.scans) - len(rows)
    say(f"{found.title}: {good} of {len(found.scans)} scans have nothing to look at.")
    if rows:
        table(("scan", "verdict", "found"), rows)
    if found.reminder:
        say(found.reminder)
    for aside in found.asides:
        say(str(Refusal(aside["name"], aside["found"], aside["remedy"])))
    if pdf is not None:
        say(f"For the lab: {pdf}")
