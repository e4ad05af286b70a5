"""A roll's captures to positives in the book, with a person's frames and changes."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from dryside.book.files import original_path
from dryside.book.folder import Book
from dryside.book.instants import now
from dryside.book.rolls import RollRow, find_roll
from dryside.book.schema import captures
from dryside.film.refusal import Refusal
from dryside.web.looking import (
    again,
    keep_geometry,
    look_at_capture,
    looked_at,
    make_again,
    make_recipes,
    rows_of_roll,
    small_folder,
    without_film,
)
from dryside.web.words import count


def look_at_roll(book: Book, given: Mapping[str, Any], tell: Any) -> dict[str, Any]:
    """Find what is on a roll's captures that were not looked at yet, then balance the whole roll."""
    with book.read() as conn:
        roll = find_roll(conn, given["roll"])
    rows = rows_of_roll(book, roll.id)
    todo = [row for row in rows if not looked_at(row["geometry"])]
    tell("Looking for the film", done=0, total=len(todo) + 1)
    refused = []
    for row in todo:
        try:
            look_at_capture(book, row, roll.process, roll.format)
        except Refusal as refusal:
            said = f"{refusal.found}. {refusal.remedy}".strip()
            keep_geometry(book, row["id"], without_film(book, row, roll.process, roll.format) | {"refused": said})
            refused.append(row["name"])
        tell(f"Looked at {row['name']}")
    make_recipes(book, roll.id)
    tell("The roll is balanced")
    said = f"No film was found on {', '.join(refused)}." if refused else f"{count(len(todo), 'capture')} looked at."
    return {"message": said, "roll": roll.code, "to": f"/negatives?roll={roll.code}"}


def invert_in_book(book: Book, given: Mapping[str, Any], tell: Any) -> dict[str, Any]:
    """Write every frame's positive and file it; frames that are written already are kept."""
    from dryside.negatives.convert import convert_capture, job_description
    from dryside.negatives.inverted import RollInverted
    from dryside.negatives.journal import Journal, job_key
    from dryside.scans.own_captures import file_positives, positives_folder

    with book.read() as conn:
        roll = find_roll(conn, given["roll"])
    rows = [row for row in rows_of_roll(book, roll.id) if (row["geometry"] or {}).get("frames")]
    if not rows:
        raise Refusal(f"roll {roll.code}", "no frame was found on its captures", "Draw the frames by hand first.")
    out = positives_folder(book, roll)
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="dryside-") as folder:
        plan = _plan(book, roll, rows, Path(folder), out)
        tell("Making positives", done=0, total=sum(len(job.frames) for job in plan.jobs))
        with Journal(out) as journal:
            for job in plan.jobs:
                for frame in job.frames:
                    key = job_key(original_path_of(job.path), job_description(job, frame))
                    if not journal.has(key):
                        one = replace(job, frames=(frame,))
                        journal.add(key, convert_capture(one, threads=os.cpu_count() or 1)[0])
                    tell(f"{frame.stem.name}")
        settings = {row["id"]: row["settings"] for row in rows}
        filed = file_positives(book, roll, RollInverted(plan.results, ()), made_at=now())
    for row in rows:  # what was found and set stays with the captures: filing keeps only a part of it
        keep_geometry(book, row["id"], row["geometry"])
        with book.write() as conn:
            changes = {"settings": settings[row["id"]], "flat_sha256": row["flat_sha256"]}
            conn.execute(captures.update().where(captures.c.id == row["id"]).values(**changes))
    many = len(filed.frames) + len(filed.without_frame)
    lost = f" {len(filed.without_frame)} belong to no frame of the log." if filed.without_frame else ""
    return {"message": f"{_made(many)}{lost}", "roll": roll.code, "to": f"/rolls/{roll.code}"}


def _made(many: int) -> str:
    return "1 positive is made." if many == 1 else f"{many} positives are made."


def original_path_of(link: Path) -> Path:
    """The original behind a link, so that its journal's key stays the same in every run."""
    return link.resolve()


def _plan(book: Book, roll: RollRow, rows: list[dict[str, Any]], folder: Path, out: Path) -> Any:
    """The roll's plan with the frames as the page has them and each recipe as it was set."""
    from dryside.negatives.adjusting import adjusted
    from dryside.negatives.flat import read_flat
    from dryside.negatives.inverted import InvertOptions
    from dryside.negatives.measure import MeasureOptions, measure_capture
    from dryside.negatives.rendering import PRINT
    from dryside.negatives.roll_plan import plan_roll

    measured, changes = [], []
    for row in rows:
        path = folder / f"{row['id']}" / (Path(row["name"]).name or "capture")
        path.parent.mkdir()
        path.symlink_to(original_path(book, row["sha256"]))
        flat = read_flat(original_path(book, row["flat_sha256"])) if row["flat_sha256"] else None
        is_by_hand = bool(row["geometry"].get("by_hand"))
        told = MeasureOptions(roll.format, flat=flat, flat_name="the flat", whole=is_by_hand, process=roll.process)
        found = measure_capture(path, told)
        measured.append(_with_frames(book, row, found) if is_by_hand else found)
        changes += [change_of(row, number) for number in range(len(measured[-1].frames))]
    plan = plan_roll(measured, InvertOptions(roll.process, roll.format, PRINT), out)
    jobs, place = [], 0
    for job in plan.jobs:
        frames = []
        for frame in job.frames:
            frames.append(replace(frame, recipe=adjusted(frame.recipe, changes[place])))
            place += 1
        jobs.append(replace(job, frames=tuple(frames)))
    return replace(plan, jobs=tuple(jobs))


def change_of(row: Mapping[str, Any], number: int) -> Any:
    """What a person set for a frame of a capture: its own on top of the roll's."""
    from dryside.negatives.adjusting import Adjustment

    settings = row["settings"] or {}
    own = Adjustment.from_dict((settings.get("frames") or {}).get(str(number)) or {})
    return own.over(Adjustment.from_dict(settings.get("roll") or {}))


def _with_frames(book: Book, row: Mapping[str, Any], found: Any) -> Any:
    """A measured capture with the frames that a person drew, and the light and film base that were seen before."""
    import numpy as np

    from dryside.negatives.base import FilmBase
    from dryside.negatives.roll import FrameSamples
    from dryside.negatives.types import FrameFound
    from dryside.web.looking import kept_flat

    geometry = row["geometry"]
    given = geometry.get("base")
    base = FilmBase(tuple(given["density"]), given["spread"], given["samples"]) if given else None
    kept = small_folder(book, row["id"]) / "samples.npy"
    if not kept.is_file():
        make_again(again(book, row))
    samples = np.load(kept)
    frames = tuple(
        FrameFound(
            index=number,
            corners=np.asarray(frame["corners"], float),
            film_mm=(0.0, 0.0, 0.0, 0.0),
            confidence=1.0,
            label=frame["label"] or None,
            label_source="sequence" if frame["label"] else None,
        )
        for number, frame in enumerate(geometry["frames"])
    )
    return replace(
        found,
        frames=frames,
        flat=kept_flat(small_folder(book, row["id"])) or found.flat,
        base=base or found.base,
        samples=tuple(FrameSamples(picture, base) for picture in samples[: len(frames)]),
    )
