"""The pictures on a strip, each a quadrilateral with a confidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import FilmFormat, film_format
from dryside.negatives import evidence as evidences
from dryside.negatives.evidence import Evidence
from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.frame_rhythm import Track, place
from dryside.negatives.types import FloatArray, FrameFound, LightArray, Strip

Floats = NDArray[np.floating[Any]]

_GATE_SLACK_MM = 0.8  # how far real gates are from the nominal frame
_SEEN_SURELY = 0.35  # agreement along a side that makes it a measurement of its own
_LEAST_PART_IN_CAPTURE = 0.75
_LEAST_PART_ON_FILM = 0.3
_MARGIN_MM = 2.0
_GRID_MM = 0.15


def view_of(light: LightArray, strip: Strip, *, scale: float, margin_mm: float = _MARGIN_MM) -> FilmView:
    """A strip laid flat over its whole width and a little beyond, about as finely as `light` does, 10 px/mm at most."""
    per_mm = float(np.clip(strip.pixels_per_mm / scale, 3.0, 10.0))
    reduced, factor = _reduced(light, strip.pixels_per_mm / scale / per_mm)
    return lay_flat(
        reduced, strip.plane, scale=scale * factor,
        x_mm=(strip.x_from_mm, strip.x_to_mm), y_mm=(-margin_mm, strip.width_mm + margin_mm), pixels_per_mm=per_mm,
    )  # fmt: skip


def _reduced(light: LightArray, by: float) -> tuple[LightArray, float]:
    """`light` made smaller by a whole number, so that resampling does not skip pixels."""
    import cv2

    factor = int(by + 0.25)
    if factor < 2:
        return light, 1.0
    rows, columns = light.shape[0] // factor, light.shape[1] // factor
    part = light[: rows * factor, : columns * factor]
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)), float(factor)


@dataclass(frozen=True)
class _Side:
    """One side of a frame: where it is (mm) and how much of it was seen."""

    at: float
    seen: float


def find_frames(light: LightArray, strip: Strip, *, scale: float) -> tuple[FrameFound, ...]:
    """All frames of a strip, left to right on the film.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light of the capture reduced by `scale`.
    strip : Strip
        As `strip.find_strips` gives it.
    scale : float
        Capture pixels to one pixel of `light`.
    """
    facts = film_format(strip.format)
    view = view_of(light, strip, scale=scale)
    found = evidences.gather(view, strip)
    top, bottom = _top_and_bottom(found, strip, facts, None)
    track = _track(found, strip, facts, (top.at, bottom.at))
    length, starts = _placed(track, facts)
    sides = [_measured(found, track, x, length, (top.at, bottom.at)) for x in starts]
    return _frames(strip, found, facts, sides, (top, bottom), length)


def _placed(track: Track, facts: FilmFormat) -> tuple[float, list[float]]:
    """Frame length and left sides; the second time by the camera's own rhythm."""
    pitch, sure = _rhythm(facts)
    length, starts = place(track, length_mm=facts.along_mm, pitch_mm=pitch, pitch_sure_mm=sure, slack_mm=_GATE_SLACK_MM)
    steps = np.diff(starts)
    steps = steps[(steps > length - 1) & (steps < length + 2 * (pitch - facts.along_mm) + 3)]
    if len(steps) < 2:
        return length, starts
    own = float(np.median(steps))
    spread = 1.48 * float(np.median(np.abs(steps - own)))
    if spread > 0.6:
        return length, starts
    return place(
        track, length_mm=length, pitch_mm=own, pitch_sure_mm=max(0.25, 2 * spread), slack_mm=0.2, rhythm_weight=0.6
    )


def _rhythm(facts: FilmFormat) -> tuple[float, float]:
    if facts.frame_pitch_mm is not None:
        return facts.frame_pitch_mm, 0.5
    return facts.usual_pitch_mm, 2.5


def _top_and_bottom(
    found: Evidence, strip: Strip, facts: FilmFormat, x_mm: tuple[float, float] | None
) -> tuple[_Side, _Side]:
    """Upper and lower side of the gate over a stretch of film, or the whole strip."""
    columns = found.columns(*(x_mm or (strip.x_from_mm, strip.x_to_mm)))
    steps = evidences.steps_across(found, columns)
    edges = found.y_mm[0] - found.step_mm / 2 + np.arange(len(steps)) * found.step_mm
    middle = strip.width_mm / 2
    half = facts.across_mm / 2
    lines = found.shine[:, columns][:, ~found.hole_columns[columns]].T
    return (
        _finer(_side(edges, steps, middle - half, 1.3), lines, found.y_mm),
        _finer(_side(edges, -steps, middle + half, 1.3), lines, found.y_mm),
    )


def _side(edges: FloatArray, steps: FloatArray, expected: float, reach: float) -> _Side:
    """The strongest rise near an expected place, to a small part of a step."""
    near = np.abs(edges - expected) <= reach
    if not near.any():
        return _Side(expected, 0.0)
    candidates = np.where(near, steps - 0.03 * np.abs(edges - expected), -np.inf)
    k = int(np.argmax(candidates))
    peak = float(steps[k])
    if peak <= 0:
        return _Side(expected, 0.0)
    # Clipped agreement is flat on top: its middle is the edge.
    above = steps > 0.6 * peak
    first, last = k, k
    while first > 0 and above[first - 1]:
        first -= 1
    while last + 1 < len(steps) and above[last + 1]:
        last += 1
    return _Side(float((edges[first] + edges[last]) / 2), peak)


def _track(found: Evidence, strip: Strip, facts: FilmFormat, gate_y: tuple[float, float]) -> Track:
    rows = found.rows(gate_y[0] + 0.6, gate_y[1] - 0.6)
    rises = evidences.steps_along(found, rows)
    part = np.clip(np.nan_to_num(found.above[rows]) - 0.5, 0, 1).mean(axis=0) * found.trust
    covered = np.concatenate([[0.0], np.cumsum(part) * found.step_mm])
    left = found.x_mm[0] - found.step_mm / 2
    edges = left + np.arange(len(rises)) * found.step_mm
    grid = np.arange(edges[0] - facts.along_mm + 0.5, edges[-1] + facts.along_mm, _GRID_MM)
    return Track(
        x_mm=grid,
        rises=np.interp(grid, edges, rises, left=0.0, right=0.0),
        covered=np.interp(grid, edges, covered),
        seen_mm=(float(edges[0]), float(edges[-1])),
    )


def _measured(
    found: Evidence, track: Track, x: float, length: float, gate_y: tuple[float, float]
) -> tuple[_Side, _Side]:
    """Left and right side of a frame as they were seen near where the rhythm puts them."""
    left = _side(track.x_mm, track.rises, x, 0.5)
    right = _side(track.x_mm, -track.rises, x + length, 0.5)
    rows = found.rows(gate_y[0] + 0.6, gate_y[1] - 0.6)
    return _finer(left, found.shine[rows], found.x_mm), _finer(right, found.shine[rows], found.x_mm)


def _finer(side: _Side, shine: Floats, at: FloatArray) -> _Side:
    """A side that was seen, to a small part of a grid step."""
    if side.seen < 0.1:
        return side
    exact = evidences.crossing(shine, side.at, float(at[0]), float(at[1] - at[0]))
    return side if exact is None or abs(exact - side.at) > 0.3 else _Side(exact, side.seen)


def _frames(
    strip: Strip,
    found: Evidence,
    facts: FilmFormat,
    sides: list[tuple[_Side, _Side]],
    gate: tuple[_Side, _Side],
    length: float,
) -> tuple[FrameFound, ...]:
    sure = [right.at - left.at for left, right in sides if min(left.seen, right.seen) > _SEEN_SURELY]
    length = float(np.median(sure)) if sure else length
    frames: list[FrameFound] = []
    for left, right in sides:
        x0, x1 = _agree(left, right, length)
        top, bottom = _own_gate(found, strip, facts, (x0, x1), gate)
        sides_mm = (x0, top.at, x1, bottom.at)
        frame = _frame(strip, sides_mm, (left, right, top, bottom), len(frames))
        if frame is not None:
            frames.append(frame)
    return tuple(frames)


def _agree(left: _Side, right: _Side, length: float) -> tuple[float, float]:
    """Both sides of a frame of known length: each as it was seen, or from the other where it was not."""
    odd = abs(right.at - left.at - length) > 0.35
    if (odd and left.seen >= right.seen) or right.seen < 0.1 < left.seen:
        return left.at, left.at + length
    if odd or left.seen < 0.1 < right.seen:
        return right.at - length, right.at
    share = right.seen / max(left.seen + right.seen, 1e-6)
    from_right = right.at - length
    if left.seen > _SEEN_SURELY and right.seen > _SEEN_SURELY:
        return left.at, right.at
    start = (1 - share) * left.at + share * from_right
    return start, start + length


def _own_gate(
    found: Evidence, strip: Strip, facts: FilmFormat, x_mm: tuple[float, float], gate: tuple[_Side, _Side]
) -> tuple[_Side, _Side]:
    """A frame's own upper and lower side where they are seen, else the strip's."""
    own = _top_and_bottom(found, strip, facts, (x_mm[0] + 0.5, x_mm[1] - 0.5))
    top, bottom = (
        mine if mine.seen > _SEEN_SURELY and abs(mine.at - common.at) < 0.3 else _Side(common.at, mine.seen)
        for mine, common in zip(own, gate, strict=True)
    )
    return top, bottom


def _frame(
    strip: Strip, sides_mm: tuple[float, float, float, float], seen: tuple[_Side, ...], index: int
) -> FrameFound | None:
    x0, y0, x1, y1 = sides_mm
    on_film = (max(x0, strip.x_from_mm), min(x1, strip.x_to_mm))
    part = max(0.0, on_film[1] - on_film[0]) / (x1 - x0)
    warnings = []
    cut_by_film = (x0 < strip.x_from_mm - 0.2 and strip.ends_seen[0]) or (
        x1 > strip.x_to_mm + 0.2 and strip.ends_seen[1]
    )
    if part < (_LEAST_PART_ON_FILM if cut_by_film else _LEAST_PART_IN_CAPTURE):
        return None
    if cut_by_film:
        x0, x1 = on_film
        warnings.append("cut through at the end of the strip")
    elif part < 0.995:
        warnings.append("not wholly in the capture")
    corners = strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    confidence = float(np.clip(np.mean([min(1.0, side.seen / _SEEN_SURELY) for side in seen]), 0.1, 1.0))
    return FrameFound(index, corners, (x0, y0, x1, y1), confidence, warnings=tuple(warnings))
