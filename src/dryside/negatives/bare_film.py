"""Film without perforations in sight: roll film, strips in a holder that masks the holes, captures of a single frame.

All long straight edges of such a capture, film's and frames', run along two directions. Turned straight, the frames'
upper and lower sides are two edges of opposite sense whose distance is the height of a frame, the film's edges lie a
known way beyond them or are not seen, and between them stand frames of the right length. Every pair of edges, both ways
of laying the film and both senses (negative, slide) are tried, and the best story is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import FilmFormat
from dryside.negatives.evidence import agreement, faint_steps, steps_of_rows, stronger
from dryside.negatives.film_pieces import Piece
from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.frame_rhythm import Track, place
from dryside.negatives.rebate_around import LEAST_MASK, MASKED, rebate_around
from dryside.negatives.types import FilmPlane, FloatArray, LightArray, ScaleSource, Strip

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

_VIEW_PIXELS = 400_000
_LEAST_EDGE = 0.12
_MOST_EDGES = 12
_PAIRS_TRIED = 6
_LEAST_PIXELS = 24
_WORTH_OF_EDGES = (0.0, 0.15, 0.6)  # four edges in the proportions of film and frame hardly happen by chance
_STORIES_HELD = 8
_REBATE_WEIGHT = 1.0
_LEAST_STORY = 1.25
_RIM_LINE = 0.25
_DUST = 0.004  # part of a picture that is busy with dust
_ENOUGH = 0.6  # agreement along a side beyond which more says nothing
_BLACKEST = 80.0  # units of density above the clearest part: 2.4; a mask is black beyond it
_DARKEST = 1e-4


@dataclass(frozen=True)
class _Pair:
    """Upper and lower side of the frames, in rows of the straight view, and what lies beyond."""

    top: float
    bottom: float
    scale: float
    seen: tuple[float, float]
    film_edges: tuple[float | None, float | None]

    @property
    def value(self) -> float:
        """What the two sides and the film's edges beyond them are worth."""
        edges = sum(edge is not None for edge in self.film_edges)
        return sum(min(side, _ENOUGH) for side in self.seen) + _WORTH_OF_EDGES[edges]

    @property
    def rank(self) -> float:
        """In which order pairs are tried: sides that are seen all along first."""
        return self.value + sum(self.seen)


@dataclass(frozen=True, eq=False)
class _Story:
    """One explanation of a capture."""

    value: float
    pair: _Pair
    frames: tuple[Box, ...]
    negative: bool
    view: FilmView
    unit: FilmPlane


def find_bare_strip(
    light: LightArray, facts: FilmFormat, *, scale: float, process: str | None = None, piece: Piece | None = None
) -> Strip | None:
    """The strip of a capture in which no perforations are seen; None if nothing in it looks like frames on film.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light of the capture reduced by `scale`.
    facts : FilmFormat
        What is looked for.
    scale : float
        Capture pixels to one pixel of `light`.
    process : str, optional
        How the film was developed; negatives and slides are both tried if left out.
    piece : Piece, optional
        The part of the capture to look at; all of it if left out.
    """
    if min(light.shape[:2]) < _LEAST_PIXELS or float(light.max()) <= 0:
        return None
    senses = (True, False) if process is None else (process != "e6",)
    # Without any long edge there are the faint sides of a frame equal to base at most.
    if piece is None:
        direction = main_direction(light) or 0.0
    else:
        direction = piece.degrees
        lean = main_direction(_straight_view(light, scale, direction, piece)[1].light) or 0.0
        direction += (lean + 45) % 90 - 45
    stories = [
        story
        for turn in (direction, direction + 90)
        for story in _stories(light, facts, scale, (turn + 90) % 180 - 90, senses, piece)
    ]
    brightest = np.maximum(np.percentile(light[::4, ::4].reshape(-1, 3), 99.5, axis=0), _DARKEST)
    likeliest = sorted(stories, key=lambda story: -story.value)[:_STORIES_HELD]
    masked = process in MASKED
    worth = [story.value + _REBATE_WEIGHT * _rebate_value(story, brightest, masked=masked) for story in likeliest]
    if not worth or max(worth) < _LEAST_STORY:
        return None
    best = likeliest[int(np.argmax(worth))]
    return _as_strip(best, facts, (round(light.shape[0] * scale), round(light.shape[1] * scale)))


def _rebate_value(story: _Story, brightest: Floats, *, masked: bool) -> float:
    """From -1 to 1: how much what lies around a story's frames looks like the film it would have to be."""
    values = []
    columns = story.view.light.shape[1]
    for frame in story.frames:
        if min(frame[2], columns) - max(frame[0], 0) < 0.5 * (frame[2] - frame[0]):
            continue
        others = tuple(other for other in story.frames if other is not frame)
        around = rebate_around(
            story.view.light, story.view.inside, frame, others, px_per_mm=story.pair.scale,
            clear_is_light=story.negative, brightest=brightest,
        )  # fmt: skip
        has_no_mask = masked and around is not None and around.mask < LEAST_MASK
        values.append(-0.3 if around is None else around.value - has_no_mask)
    return float(np.mean(values)) if values else 0.0


def main_direction(light: LightArray) -> float | None:
    """Direction in degrees, in [0, 90), of the long straight edges of a picture; None if it has none."""
    import cv2

    by = max(1, round(np.sqrt(light.shape[0] * light.shape[1] / 300_000)))
    small = light
    if by > 1:
        size = (light.shape[1] // by, light.shape[0] // by)
        small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    mean = np.maximum(small @ np.full(3, 1 / 3, np.float32), np.float32(1e-9))
    low, high = np.log(np.percentile(mean[::3, ::3], [0.5, 99.5]))
    low = max(low, high - np.log(1 / _DARKEST))
    grey = np.clip((np.log(mean) - low) / max(high - low, 1e-3) * 255, 0, 255).astype(np.uint8)
    segments = cv2.createLineSegmentDetector().detect(grey)[0]
    if segments is None:
        return None
    ends = np.asarray(segments).reshape(-1, 4)
    run = ends[:, 2:] - ends[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    angle = np.rad2deg(np.arctan2(run[:, 1], run[:, 0])) % 90
    weight = np.bincount((angle * 4).astype(int) % 360, length**2, 360)
    smooth = weight + np.roll(weight, 1) + np.roll(weight, -1)
    peak = (int(smooth.argmax()) + 0.5) / 4
    off = (angle - peak + 45) % 90 - 45
    near = np.abs(off) < 0.6
    if length[near].max(initial=0) < 0.15 * min(grey.shape):
        return None
    return float((peak + np.average(off[near], weights=length[near] ** 2)) % 90)


def _stories(
    light: LightArray, facts: FilmFormat, scale: float, degrees: float, senses: tuple[bool, ...], piece: Piece | None
) -> list[_Story]:
    """What the capture can be if the film's long axis runs this way."""
    unit, view = _straight_view(light, scale, degrees, piece)
    density = -np.log10(np.maximum(view.light, _DARKEST * float(view.light.max()))).mean(axis=-1)
    density = (density / np.float32(0.03)).astype(np.float32)
    clearest = float(np.percentile(density[view.inside][::7], 3))
    density = np.minimum(density, np.float32(clearest + _BLACKEST))
    density[~view.inside] = np.nan
    busy = _busy(density)
    reach = max(2, round(0.007 * min(density.shape)))
    across = stronger(agreement(steps_of_rows(density[:, ::2].T, reach)), faint_steps(density[:, ::2].T, reach))
    edges = _peaks(across, reach)
    outline = None
    if piece is not None and piece.margin and not facts.is_perforated:  # its sides are the film's own
        outline = (piece.margin * view.pixels_per_mm, len(density) - piece.margin * view.pixels_per_mm)
    stories = []
    for negative in senses:
        sense = 1 if negative else -1
        pairs = _pairs(edges, across, facts, density.shape, sense, outline)
        for pair in sorted(pairs, key=lambda pair: -pair.rank)[:_PAIRS_TRIED]:
            value, length, starts = _along(density, pair, facts, sense)
            if starts:
                value += pair.value - 1.5 * _left_over(busy, pair, facts, starts)
                frames = tuple((x * pair.scale, pair.top, (x + length) * pair.scale, pair.bottom) for x in starts)
                stories.append(_Story(value, pair, frames, negative, view, unit))
    return stories


def _straight_view(light: LightArray, scale: float, degrees: float, piece: Piece | None) -> tuple[FilmPlane, FilmView]:
    """The capture, or a piece of it, turned so that `degrees` runs to the right; one unit is one capture pixel."""
    rows, columns = light.shape[0] * scale, light.shape[1] * scale
    whole = Piece((columns / 2, rows / 2), (columns / 2, rows / 2), 0.0)
    seen = piece or whole
    turn = np.deg2rad(degrees)
    cos, sin = np.cos(turn), np.sin(turn)
    between = np.deg2rad(degrees - seen.degrees)
    along, across = abs(np.cos(between)), abs(np.sin(between))
    half = (along * seen.half[0] + across * seen.half[1], across * seen.half[0] + along * seen.half[1])
    matrix = np.array([[cos, -sin, seen.centre[0]], [sin, cos, seen.centre[1]], [0, 0, 1.0]])
    unit = FilmPlane(matrix, (round(rows), round(columns)))
    per_unit = min(1 / scale, float(np.sqrt(_VIEW_PIXELS / (4 * half[0] * half[1]))))
    view = lay_flat(
        light, unit, scale=scale, x_mm=(-half[0], half[0]), y_mm=(-half[1], half[1]), pixels_per_mm=per_unit
    )
    return unit, view


def _peaks(steps: FloatArray, reach: int) -> list[int]:
    """The strongest edges between rows, none within `reach` of a stronger one of the same sense."""
    found: list[int] = []
    for k in np.argsort(-np.abs(steps)):
        if abs(steps[k]) < _LEAST_EDGE or len(found) >= _MOST_EDGES:
            break
        if all(abs(int(k) - other) > reach or steps[k] * steps[other] < 0 for other in found):
            found.append(int(k))
    # A clipped edge is flat on top: its middle is the edge.
    middles = sorted({_middle(steps, k) for k in found})
    return [k for j, k in enumerate(middles) if j == 0 or k - middles[j - 1] > 1 or steps[k] * steps[k - 1] < 0]


def _middle(steps: FloatArray, k: int) -> int:
    alike = steps * np.sign(steps[k]) > 0.6 * abs(steps[k])
    first = last = k
    while first > 0 and alike[first - 1]:
        first -= 1
    while last + 1 < len(steps) and alike[last + 1]:
        last += 1
    return (first + last) // 2


def _pairs(
    edges: list[int],
    steps: FloatArray,
    facts: FilmFormat,
    shape: tuple[int, ...],
    sense: int,
    outline: tuple[float, float] | None,
) -> list[_Pair]:
    """Pairs of edges that can be the upper and lower sides of the frames, within the outline of the film if known."""
    pairs = []
    has_edges = bool(facts.rebate_mm) and not facts.is_perforated  # where they are seen there, so are holes
    for top in edges:
        for bottom in edges:
            if bottom - top < 0.25 * shape[0] or steps[top] * sense <= 0 or steps[bottom] * sense >= 0:
                continue
            scale = (bottom - top) / facts.across_mm
            if 0.8 * facts.along_mm * scale > shape[1]:
                continue
            rebate = (facts.rebate_mm or 0.0) * scale
            if outline and min(top - outline[0], outline[1] - bottom) < 0.4 * rebate:
                continue
            upper = _film_edge(steps, top - rebate, 0.6 * scale) if has_edges else None
            lower = _film_edge(steps, bottom + rebate, 0.6 * scale) if has_edges else None
            seen = (abs(float(steps[top])), abs(float(steps[bottom])))
            pairs.append(_Pair(float(top), float(bottom), scale, seen, (upper, lower)))
    return pairs


def _film_edge(steps: FloatArray, expected: float, reach: float) -> float | None:
    near = np.arange(max(0, int(expected - reach)), min(len(steps), int(expected + reach) + 2))
    if not len(near):
        return None
    k = int(near[np.argmax(np.abs(steps[near]))])
    return float(_middle(steps, k)) if abs(steps[k]) >= 0.25 else None


def _busy(density: Floats) -> NDArray[np.bool_]:
    """Where there is picture: density changes by more than grain does."""
    fine = max(2, round(0.004 * min(density.shape)))
    down = steps_of_rows(density.T, fine).T[:-1]
    across = steps_of_rows(density, fine)[:, :-1]
    change = np.maximum(np.abs(down), np.abs(across))
    busy = np.asarray(change > max(1.5, 4 * float(np.percentile(change[::3, ::3], 30))))
    # Long straight edges are rims of film, holder or frames.
    busy[busy.mean(axis=1) > _RIM_LINE] = False
    busy[:, busy.mean(axis=0) > _RIM_LINE] = False
    return busy


def _left_over(busy: NDArray[np.bool_], pair: _Pair, facts: FilmFormat, starts: list[float]) -> float:
    """Which part of all that is busy lies outside the frames, their rims left out."""
    upper, lower = pair.film_edges
    inside = np.zeros(busy.shape, bool)
    rim = np.zeros(busy.shape, bool)
    wide = max(2, round(0.7 * pair.scale))
    beside = max(wide, round((facts.rebate_mm or 0.0) * pair.scale))  # there may be print
    top, bottom = round(pair.top), round(pair.bottom)
    for start in starts:
        left, right = round(start * pair.scale), round((start + facts.along_mm) * pair.scale)
        rim[max(0, top - beside) : bottom + beside, max(0, left - wide) : max(0, right + wide)] = True
        inside[max(0, top + wide) : bottom - wide, max(0, left + wide) : max(0, right - wide)] = True
    # Between the film's edge and the frames there may be print.
    if upper is not None:
        rim[max(0, round(upper) - wide) : max(0, top + wide)] = True
    if lower is not None:
        rim[max(0, bottom - wide) : max(0, round(lower) + wide)] = True
    within, without = float((busy & inside).sum()), float((busy & ~rim).sum())
    return without / (within + without + _DUST * busy.size)


def _along(density: Floats, pair: _Pair, facts: FilmFormat, sense: int) -> tuple[float, float, list[float]]:
    """How well frames of the right length stand between two edges: mean evidence, their length, where they are."""
    inset = 0.03 * (pair.bottom - pair.top)
    part = density[int(pair.top + inset) : int(pair.bottom - inset)] * np.float32(sense)
    if part.shape[0] < 4:
        return 0.0, 0.0, []
    reach = max(2, round(0.45 * pair.scale))
    rises = stronger(agreement(steps_of_rows(part[::2], reach)), faint_steps(part[::2], reach))
    edges = np.arange(len(rises)) / pair.scale
    x = np.arange(-facts.along_mm, edges[-1] + 0.5, max(0.25, facts.along_mm / 250))
    track = Track(
        x_mm=x, rises=np.clip(np.interp(x, edges, rises, left=0.0, right=0.0), -_ENOUGH, _ENOUGH),
        covered=np.zeros(len(x)),
        seen_mm=(0.0, float(edges[-1])),
    )  # fmt: skip
    length, starts = place(
        track, length_mm=facts.along_mm, pitch_mm=facts.usual_pitch_mm, pitch_sure_mm=0.05 * facts.along_mm,
        slack_mm=0.02 * facts.along_mm,
    )  # fmt: skip
    if not starts:
        return 0.0, 0.0, []
    seen = _best_near(x, track.rises, np.array(starts)) + _best_near(x, -track.rises, np.array(starts) + length)
    if seen.max() < 0.3:
        return 0.0, 0.0, []
    good = seen >= 0.5 * seen.max()
    return float(seen[good].mean()), length, [start for start, one in zip(starts, good, strict=True) if one]


def _best_near(x: FloatArray, values: FloatArray, places: FloatArray) -> FloatArray:
    """The largest value within a millimetre of each place, 0 at least."""
    near = np.abs(x[None, :] - places[:, None]) < 1.0
    return np.asarray(np.where(near, np.maximum(values, 0)[None, :], 0).max(axis=1))


def _as_strip(story: _Story, facts: FilmFormat, size: tuple[int, int]) -> Strip:
    view, pair = story.view, story.pair
    upper, lower = pair.film_edges
    width = facts.film_width_mm or facts.across_mm + 4.0
    scale, source = pair.scale, "frames"
    top_mm = (width - facts.across_mm) / 2
    origin_row = pair.top - top_mm * scale
    if upper is not None and lower is not None and abs((lower - upper) / width / scale - 1) < 0.03:
        scale, source, origin_row = (lower - upper) / width, "film width", upper
    per_mm = scale / view.pixels_per_mm  # units, which are capture pixels, to a millimetre
    to_unit = np.array([[per_mm, 0, view.x0_mm], [0, per_mm, view.y0_mm + origin_row / view.pixels_per_mm], [0, 0, 1]])
    plane = FilmPlane(story.unit.to_pixels @ to_unit, size)
    x_from, x_to, ends = _extent(view, pair, scale, negative=story.negative)
    direction = np.rad2deg(np.arctan2(plane.to_pixels[1, 0], plane.to_pixels[0, 0]))
    return Strip(
        format=facts.key, plane=plane, x_from_mm=x_from, x_to_mm=x_to, ends_seen=ends, width_mm=width,
        pixels_per_mm=per_mm, tilt_degrees=float((direction + 90) % 180 - 90), scale_source=_source(source),
        clear_is_light=story.negative,
    )  # fmt: skip


def _source(name: str) -> ScaleSource:
    return "film width" if name == "film width" else "frames"


def _extent(view: FilmView, pair: _Pair, scale: float, *, negative: bool) -> tuple[float, float, tuple[bool, bool]]:
    """From where to where there is film, in mm from the view's left side."""
    rows = slice(int(pair.top), int(pair.bottom))
    light, inside = view.light[rows].mean(axis=-1), view.inside[rows]
    bright = float(np.percentile(view.light[::3, ::3].mean(axis=-1), 99.5))
    # The rebate of slides is as black as a holder.
    dark = ((light < 0.015 * bright) & negative) | ~inside
    beyond = _light_beyond(view, pair, scale)
    bare = np.zeros(light.shape, bool)
    if beyond is not None and beyond.max() > 0.3 * bright:
        ratio = view.light[rows] / np.maximum(beyond, 1e-6)
        bare = np.asarray((np.abs(np.log(np.maximum(ratio, 1e-3))) < 0.15).all(axis=-1))
    film = (dark | bare).mean(axis=0) < 0.93
    seen = np.flatnonzero(film)
    if not len(seen):
        return 0.0, view.light.shape[1] / scale, (False, False)
    first, last = int(seen[0]), int(seen[-1]) + 1
    in_capture = np.flatnonzero(inside.mean(axis=0) > 0.5)
    ends = (first > in_capture[0] + 2, last < in_capture[-1] - 1)
    return first / scale, last / scale, ends


def _light_beyond(view: FilmView, pair: _Pair, scale: float) -> Floats | None:
    """Median light beside the film, where its edges are seen."""
    upper, lower = pair.film_edges
    parts = []
    if upper is not None:
        parts.append(slice(max(0, int(upper - 3 * scale)), max(0, int(upper - 0.5 * scale))))
    if lower is not None:
        parts.append(slice(int(lower + 0.5 * scale) + 1, int(lower + 3 * scale)))
    colours = [view.light[part][view.inside[part]] for part in parts if part.stop > part.start]
    colours = [colour for colour in colours if len(colour) > 20]
    return np.median(np.concatenate(colours), axis=0) if colours else None
