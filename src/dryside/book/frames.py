"""Frames: what was noted of each picture on a roll."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.instants import utc_seconds
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import frames
from dryside.film.frame_labels import normalise_label, parse_label
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class FrameRow:
    """A frame; `position` counts along the roll from 0, `label` is what stands on the film's edge."""

    id: int
    roll_id: int
    position: int
    label: str
    client_id: str | None
    taken_at: str | None
    taken_utc: float | None
    taken_to: str | None
    shutter: str | None
    shutter_s: float | None
    aperture: float | None
    focal_mm: float | None
    lens_id: int | None
    exposure_index: int | None
    exposure_bias: float | None
    flash: bool | None
    caption: str | None
    keywords: str | None
    person: str | None
    latitude: float | None
    longitude: float | None
    altitude_m: float | None
    place: str | None
    rating: int | None
    blank: bool
    notes: str | None
    picture_sha256: str | None
    printed: bool


def add_frame(conn: Connection, roll_id: int, *, position: int, label: str, **columns: Any) -> FrameRow:
    """Add a frame; `taken_utc` is worked out from `taken_at`.

    Raises
    ------
    Refusal
        If the roll has a frame of that label or position, or a column is out of its range.
    """
    for known in list_frames(conn, roll_id):
        if known.label == label or known.position == position:
            raise Refusal(f"frame {label}", f"the roll already has frame {known.label} there", "Change that one.")
    values = {"roll_id": roll_id, "position": position, "label": label, **checked(columns)}
    return get_frame(conn, insert(conn, frames, values))


def add_frames(conn: Connection, rows: Iterable[Mapping[str, Any]]) -> int:
    """Add many frames at once, of any rolls; each mapping has roll_id, position, label and more. Returns how many."""
    values = [_all_columns(checked(dict(row))) for row in rows]
    if values:
        conn.execute(frames.insert(), values)
    return len(values)


def get_frame(conn: Connection, frame_id: int) -> FrameRow:
    """A frame by its row id.

    Raises
    ------
    NotFound
        If there is none.
    """
    return must_be(fetch_one(conn, FrameRow, frames, frames.c.id == frame_id), f"frame with row id {frame_id}")


def find_frame(conn: Connection, roll_id: int, label: str) -> FrameRow:
    """A roll's frame by its label (7 and 07 are one).

    Raises
    ------
    NotFound
        If the roll has none of that label; those it has are named.
    """
    wanted = normal_label(label)
    known = list_frames(conn, roll_id)
    row = next((frame for frame in known if frame.label == wanted), None)
    labels = ", ".join(frame.label for frame in known) or "none yet"
    return must_be(row, f"frame {label}", f"The roll's frames: {labels}.")


def list_frames(conn: Connection, roll_id: int) -> list[FrameRow]:
    """A roll's frames in their order along the film."""
    return fetch(conn, FrameRow, frames, frames.c.roll_id == roll_id, order=(frames.c.position,))


def update_frame(conn: Connection, frame_id: int, **changes: Any) -> FrameRow:
    """Change a frame's columns; `taken_utc` follows `taken_at`.

    Raises
    ------
    Refusal
        If a column is out of its range.
    """
    update(conn, frames, frame_id, checked(changes))
    return get_frame(conn, frame_id)


def normal_label(text: str) -> str:
    """A label as the film's edge has it (07 is 7, 7a is 7A); one that no edge has stays as typed."""
    try:
        return normalise_label(text)
    except Refusal:
        return text.strip()


def film_order(label: str) -> tuple[int, str]:
    """For sorting labels along the film; those that no edge has come last, by their letters."""
    try:
        return parse_label(label).half_index, ""
    except Refusal:
        return 10_000, label


def checked(columns: dict[str, Any]) -> dict[str, Any]:
    """`columns` with `taken_utc` filled in from `taken_at`, and ranges looked at.

    Raises
    ------
    Refusal
        If a coordinate, rating or time is out of its range.
    """
    if "taken_at" in columns:
        taken = columns["taken_at"]
        columns = {**columns, "taken_utc": None if taken is None else utc_seconds(taken)}
    for name, (low, high) in _RANGES.items():
        value = columns.get(name)
        if value is not None and not low <= value <= high:
            raise Refusal(f"{name} {value}", f"it must lie from {low:g} to {high:g}", "Look at the note again.")
    return columns


_RANGES = {
    "latitude": (-90, 90),
    "longitude": (-180, 180),
    "altitude_m": (-500, 10_000),
    "rating": (0, 5),
    "aperture": (0.5, 1024),
    "shutter_s": (1e-6, 1e7),
    "focal_mm": (1, 10_000),
    "exposure_bias": (-20, 20),
}


def _all_columns(values: dict[str, Any]) -> dict[str, Any]:
    # One statement for many rows needs the same columns in each.
    return {column.name: values.get(column.name) for column in frames.columns if column.name != "id"} | {
        name: bool(values.get(name)) for name in ("blank", "printed")
    }
