"""Print files and sheets of the book's frames: the long part of the Prints page."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from dryside.book.files import atomic_file
from dryside.book.folder import Book
from dryside.book.frame_pictures import picture_of_frame
from dryside.book.frames import get_frame
from dryside.book.rolls import get_roll
from dryside.film.refusal import NotFound
from dryside.web.words import count


def make_prints(book: Book, given: Mapping[str, Any], tell: Any) -> dict[str, Any]:
    """Files for a lab in one zip, or sheets for one's own printer as PDF; the book notes what was printed."""
    from dryside.prints.colour import profile_of
    from dryside.prints.print_files import FileWish, make_files
    from dryside.prints.recording import record_prints

    on = date.fromisoformat(given["on"])
    jobs, frames = _jobs(book, given)
    wish = FileWish(float(given.get("ppi", 300)), profile_of(given.get("profile", "srgb")), "relative", 1.0, "jpeg")
    tell("Rendering", done=0, total=len(jobs))
    if given["as"] == "sheet":
        from dryside.prints.sheets import make_sheets, paper_stand

        made = make_sheets(jobs, paper_stand(given.get("paper") or "A4", margin_mm=5, gap_mm=4), wish, made_on=on)
        name = f"print sheets/{on}-{given['number']}.pdf"
        _write(book.paper / name, made.pdf)
        many, sheets = len(made.layout.placed), made.layout.sheets
        said = f"{count(many, 'print')} on {count(sheets, 'sheet')}. Print them at 100 %."
        return {"message": said, "to": f"/papers/{name}"}
    folder = book.paper / "print files" / f"{on}-{given['number']}"
    files = make_files(jobs, wish, folder, step=lambda: tell("Rendering"))
    with book.write() as conn:
        record_prints(conn, jobs, files, frames, made_on=on)
    target = folder.with_suffix(".zip")
    with atomic_file(target) as part, zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as packed:
        for path in sorted(folder.iterdir()):
            packed.write(path, path.name)
    said = "1 print file is made." if len(files) == 1 else f"{len(files)} print files are made."
    return {"message": said, "to": f"/papers/{target.relative_to(book.paper)}"}


def _jobs(book: Book, given: Mapping[str, Any]) -> tuple[list[Any], dict[Path, int]]:
    from dryside.film.printsizes import print_size
    from dryside.prints.looking import look_at, plans_for
    from dryside.prints.print_files import PrintJob

    jobs, frames = [], {}
    for frame_id in given["frames"]:
        with book.read() as conn:
            frame = get_frame(conn, frame_id)
            roll = get_roll(conn, frame.roll_id)
            picture = picture_of_frame(conn, book, frame_id)
        if picture is None or not picture.is_there:
            raise NotFound(f"frame {frame.label} of roll {roll.code}", "it has no scan and no positive yet")
        looked = look_at(picture.path)
        frames[picture.path] = frame_id
        sizes = [(print_size(name), int(copies)) for name, copies in given["sizes"]]
        plans = plans_for(looked, [size for size, _ in sizes], way=given.get("way", "fill"),
                          border_mm=float(given.get("border_mm", 0)))  # fmt: skip
        jobs += [
            PrintJob(
                picture.path, plan, copies, f"{roll.code}-{frame.label}", roll.code, frame.label, frame.caption or ""
            )
            for plan, (_, copies) in zip(plans, sizes, strict=True)
        ]
    return jobs, frames


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with atomic_file(path) as part:
        part.write(content)
