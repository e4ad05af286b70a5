"""`dryside book backup`, `restore`, `pack`, `export`, `import`: the part of the book's command that keeps it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryside.book.backup import back_up, list_snapshots, restore
from dryside.book.check import size_to_check
from dryside.book.export import FORMS, export_book
from dryside.book.folder import default_folder
from dryside.book.notes.noted import Problem
from dryside.book.pack import pack, rolls_of_year, validate_bag
from dryside.book.rolls import find_roll
from dryside.book.sheet_import import apply_frames, import_rolls, plan_frames, read_frames, read_rolls
from dryside.book.snapshot_keeping import parse_keep, thin_out
from dryside.cli.frame_notes import assumptions_of_sheet, content_of, mapping_of
from dryside.cli.support import AsJson, Today, book_from, counted, print_json, progress, say, today
from dryside.film.refusal import Refusal

Mapping = Annotated[list[str] | None, typer.Option("--map", metavar="FIELD=COLUMN", help="Which column is which.")]
KeepGoing = Annotated[bool, typer.Option("--keep-going", help="Import what could be read.")]


def backup(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Best on another disk; added to each time.")],
    verify: Annotated[bool, typer.Option("--verify", help="Also read back what earlier runs copied.")] = False,
    keep: Annotated[
        str | None,
        typer.Option(metavar="7d,12m", help="Then keep the newest of so many days, weeks, months, years only."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Add a snapshot of the whole book to a backup; only content that is new is copied, and read back."""
    rule = parse_keep(keep) if keep is not None else None
    with book_from(ctx, create=False) as book, progress("Backing up", size_to_check(book)) as bar:
        report = back_up(book, folder, verify_all=verify, step=lambda size, _name: bar.step(size))
    thinned = thin_out(folder, rule) if rule is not None and not report.damaged else None
    if as_json:
        print_json({"backup": report, "thinned": thinned, "snapshots": list_snapshots(folder)})
    else:
        files = counted(report.files, "file")
        say(f"Snapshot {report.snapshot}: {files}, {_size(report.size)}; {_size(report.copied)} of it new.")
    if thinned is not None and not as_json:
        gone = f"{counted(len(thinned.dropped), 'snapshot')} taken out, {_size(thinned.freed)} freed"
        say(f"Kept: {counted(len(thinned.kept), 'snapshot')}; {gone}.")
    if report.damaged:
        raise Refusal(
            str(folder),
            f"{len(report.damaged)} contents of older snapshots are damaged, and the book no longer has them",
            "Look for them in another backup.",
        )


def restore_book(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The backup.")],
    snapshot: Annotated[str | None, typer.Option(help="Which (else the newest).")] = None,
    as_json: AsJson = False,
) -> None:
    """Bring the book back from a backup into the place that --book names, which must be empty."""
    given = ctx.obj or {}
    where = given.get("book") or str(default_folder())
    with progress("Restoring") as bar:
        done = restore(folder, where, files=given.get("files"), snapshot=snapshot, step=lambda _size, _name: bar.step())
    if as_json:
        print_json({"restored": where, "snapshot": done.name, "files": len(done.files)})
    else:
        say(f"{where}: restored from {done.name}, {len(done.files)} files.")


def pack_rolls(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The bag to make; not there yet.")],
    roll: Annotated[list[str] | None, typer.Option(help="A roll; may be repeated.")] = None,
    year: Annotated[int | None, typer.Option(help="All rolls of a year.")] = None,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """Pack rolls or a year as a bag (RFC 8493): originals, pictures, log, and a page to read it by."""
    if bool(roll) == (year is not None):
        raise Refusal("pack", "it is not said what", "Give either --roll or --year.")
    with book_from(ctx, create=False) as book, progress("Packing") as bar:
        with book.read() as conn:
            chosen = rolls_of_year(conn, year) if year is not None else [find_roll(conn, one) for one in roll or ()]
        title = f"Rolls of {year}" if year is not None else f"Roll {', '.join(one.code for one in chosen)}"
        report = pack(book, chosen, folder, title=title, on=today(now), step=lambda _size, _name: bar.step())
    if as_json:
        print_json({"bag": report})
        return
    packed = f"{counted(len(report.rolls), 'roll')}, {counted(report.files, 'file')}"
    say(f"{report.bag}: {packed}, {_size(report.size)}; valid.")
    for missing in report.missing:
        say(f"Missing: {missing}. Run 'dryside check --backup DIR' and pack again.")


def validate(
    folder: Annotated[Path, typer.Argument(metavar="BAG")],
    as_json: AsJson = False,
) -> None:
    """Check a bag against its manifests."""
    validate_bag(folder)
    if as_json:
        print_json({"bag": folder, "is_valid": True})
    else:
        say(f"{folder}: valid.")


def export(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER")],
    form: Annotated[list[str] | None, typer.Option(help="csv, json; else both.")] = None,
    as_json: AsJson = False,
) -> None:
    """Write every table as CSV and JSON, and the logs of rolls and frames with names in place of numbers."""
    with book_from(ctx, create=False) as book:
        made = export_book(book, folder, form or FORMS)
    if as_json:
        print_json({"files": made})
    else:
        say(f"{folder}: {len(made)} files.")


def import_sheet(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(metavar="rolls|frames")],
    file: Annotated[Path, typer.Argument(help="A CSV file of a notebook or spreadsheet.")],
    mapping: Mapping = None,
    keep_going: KeepGoing = False,
    replace: Annotated[bool, typer.Option("--replace", help="The file wins where the book says otherwise.")] = False,
    offset: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Of times without one: +02:00, Europe/Lisbon.")
    ] = None,
    dates: Annotated[str | None, typer.Option(help="How 3/4/2026 is read: day-first or month-first.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show it and import nothing.")] = False,
    as_json: AsJson = False,
) -> None:
    """Import rolls or frames from a CSV file; own numbers stay as second names. The same file again adds nothing."""
    if what not in ("rolls", "frames"):
        raise Refusal(what, "it is neither rolls nor frames", "Write: dryside book import rolls FILE.csv.")
    content, columns = content_of(file), mapping_of(mapping or ())
    if what == "rolls":
        _import_rolls(ctx, file, content, columns, keep_going, dry_run, as_json)
        return
    readings, left_over = read_frames(content, assumptions_of_sheet(offset, dates), columns)
    with book_from(ctx) as book, book.write() as conn:
        plans, problems = plan_frames(conn, readings, replace_old=replace)
        _stop_at(file, problems, keep_going or dry_run)
        count = 0 if dry_run else apply_frames(conn, plans)
    added = sum(len(plan.added) for _, plan in plans)
    if as_json:
        kept = [one for _, plan in plans for one in plan.kept]
        print_json({"frames": added, "imported": count, "kept": kept, "problems": problems, "left_out": left_over})
        return
    _say_left_over(left_over)
    say(f"New: {counted(added, 'frame')} on {counted(len(plans), 'roll')}; {count} imported.")


def _import_rolls(
    ctx: typer.Context,
    file: Path,
    content: bytes,
    columns: dict[str, str],
    keep_going: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    reading = read_rolls(content, columns)
    _stop_at(file, list(reading.problems), keep_going or dry_run)
    with book_from(ctx) as book, book.write() as conn:
        added, known = import_rolls(conn, reading)
        if dry_run:
            conn.rollback()
    if as_json:
        print_json({"rolls": added, "known": known, "problems": reading.problems, "left_out": reading.left_over})
        return
    _say_left_over(reading.left_over)
    say(f"{counted(len(added), 'roll')} {'would be ' if dry_run else ''}added, {known} were in the book already.")


def _stop_at(file: Path, problems: list[Problem], keep_going: bool) -> None:
    for problem in problems:
        say(str(problem), to_stderr=True)
    if problems and not keep_going:
        count = len(problems)
        found = f"{counted(count, 'line')} could not be read; nothing was imported"
        raise Refusal(file.name, found, "Mend the file, or add --keep-going to import the rest.")


def _say_left_over(names: tuple[str, ...] | list[str]) -> None:
    if names:
        say(f"Columns left out: {', '.join(names)}.")


def _size(count: float) -> str:
    for unit in ("bytes", "kB", "MB", "GB"):
        if count < 1000 or unit == "GB":
            return f"{count:.0f} {unit}" if unit == "bytes" else f"{count:.1f} {unit}"
        count /= 1000
    return ""
