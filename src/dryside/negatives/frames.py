"""The pictures on a strip, each a quadrilateral with a confidence."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import FilmFormat, film_format
from dryside.negatives import evidence as evidences
from dryside.negatives.evidence import Evidence
from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.frame_rhythm import Track, place
from dryside.negatives.frame_sides import (
    SEEN_SURELY,
    Side,
    agreed,
    left_and_right,
    own_top_and_bottom,
    top_and_bottom,
)
from dryside.negatives.types import FrameFound, LightArray, Strip

Floats = NDArray[np.floating[Any]]

_LEAST_PART_IN_CAPTURE = 0.75
_LEAST_PART_ON_FILM = 0.3
_BLANK_TRUST = 0.6
_LEAST_PICTURE_OF_CUT = 0.25
_LEAST_PART_CLEAR = 0.2
_PICTURE_WITHIN_MM = 11.0
_SURE_PICTURE = 4.0
_LEAST_PICTURE = 0.006  # more than dust
_MARGIN_MM = 2.0
_GRID_MM = 0.2
_REACH_MM = 0.45  # to either side of an edge; narrower where frames stand close

NOTHING_SEEN = "no picture is seen in it; it stands where the frames beside it leave room for one"
CUT = "cut through at the end of the strip"
NOT_WHOLE = "not wholly in the capture"


@dataclass(frozen=True)
class _Placed:
    """A frame along the strip: its sides, and whether nothing was seen of it."""

    expected: float
    left: Side
    right: Side
    blank: bool = False

    def sides(self, length: float) -> tuple[float, float]:
        """Film x of both sides."""
        return agreed(self.left, self.right, length, self.expected)


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


def find_frames(view: FilmView, strip: Strip) -> tuple[FrameFound, ...]:
    """All frames of a strip, left to right on the film.

    Parameters
    ----------
    view : FilmView
        The strip laid flat by `view_of`.
    strip : Strip
        As `strip.find_strips` gives it.
    """
    return frames_by_evidence(evidences.gather(view, strip), strip)


def frames_by_evidence(found: Evidence, strip: Strip) -> tuple[FrameFound, ...]:
    """`find_frames` from evidence that is already there."""
    facts = film_format(strip.format)
    gate = top_and_bottom(found, strip, facts)
    track = _track(found, facts, (gate[0].at, gate[1].at))
    length, starts = _placed(track, facts, strip)
    reach = 0.5 if strip.holes else max(0.8, 0.01 * facts.along_mm)
    gate_y = (gate[0].at, gate[1].at)
    seen = [_Placed(x, *left_and_right(found, track.rises, track.x_mm, (x, x + length), gate_y, reach)) for x in starts]
    sure = [one.right.at - one.left.at for one in seen if one.left.sure and one.right.sure]
    length = float(np.median(sure)) if sure else length
    frames: list[FrameFound] = []
    for one in _with_blanks(seen, found, strip, facts, length):
        x_mm = one.sides(length)
        top, bottom = own_top_and_bottom(found, strip, facts, x_mm, gate)
        frame = _frame(
            strip, (x_mm[0], top.at, x_mm[1], bottom.at), (one.left, one.right, top, bottom), blank=one.blank
        )
        if frame is not None and not (frames and _is_same(frames[-1], frame)):
            frames.append(frame)
    kept = (one for k, one in enumerate(frames) if not _is_clear_end(found, one, frames[:k] + frames[k + 1 :]))
    return tuple(_numbered(one, k) for k, one in enumerate(kept))


def _track(found: Evidence, facts: FilmFormat, gate_y: tuple[float, float]) -> Track:
    rows = found.rows(gate_y[0] + 0.6, gate_y[1] - 0.6)
    reach = _REACH_MM if facts.gap_mm > 1.5 else _REACH_MM / 1.5
    rises = evidences.steps_along(found, rows, reach)
    if not found.hole_columns.any():
        faint = evidences.faint_steps(found.above[rows], max(2, round(reach / found.step_mm)), near=True)
        rises = evidences.stronger(rises, evidences.FAINT * faint * np.append(found.trust, found.trust[-1]))
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


def _placed(track: Track, facts: FilmFormat, strip: Strip) -> tuple[float, list[float]]:
    """Frame length and left sides; the second time by the camera's own rhythm."""
    pitch, sure = (facts.frame_pitch_mm, 0.5) if facts.frame_pitch_mm else (facts.usual_pitch_mm, 2.5)
    slack = 0.8 if strip.holes else max(1.0, 0.035 * facts.along_mm)
    length, starts = place(track, length_mm=facts.along_mm, pitch_mm=pitch, pitch_sure_mm=sure, slack_mm=slack)
    steps = np.diff(starts)
    steps = steps[(steps > length - 1) & (steps < length + 2 * facts.gap_mm + 3)]
    if len(steps) < 2:
        return length, starts
    own = float(np.median(steps))
    spread = 1.48 * float(np.median(np.abs(steps - own)))
    if spread > 0.6:
        return length, starts
    return place(
        track, length_mm=length, pitch_mm=own, pitch_sure_mm=max(0.25, 2 * spread), slack_mm=0.2, rhythm_weight=0.6
    )


def _with_blanks(seen: list[_Placed], found: Evidence, strip: Strip, facts: FilmFormat, length: float) -> list[_Placed]:
    """The frames with those between and beside them in which nothing was seen, where the rhythm leaves room for one."""
    if not seen:
        return seen
    starts = [one.sides(length)[0] for one in seen]
    steps = [b - a for a, b in pairwise(starts) if b - a < length + 2 * facts.gap_mm + 3]
    pitch = float(np.median(steps)) if steps else facts.usual_pitch_mm

    def blank(x: float) -> _Placed:
        return _Placed(x, Side(x, 0.0), Side(x + length, 0.0), blank=True)

    filled = [seen[0]]
    for (a, b), one in zip(pairwise(starts), seen[1:], strict=True):
        count = round((b - a) / pitch)
        if count > 1 and abs(b - a - count * pitch) < 0.1 * pitch:
            filled += [blank(a + k * (b - a) / count) for k in range(1, count)]
        filled.append(one)
    if facts.frame_pitch_mm is None or not strip.holes:
        return filled
    before, after = starts[0] - pitch, starts[-1] + pitch
    while _has_room(before, length, found, strip):
        filled.insert(0, blank(before))
        before -= pitch
    while _has_room(after, length, found, strip):
        filled.append(blank(after))
        after += pitch
    return filled


def _has_room(x: float, length: float, found: Evidence, strip: Strip) -> bool:
    """Whether a whole frame of clear film lies there, with film seen to its end."""
    if x < strip.x_from_mm + 0.2 or x + length > strip.x_to_mm - 0.2:
        return False
    columns = found.columns(x, x + length)
    trust = found.trust[columns]
    if float(trust.mean()) > _BLANK_TRUST:
        return True
    # A leak covers a part of it: something of a picture is needed in the rest.
    clear = trust > 0.9
    middle = strip.width_mm / 2
    part = found.above[found.rows(middle - _PICTURE_WITHIN_MM, middle + _PICTURE_WITHIN_MM), columns][:, clear]
    return bool(clear.mean() > _LEAST_PART_CLEAR and (part > _SURE_PICTURE).mean() > _LEAST_PICTURE)


def _is_clear_end(found: Evidence, frame: FrameFound, others: list[FrameFound]) -> bool:
    """Whether a frame that seems cut is clear film at the strip's end, up to an edge within the picture beside it."""
    if CUT not in frame.warnings or not others:
        return False
    x0, y0, x1, y1 = frame.film_mm
    own = found.columns(x0 + 0.6, x1 - 0.6)
    part = found.above[found.rows(y0 + 0.6, y1 - 0.6), own]
    x = found.x_mm[own]
    for other in others:
        free = (x < other.film_mm[0]) | (x > other.film_mm[2])
        part, x = part[:, free], x[free]
    return not part.size or float((part > 1.5).mean()) < _LEAST_PICTURE_OF_CUT


def _is_same(one: FrameFound, other: FrameFound) -> bool:
    common = min(one.film_mm[2], other.film_mm[2]) - max(one.film_mm[0], other.film_mm[0])
    return common > 0.35 * (other.film_mm[2] - other.film_mm[0])


def _numbered(frame: FrameFound, index: int) -> FrameFound:
    return FrameFound(index, frame.corners, frame.film_mm, frame.confidence, warnings=frame.warnings)


def _frame(
    strip: Strip, sides_mm: tuple[float, float, float, float], seen: tuple[Side, ...], *, blank: bool
) -> FrameFound | None:
    x0, y0, x1, y1 = sides_mm
    on_film = (max(x0, strip.x_from_mm), min(x1, strip.x_to_mm))
    part = max(0.0, on_film[1] - on_film[0]) / (x1 - x0)
    warnings = []
    cut_left = x0 < strip.x_from_mm - 0.2 and strip.ends_seen[0]
    cut_right = x1 > strip.x_to_mm + 0.2 and strip.ends_seen[1]
    if part < (_LEAST_PART_ON_FILM if cut_left or cut_right else _LEAST_PART_IN_CAPTURE):
        return None
    if cut_left or cut_right:
        if not seen[1 if cut_left else 0].sure:
            return None
        x0, x1 = on_film
        warnings.append(CUT)
    elif part < 0.995:
        warnings.append(NOT_WHOLE)
    if blank:
        warnings.append(NOTHING_SEEN)
    corners = strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    confidence = float(np.clip(np.mean([min(1.0, side.seen / SEEN_SURELY) for side in seen]), 0.1, 1.0))
    return FrameFound(0, corners, (x0, y0, x1, y1), 0.2 if blank else confidence, warnings=tuple(warnings))
