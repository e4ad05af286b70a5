"""`dryside frames`: log frames from notes typed in the field, sheets and tracks."""

from __future__ import annotations

import io
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.book.files import record_file, store_original
from dryside.book.frame_import import ImportPlan, apply_import, next_label_of, plan_import, read_log
from dryside.book.frames import FrameRow, find_frame, list_frames, update_frame
from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions, NotedFrame, Reading
from dryside.book.notes.track import GAP_LIMIT_S, add_places, read_track
from dryside.book.rolls import RollRow, find_roll
from dryside.cli.frame_notes import assumptions_of_sheet, content_of, mapping_of
from dryside.cli.support import AsJson, Today, book_from, counted, instant, names_by_id, print_json, say, table, today
from dryside.film.exposure import format_f_number
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.book.folder import Book

app = typer.Typer(
    add_completion=False, no_args_is_help=True, help="Log frames: from notes typed in the field, CSV, GPX."
)

Roll = Annotated[str, typer.Argument(metavar="ROLL", help="Its code, or a name of your own for it.")]


@app.command("import")
def import_log(
    ctx: typer.Context,
    roll: Roll,
    file: Annotated[Path, typer.Argument(help="A text note or a CSV file; - reads standard input.")],
    gpx: Annotated[
        list[Path] | None, typer.Option(help="A GPS track that gives places by time; may be repeated.")
    ] = None,
    gpx_offset: Annotated[float, typer.Option(metavar="SECONDS", help="Your watch ran behind by this much.")] = 0.0,
    gpx_gap: Annotated[
        float, typer.Option(metavar="SECONDS", help="Longest gap in the track to bridge.")
    ] = GAP_LIMIT_S,
    offset: Annotated[
        str | None, typer.Option(metavar="ZONE", help="+02:00 or Europe/Lisbon (else this machine's).")
    ] = None,
    day: Annotated[str | None, typer.Option(metavar="DAY", help="For times without a date.")] = None,
    dates: Annotated[str | None, typer.Option(help="How 3/4/2026 is read: day-first or month-first.")] = None,
    mapping: Annotated[list[str] | None, typer.Option("--map", metavar="FIELD=COLUMN", help="A CSV's column.")] = None,
    keep_going: Annotated[bool, typer.Option("--keep-going", help="Import what could be read.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="The file wins where the book says otherwise.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show it and import nothing.")] = False,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """Read a note or a sheet of a roll's frames; what cannot be read is said line by line.

    One line a frame, fields in any order: '12 1/250 f8 50mm harbour wall, sun behind'. '13-15 same but f4' repeats.
    """
    content = content_of(file)
    tracks = [(path, content_of(path)) for path in gpx or ()]
    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            row = find_roll(conn, roll)
            assume = _assume(row, offset, day, dates, today(now))
            reading = read_log(file.name, content, assume, mapping_of(mapping or ()))
            reading, off_track = _placed(reading, tracks, gpx_offset, gpx_gap)
            plan = plan_import(conn, row, reading, replace=replace)
        _show_reading(reading, plan, off_track, to_stderr=as_json)
        stop = bool(reading.problems) and not keep_going
        asks = stop and not dry_run and not as_json and bool(reading.frames) and sys.stdin.isatty()
        if asks or (dry_run and not as_json):
            for frame in reading.frames:
                say(f"  {frame.label:>4}  {in_one_line(frame)}")
        if asks:
            stop = not typer.confirm(f"Import {counted(len(reading.frames), 'frame')} that could be read?")
        count = 0
        if not stop and not dry_run:
            count = _keep(book, row, reading, [(file, content), *tracks], replace=replace, at=instant(now))
    if as_json:
        print_json(_report(row, reading, plan, off_track, count))
    if stop and not dry_run:
        raise _refusal(file, reading)
    if not as_json:
        say(f"{row.code}: {_outcome(plan, count, dry_run)}")


@app.command()
def add(
    ctx: typer.Context,
    roll: Roll,
    line: Annotated[list[str], typer.Argument(help="One frame, as in a note; without a number it is the next.")],
    offset: Annotated[str | None, typer.Option(metavar="ZONE")] = None,
    day: Annotated[str | None, typer.Option(metavar="DAY")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="The line wins where the book says otherwise.")] = False,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """Log one frame (or a range): dryside frames add 26-014-D 12 1/250 f8 harbour wall."""
    text = " ".join(line)
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = find_roll(conn, roll)
        assume = _assume(row, offset, day, None, today(now))
        reading = read_note(text, assume)
        if not reading.frames and reading.problems and "no frame number" in reading.problems[0].found:
            reading = read_note(f"{next_label_of(conn, row)} {text}", assume)
        if reading.problems or not reading.frames:
            found = reading.problems[0] if reading.problems else None
            raise Refusal(text, found.found if found else "it says nothing", found.remedy if found else "")
        plan = plan_import(conn, row, reading, replace=replace)
        apply_import(conn, row, plan, at=instant(now))
        logged = [find_frame(conn, row.id, frame.label) for frame in reading.frames]
    if as_json:
        print_json({"frames": logged, "kept": plan.kept})
        return
    for frame in logged:
        say(f"{row.code} {frame.label}: {in_one_line(frame)}")
    _say_kept(plan, to_stderr=False)


@app.command("list")
def list_all(ctx: typer.Context, roll: Roll, as_json: AsJson = False) -> None:
    """A roll's frames along the film."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        row = find_roll(conn, roll)
        frames = list_frames(conn, row.id)
        lenses = names_by_id(conn)["lenses"]
    if as_json:
        print_json({"roll": row.code, "frames": frames})
        return
    lines = [
        (frame.label, frame.shutter, _aperture(frame), f"{frame.focal_mm:g}" if frame.focal_mm else "",
         lenses.get(frame.lens_id), _when(frame), frame.place, "blank" if frame.blank else frame.caption,
         "*" * (frame.rating or 0))
        for frame in frames
    ]  # fmt: skip
    table(("frame", "time", "f", "mm", "lens", "taken", "place", "caption", "rating"), lines, right=("frame", "mm"))


@app.command("set")
def set_columns(
    ctx: typer.Context,
    roll: Roll,
    label: Annotated[str, typer.Argument(metavar="FRAME")],
    caption: Annotated[str | None, typer.Option()] = None,
    keywords: Annotated[str | None, typer.Option()] = None,
    person: Annotated[str | None, typer.Option()] = None,
    place: Annotated[str | None, typer.Option()] = None,
    rating: Annotated[int | None, typer.Option(min=0, max=5)] = None,
    notes: Annotated[str | None, typer.Option()] = None,
    blank: Annotated[bool | None, typer.Option("--blank/--not-blank")] = None,
    printed: Annotated[bool | None, typer.Option("--printed/--not-printed")] = None,
    as_json: AsJson = False,
) -> None:
    """Change what the book says of a frame."""
    said = {
        "caption": caption, "keywords": keywords, "person": person, "place": place, "rating": rating, "notes": notes,
        "blank": blank, "printed": printed,
    }  # fmt: skip
    changes: dict[str, Any] = {column: value for column, value in said.items() if value is not None}
    if not changes:
        raise Refusal(f"frame {label}", "nothing to change is said", "Give an option, like --rating 3.")
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = find_roll(conn, roll)
        frame = update_frame(conn, find_frame(conn, row.id, label).id, **changes)
    if as_json:
        print_json({"frame": frame})
    else:
        say(f"{row.code} {frame.label}: {in_one_line(frame)}")


def in_one_line(frame: FrameRow | NotedFrame) -> str:
    """A frame's note in one line."""
    if frame.blank:
        return "blank"
    aperture = f"f/{_aperture(frame)}" if frame.aperture else None
    focal = f"{frame.focal_mm:g} mm" if frame.focal_mm else None
    stars = "*" * (frame.rating or 0)
    return ", ".join(str(part) for part in (frame.shutter, aperture, focal, frame.caption, frame.place, stars) if part)


def _assume(row: RollRow, offset: str | None, day: str | None, dates: str | None, now: date) -> Assumptions:
    began = row.loaded_on or row.exposed_on
    year = int(began[:4]) if began else now.year
    return assumptions_of_sheet(offset, dates, year=year, day=day, is_half_frame=row.format == "half")


def _placed(
    reading: Reading, tracks: list[tuple[Path, bytes]], offset_s: float, gap_s: float
) -> tuple[Reading, tuple[str, ...]]:
    off: tuple[str, ...] = ()
    if tracks:
        points = sorted({point for _, content in tracks for point in read_track(content)}, key=lambda one: one.at_utc)
        frames, off = add_places(reading.frames, tuple(points), offset_s=offset_s, gap_limit_s=gap_s)
        reading = Reading(frames, reading.problems, reading.roll, reading.remarks)
    return reading, off


def _keep(
    book: Book, row: RollRow, reading: Reading, files: list[tuple[Path, bytes]], *, replace: bool, at: str
) -> int:
    """The files are kept first, then all frames are written in one transaction."""
    kept = [(path, store_original(book, io.BytesIO(content), name=path.name)) for path, content in files]
    with book.write() as conn:
        for place, (path, file) in enumerate(kept):
            record_file(conn, file, kind="track" if place else "note", name=path.name, detail={"roll": row.code})
        # Planned anew under the write lock: the book may have changed while a person read the plan.
        return apply_import(conn, row, plan_import(conn, row, reading, replace=replace), at=at)


def _show_reading(reading: Reading, plan: ImportPlan, off_track: tuple[str, ...], *, to_stderr: bool) -> None:
    for problem in reading.problems:
        say(str(problem), to_stderr=True)
    for remark in plan.remarks:
        say(f"Note: {remark}.", to_stderr=to_stderr)
    if plan.unnoted:
        say(
            f"Nothing is noted of {', '.join(plan.unnoted)}; they are on the film, so they are added.",
            to_stderr=to_stderr,
        )
    if off_track:
        say(f"Not on the track at their time: {', '.join(off_track)}.", to_stderr=to_stderr)
    _say_kept(plan, to_stderr=to_stderr)


def _say_kept(plan: ImportPlan, *, to_stderr: bool) -> None:
    for one in plan.kept:
        column = one.column.replace("_", " ")
        say(
            f"Frame {one.label}: the book has {column} {one.in_book!r} and keeps it; the note says {one.in_note!r}"
            " (--replace takes it).",
            to_stderr=to_stderr,
        )


def _report(row: RollRow, reading: Reading, plan: ImportPlan, off: tuple[str, ...], count: int) -> dict[str, Any]:
    return {
        "roll": row.code,
        "frames": [{"label": frame.label, "line": frame.line, **frame.columns()} for frame in reading.frames],
        "added": [frame.label for frame in plan.added],
        "changed": plan.changed,
        "kept": plan.kept,
        "unnoted": plan.unnoted,
        "not_on_track": off,
        "problems": reading.problems,
        "remarks": plan.remarks,
        "imported": count,
    }


def _refusal(file: Path, reading: Reading) -> Refusal:
    lines = len(reading.problems)
    found = f"{counted(lines, 'line')} could not be read; nothing was imported"
    return Refusal(file.name, found, "Mend the file, or add --keep-going to import the rest.")


def _outcome(plan: ImportPlan, count: int, dry_run: bool) -> str:
    if dry_run:
        return f"{counted(len(plan.added), 'frame')} would be added, {len(plan.changed)} changed; nothing was imported."
    if count == 0:
        return "the book has all of it already."
    return f"{counted(len(plan.added), 'frame')} added, {len(plan.changed)} changed."


def _aperture(frame: FrameRow | NotedFrame) -> str:
    return format_f_number(frame.aperture) if frame.aperture else ""


def _when(frame: FrameRow) -> str:
    if not frame.taken_at:
        return ""
    return frame.taken_at[:10] if frame.taken_to == "day" else frame.taken_at[:16].replace("T", " ")
