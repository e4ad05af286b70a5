"""Where the frames of a roll lie along its film: by the rhythm of the camera, or as captures show them."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from dryside.film.formats import FilmFormat, film_format
from dryside.film.refusal import Refusal

# A frame this much narrower than its format, at an end of the film, was cut or fogged into.
_PARTIAL_BELOW = 0.9


@dataclass(frozen=True)
class FrameOnFilm:
    """One picture on the film.

    Attributes
    ----------
    label : str
        As on the film's edge or in the notes: `0`, `12`, `12A`.
    start_mm, end_mm : float
        Its two edges along the film. Zero is anywhere; only differences count.
    partial : bool
        Whether part of the picture is missing, as at the start of a roll or at a lab's splice.
    """

    label: str
    start_mm: float
    end_mm: float
    partial: bool = False


@dataclass(frozen=True)
class SeenFrame:
    """A frame as one capture shows it, in that capture's own millimetres along the film."""

    label: str
    start_mm: float
    end_mm: float


def nominal_frames(labels: Sequence[str], format: str | Sequence[str]) -> tuple[FrameOnFilm, ...]:
    """Frames at the rhythm of the format: 38.0 mm for 135, 19.0 mm for half frame.

    Parameters
    ----------
    labels : sequence of str
        In order along the film.
    format : str or sequence of str
        Key of `dryside.film.formats.FORMATS`; one for each frame where a roll carries more than one size.

    Raises
    ------
    Refusal
        If a format is not known, or there is not one for each frame.
    """
    formats = [format] * len(labels) if isinstance(format, str) else list(format)
    if len(formats) != len(labels):
        raise Refusal("formats", f"{len(formats)} for {len(labels)} frames", "Give one for each frame, or one for all.")
    frames, start = [], 0.0
    for label, key in zip(labels, formats, strict=True):
        size = film_format(key)
        frames.append(FrameOnFilm(label, start, start + size.along_mm))
        start += size.usual_pitch_mm
    return tuple(frames)


def frames_from_captures(
    captures: Sequence[Sequence[SeenFrame]], labels: Sequence[str], format: str
) -> tuple[FrameOnFilm, ...]:
    """Positions along the whole film from captures that each show a part of it.

    Inside one capture distances are as measured. A capture is joined to what is known by the frames they share; where
    none is shared, by the camera's own rhythm (the median advance of this roll), and frames that no capture shows are
    set in by the same rhythm.

    Parameters
    ----------
    captures : sequence of sequences of SeenFrame
        The frames of each capture, in order along the film. Labels must be the roll's.
    labels : sequence of str
        All labels of the roll, in order.
    format : str
        Key of `dryside.film.formats.FORMATS`, for frames that no capture shows.

    Returns
    -------
    tuple of FrameOnFilm
        One for each label, in order.

    Raises
    ------
    Refusal
        If a capture shows a label that the roll does not have.
    """
    order = {label: index for index, label in enumerate(labels)}
    size = film_format(format)
    parts = sorted((list(part) for part in captures if part), key=lambda part: order.get(part[0].label, -1))
    for part in parts:
        for seen in part:
            if seen.label not in order:
                raise Refusal(
                    f"frame {seen.label}",
                    "a capture shows it, the roll has no such frame",
                    "Log it, or mend its label.",
                )
    advance = _advance_mm(parts, order, size)
    placed: dict[int, tuple[float, float]] = {}
    for part in parts:
        shift = _shift(part, placed, order, advance)
        for seen in part:
            placed.setdefault(order[seen.label], (seen.start_mm + shift, seen.end_mm + shift))
    return _fill_in(labels, placed, advance, size)


def _advance_mm(parts: Sequence[Sequence[SeenFrame]], order: dict[str, int], size: FilmFormat) -> float:
    """The camera's own advance: the median over neighbours seen together, else the format's."""
    steps = [
        later.start_mm - earlier.start_mm
        for part in parts
        for earlier, later in pairwise(part)
        if order[later.label] == order[earlier.label] + 1
    ]
    return statistics.median(steps) if steps else size.usual_pitch_mm


def _shift(
    part: Sequence[SeenFrame], placed: dict[int, tuple[float, float]], order: dict[str, int], advance: float
) -> float:
    """What to add to a capture's millimetres so that it continues what is placed."""
    shared = [placed[order[seen.label]][0] - seen.start_mm for seen in part if order[seen.label] in placed]
    if shared:
        return statistics.median(shared)
    first = part[0]
    if not placed:
        return order[first.label] * advance - first.start_mm
    before = max((index for index in placed if index < order[first.label]), default=min(placed))
    return placed[before][0] + (order[first.label] - before) * advance - first.start_mm


def _fill_in(
    labels: Sequence[str], placed: dict[int, tuple[float, float]], advance: float, size: FilmFormat
) -> tuple[FrameOnFilm, ...]:
    frames = []
    for index, label in enumerate(labels):
        if index in placed:
            start, end = placed[index]
            at_an_end = index in (0, len(labels) - 1)
            frames.append(FrameOnFilm(label, start, end, at_an_end and end - start < _PARTIAL_BELOW * size.along_mm))
            continue
        start = _start_between(index, placed, advance)
        frames.append(FrameOnFilm(label, start, start + size.along_mm))
    return tuple(frames)


def _start_between(index: int, placed: dict[int, tuple[float, float]], advance: float) -> float:
    """Where a frame that no capture shows begins: evenly between its placed neighbours, else by the rhythm."""
    before = max((known for known in placed if known < index), default=None)
    after = min((known for known in placed if known > index), default=None)
    if before is not None and after is not None:
        left, right = placed[before][0], placed[after][0]
        return left + (right - left) * (index - before) / (after - before)
    near = before if before is not None else after
    return index * advance if near is None else placed[near][0] + (index - near) * advance
