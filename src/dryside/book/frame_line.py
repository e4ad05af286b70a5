"""A frame changed by typing its line anew: what the line says is what the book has afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.cameras import find_or_add_lens
from dryside.book.frame_import import next_label_of
from dryside.book.frames import FrameRow, checked, film_order, find_frame, list_frames, normal_label
from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions, NotedFrame
from dryside.book.notes.write_line import LINE_COLUMNS
from dryside.book.rolls import RollRow
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class LineChange:
    """What a line changes: the frame it is of (None: a new one), its label, and the columns that become different."""

    frame: FrameRow | None
    label: str
    changes: dict[str, Any]


def read_frame_line(conn: Connection, roll: RollRow, line: str, assume: Assumptions) -> LineChange:
    """Read one frame's line against the book. Lenses that the line names are added to the book.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    roll : RollRow
        The roll.
    line : str
        As in a note; without a number it is the roll's next frame.
    assume : Assumptions
        Zone and day for times that do not say them.

    Raises
    ------
    Refusal
        If the line cannot be read or is of several frames.
    """
    noted = _one_frame(conn, roll, line, assume)
    try:
        frame = find_frame(conn, roll.id, noted.label)
    except NotFound:
        return LineChange(None, noted.label, _columns(conn, noted))
    said = _columns(conn, noted)
    new = {name: said.get(name) for name in LINE_COLUMNS} | {"blank": noted.blank}
    new |= {name: said[name] for name in ("latitude", "longitude", "altitude_m", "printed") if name in said}
    if _same_moment(frame, new):
        new = {name: value for name, value in new.items() if name not in ("taken_at", "taken_to")}
    changes = {name: value for name, value in new.items() if value != getattr(frame, name)}
    return LineChange(frame, frame.label, checked(changes))


def position_for(conn: Connection, roll: RollRow, label: str) -> int:
    """The place along the film for a new frame: behind all there are.

    Raises
    ------
    Refusal
        If the label belongs between frames that are there.
    """
    known = list_frames(conn, roll.id)
    if known and film_order(normal_label(label)) < film_order(known[-1].label):
        found = f"it lies between others; the last frame is {known[-1].label}"
        raise Refusal(f"frame {label}", found, "Paste the whole note: then every frame gets its place.")
    return known[-1].position + 1 if known else 0


def _one_frame(conn: Connection, roll: RollRow, line: str, assume: Assumptions) -> NotedFrame:
    text = " ".join(line.split())
    if not text:
        raise Refusal("line", "it is empty", "Write it like 12 1/250 f8 harbour wall.")
    reading = read_note(text, assume)
    if not reading.frames and reading.problems and "no frame number" in reading.problems[0].found:
        reading = read_note(f"{next_label_of(conn, roll)} {text}", assume)
    if reading.problems:
        raise Refusal(text, reading.problems[0].found, reading.problems[0].remedy)
    if len(reading.frames) != 1:
        found = f"it is of {len(reading.frames)} frames" if reading.frames else "it says nothing of a frame"
        raise Refusal(text, found, "One line, one frame: 12 1/250 f8 harbour wall.")
    return reading.frames[0]


def _columns(conn: Connection, noted: NotedFrame) -> dict[str, Any]:
    columns = noted.columns()
    if lens := columns.pop("lens", None):
        columns["lens_id"] = find_or_add_lens(conn, lens).id
    return checked(columns)


def _same_moment(frame: FrameRow, new: dict[str, Any]) -> bool:
    """Whether the line gives the time that the book has, as far as a line says it: its zone is kept then."""
    if not frame.taken_at or not new.get("taken_at") or frame.taken_to != new.get("taken_to"):
        return False
    length = {"day": 10, "minute": 16}.get(frame.taken_to or "", 19)
    return bool(frame.taken_at[:length] == new["taken_at"][:length])
