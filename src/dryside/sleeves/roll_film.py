"""A roll's film for the cut plan: its frames, with positions from captures where there are any."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.frames import list_frames
from dryside.book.schema import captures
from dryside.film.frame_labels import next_label, normalise_label, parse_label
from dryside.film.refusal import Refusal
from dryside.sleeves.frames_on_film import FrameOnFilm, SeenFrame, frames_from_captures, nominal_frames

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.rolls import RollRow

MOST_FRAMES = 200
"""More than any roll of 135 half frames bears; a larger number is a slip of the key."""


@dataclass(frozen=True)
class RollFilm:
    """The film of a roll.

    Attributes
    ----------
    frames : tuple of FrameOnFilm
        In order along the film.
    measured : int
        How many of them captures show; the others lie by the camera's rhythm.
    """

    frames: tuple[FrameOnFilm, ...]
    measured: int


def film_of_roll(
    conn: Connection, roll: RollRow, *, count: int | None = None, format: str | Sequence[str] | None = None
) -> RollFilm:
    """The roll's frames as they lie along its film.

    Parameters
    ----------
    conn : Connection
        To read from.
    roll : RollRow
        The roll.
    count : int, optional
        Frames that are really there, where that is more than were logged; left out, the log decides, and where there is
        none the number on the box.
    format : str or sequence of str, optional
        Frame size where the roll's own does not say it, or one for each frame of a mixed roll.

    Raises
    ------
    Refusal
        If `count` is below the logged frames or beyond any roll, or the frame size is not known.
    """
    labels = roll_labels(conn, roll, count)
    seen = _captures_of(conn, roll.id, set(labels))
    shown = {frame.label for part in seen for frame in part}
    single = format if isinstance(format, str) else None
    if seen and (format is None or single is not None):
        return RollFilm(frames_from_captures(seen, labels, single or roll.format), len(shown))
    return RollFilm(nominal_frames(labels, format or roll.format), 0)


def roll_labels(conn: Connection, roll: RollRow, count: int | None = None) -> list[str]:
    """Labels of the roll's frames in order: the logged ones, continued up to `count`.

    Raises
    ------
    Refusal
        If `count` is below the logged frames, or beyond any roll.
    """
    logged = [frame.label for frame in list_frames(conn, roll.id)]
    wanted = count if count is not None else max(len(logged), 0 if logged else roll.exposures or 0)
    if wanted > MOST_FRAMES:
        raise Refusal(f"roll {roll.code}", f"{wanted} frames; no roll bears more than {MOST_FRAMES}", "Count again.")
    if wanted < len(logged):
        raise Refusal(
            f"roll {roll.code}",
            f"{len(logged)} frames are logged, {wanted} is fewer",
            "Take the others out of the log.",
        )
    return [*logged, *_labels_after(logged, wanted - len(logged))]


def _labels_after(labels: Sequence[str], count: int) -> list[str]:
    """The labels that follow: by whole frames, or by halves where the log has halves; from 1 where it is empty."""
    if not labels:
        return [str(number) for number in range(1, count + 1)]
    step = 1 if any(label.endswith("A") for label in labels) else 2
    label = parse_label(labels[-1])
    return [str(next_label(label, half_frames=step * more)) for more in range(1, count + 1)]


def _captures_of(conn: Connection, roll_id: int, labels: set[str]) -> list[list[SeenFrame]]:
    rows = conn.execute(captures.select().where(captures.c.roll_id == roll_id).order_by(captures.c.id))
    parts = (seen_in(row.geometry) for row in rows if row.geometry)
    return [part for part in ([frame for frame in part if frame.label in labels] for part in parts) if part]


def seen_in(geometry: Mapping[str, Any]) -> list[SeenFrame]:
    """Frames of one capture along its film, from what the engine found: corners in pixels, and pixels per mm.

    Frames without a label are left out. Millimetres run the way the labels rise.
    """
    scale = geometry.get("pixels_per_mm")
    found = [frame for frame in geometry.get("frames", ()) if frame.get("label") and frame.get("corners")]
    if not scale or not found:
        return []
    along = _direction(found)
    spans = sorted((_span(frame["corners"], along, scale), normalise_label(frame["label"])) for frame in found)
    if len(spans) > 1 and parse_label(spans[0][1]) > parse_label(spans[-1][1]):
        spans = sorted(((-end, -start), label) for (start, end), label in spans)
    return [SeenFrame(label, start, end) for (start, end), label in spans]


def _direction(found: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """Unit vector along the film: from the first centre to the farthest, else from left to right of one frame."""
    centres = [[sum(corner[axis] for corner in frame["corners"]) / 4 for axis in (0, 1)] for frame in found]
    first = centres[0]
    far = max(centres, key=lambda centre: (centre[0] - first[0]) ** 2 + (centre[1] - first[1]) ** 2)
    x, y = far[0] - first[0], far[1] - first[1]
    if not (x or y):
        left_top, right_top = found[0]["corners"][0], found[0]["corners"][1]
        x, y = right_top[0] - left_top[0], right_top[1] - left_top[1]
    length = (x * x + y * y) ** 0.5 or 1.0
    return x / length, y / length


def _span(corners: Sequence[Sequence[float]], along: tuple[float, float], scale: float) -> tuple[float, float]:
    """Where a frame begins and ends along the film: the mean of its two corners at either edge, in mm."""
    places = sorted(corner[0] * along[0] + corner[1] * along[1] for corner in corners)
    return (places[0] + places[1]) / 2 / scale, (places[2] + places[3]) / 2 / scale
