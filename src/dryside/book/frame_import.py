"""From what a note says to the book's frames: first a plan that can be shown, then its carrying out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.cameras import find_or_add_camera, find_or_add_lens, get_camera
from dryside.book.events import add_event
from dryside.book.frames import FrameRow, add_frames, checked, film_order, list_frames
from dryside.book.instants import now
from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions, NotedFrame, Reading
from dryside.book.notes.sheet import decode, looks_like_sheet, read_sheet
from dryside.book.rolls import RollRow, update_roll
from dryside.book.rows import update
from dryside.book.schema import frames as frames_table
from dryside.book.schema import strips
from dryside.film.frame_labels import label_at, parse_label
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

SAME_WITHIN = 1e-9


@dataclass(frozen=True)
class Difference:
    """A column that book and note give differently."""

    label: str
    column: str
    in_book: Any
    in_note: Any


@dataclass(frozen=True)
class ImportPlan:
    """What an import will do to a roll.

    Attributes
    ----------
    added : tuple of NotedFrame
        Frames the book has not.
    changed : dict
        Label: columns that are empty in the book and said in the note (or differ, when replacing).
    kept : tuple of Difference
        Where the book says something else and keeps it.
    unnoted : tuple of str
        Labels between noted ones of which the note says nothing; they are added, since the film has them.
    roll_changes : dict
        Columns of the roll that header lines fill.
    remarks : tuple of str
        What a person should look at.
    """

    added: tuple[NotedFrame, ...]
    changed: dict[str, dict[str, Any]]
    kept: tuple[Difference, ...]
    unnoted: tuple[str, ...]
    roll_changes: dict[str, Any]
    remarks: tuple[str, ...]

    @property
    def does_nothing(self) -> bool:
        """Whether the book has all of it already."""
        return not (self.added or self.changed or self.unnoted or self.roll_changes)


def read_log(name: str, content: bytes, assume: Assumptions, mapping: Mapping[str, str] | None = None) -> Reading:
    """Read a note or a sheet, whichever `content` is.

    Raises
    ------
    Refusal
        If it is no text, or a sheet without a column that means anything.
    """
    try:
        text = decode(content)
        return read_sheet(text, assume, mapping) if looks_like_sheet(name, text) else read_note(text, assume)
    except Refusal as refusal:
        if refusal.thing in ("file", "sheet"):
            raise Refusal(name, refusal.found, refusal.remedy) from refusal
        raise


def plan_import(conn: Connection, roll: RollRow, reading: Reading, *, replace: bool = False) -> ImportPlan:
    """Compare what was read with the book.

    Parameters
    ----------
    conn : Connection
        To read from.
    roll : RollRow
        The roll.
    reading : Reading
        What was read, places by time already added.
    replace : bool, optional
        Whether the note wins where both say something.
    """
    known = {frame.label: frame for frame in list_frames(conn, roll.id)}
    lenses = _lens_names(conn)
    added, changed, kept = [], {}, []
    for noted in reading.frames:
        row = known.get(noted.label)
        if row is None:
            added.append(noted)
            continue
        news, olds = _compare(row, noted, lenses, replace=replace)
        if news:
            changed[noted.label] = news
        kept += olds
    labels = {*known, *(frame.label for frame in added)}
    unnoted = tuple(label for label in _run(labels, roll.format) if label not in labels) if added else ()
    roll_changes, remarks = _roll_changes(conn, roll, reading)
    if roll.exposures and (over := len(labels) + len(unnoted) - roll.exposures) > 3:
        remarks += (f"{over} frames more than the roll's {roll.exposures} exposures",)
    return ImportPlan(tuple(added), changed, tuple(kept), unnoted, roll_changes, reading.remarks + remarks)


def apply_import(
    conn: Connection, roll: RollRow, plan: ImportPlan, *, who: str | None = None, at: str | None = None
) -> int:
    """Carry out a plan inside one `Book.write`, with one event; returns how many frames were added or changed.

    Raises
    ------
    Refusal
        If frames would have to go between those of a roll that is cut into strips already.
    """
    if plan.does_nothing:
        return 0
    order = _positions(conn, roll, plan)
    rows = [
        {"roll_id": roll.id, "position": order[noted.label], "label": noted.label, **_columns(conn, noted.columns())}
        for noted in plan.added
    ]
    rows += [{"roll_id": roll.id, "position": order[label], "label": label} for label in plan.unnoted]
    add_frames(conn, rows)
    known = {frame.label: frame.id for frame in list_frames(conn, roll.id)}
    for label, news in plan.changed.items():
        update(conn, frames_table, known[label], checked(_columns(conn, news)))
    roll_changes = dict(plan.roll_changes)
    if camera := roll_changes.pop("camera", None):
        roll_changes["camera_id"] = find_or_add_camera(conn, camera).id
    if roll_changes:
        update_roll(conn, roll.id, **roll_changes)
    detail = {"added": len(plan.added), "changed": len(plan.changed), "unnoted": list(plan.unnoted)}
    add_event(conn, kind="frames noted", at=at or now(), roll_id=roll.id, who=who, detail=detail)
    return len(plan.added) + len(plan.changed)


def _compare(
    row: FrameRow, noted: NotedFrame, lenses: dict[int, str], *, replace: bool
) -> tuple[dict[str, Any], list[Difference]]:
    """New values for a frame, and where the book keeps its own."""
    news: dict[str, Any] = {}
    olds = []
    for column, value in noted.columns().items():
        if column == "lens":
            known: Any = lenses.get(row.lens_id) if row.lens_id else None
        else:
            known = getattr(row, column)
        if known in (None, "", False) and value not in (None, "", False):
            news[column] = value
        elif known is not None and not _same(known, value):
            if replace:
                news[column] = value
            elif column != "taken_to" and not (column == "blank" and not value):
                olds.append(Difference(noted.label, column, known, value))
    if "taken_at" not in news:
        news.pop("taken_to", None)
    return news, olds


def _same(known: Any, value: Any) -> bool:
    if isinstance(known, int | float) and isinstance(value, int | float):
        return abs(known - value) <= SAME_WITHIN * max(1.0, abs(known))
    if isinstance(known, str) and isinstance(value, str):
        return known.strip().casefold() == value.strip().casefold()
    return bool(known == value)


def _columns(conn: Connection, values: dict[str, Any]) -> dict[str, Any]:
    """Columns of the frames table: the lens by its row, added if new."""
    columns = dict(values)
    if lens := columns.pop("lens", None):
        columns["lens_id"] = find_or_add_lens(conn, lens).id
    return columns


def _lens_names(conn: Connection) -> dict[int, str]:
    from dryside.book.schema import lenses

    return {row.id: row.name for row in conn.execute(lenses.select())}


def _run(labels: set[str], film_format: str) -> list[str]:
    """Every label between the first and the last, in the step that the labels have."""
    places = sorted(half for label in labels if (half := film_order(label)[0]) < 10_000)
    if not places:
        return []
    step = 1 if film_format == "half" and any(place % 2 for place in places) else 2
    # Full frames may all be called 1A, 2A ... : the step is what counts, from the first on.
    whole = range(places[0], places[-1] + 1, step)
    return [str(label_at(place)) for place in whole] if set(places) <= set(whole) else []


def _positions(conn: Connection, roll: RollRow, plan: ImportPlan) -> dict[str, int]:
    """Position of every label along the film; frames that are in the book are moved up where others come between."""
    known = {frame.label: frame for frame in list_frames(conn, roll.id)}
    labels = [*known, *(noted.label for noted in plan.added), *plan.unnoted]
    order = {label: place for place, label in enumerate(sorted(set(labels), key=film_order))}
    moving = [frame for frame in known.values() if frame.position != order[frame.label]]
    if moving and conn.execute(strips.select().where(strips.c.roll_id == roll.id)).first():
        raise Refusal(
            f"roll {roll.code}",
            "it is cut into strips already, and these frames would come between others",
            "Take the strips apart first, or change the labels in the note.",
        )
    for frame in moving:  # first out of the way, since two frames never share a position
        update(conn, frames_table, frame.id, {"position": -1 - order[frame.label]})
    for frame in moving:
        update(conn, frames_table, frame.id, {"position": order[frame.label]})
    return order


def _roll_changes(conn: Connection, roll: RollRow, reading: Reading) -> tuple[dict[str, Any], tuple[str, ...]]:
    changes: dict[str, Any] = {}
    remarks = []
    said = reading.roll
    if said.camera:
        if roll.camera_id is None:
            changes["camera"] = said.camera
        elif (own := get_camera(conn, roll.camera_id).name).casefold() != said.camera.casefold():
            remarks.append(f"the note says camera {said.camera}, the book {own}; the book is kept")
    for column, value in (("title", said.title), ("exposure_index", said.exposure_index)):
        known = getattr(roll, column)
        if value is not None and known is None:
            changes[column] = value
        elif value is not None and known != value:
            remarks.append(f"the note says {column.replace('_', ' ')} {value}, the book {known}; the book is kept")
    return changes, tuple(remarks)


def last_label(conn: Connection, roll: RollRow) -> str | None:
    """The label of the roll's last frame, for logging the next."""
    known = [frame.label for frame in list_frames(conn, roll.id)]
    return known[-1] if known else None


def next_label_of(conn: Connection, roll: RollRow) -> str:
    """The label after the roll's last frame; 1 for the first."""
    last = last_label(conn, roll)
    if last is None:
        return "1"
    step = 1 if roll.format == "half" and last.endswith("A") else 2
    return str(label_at(parse_label(last).half_index + step))
