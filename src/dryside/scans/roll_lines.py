"""Scratches along the film's travel: fine lines that stay at one place over successive frames of a roll.

In one busy picture a scratch cannot be told from the picture. Over the roll it can: subjects change, and a burr in the
cassette's mouth, the gate or a scanner draws its line at the same height through frame after frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]

_LOOKED_AT_PX = 2000
_REACH_PX = 4  # a line is held against what lies this far to both sides
_MOST_LEVELS = 20.0  # one pixel counts no more than this, or a single lamp would be a line
_BLOCKS = 40
_LEAST_SCORE = 5.0  # mean contrast of a row in standard errors
_MOST_LINES = 25
_SAME_PLACE = 0.004  # parts of the side across: film is guided to a tenth of a millimetre
_MARGIN = 0.02  # parts of the side: rims of gates and resampled borders are lines too
LEAST_FRAMES = 4
_LEAST_SHARE = 0.7  # of a run of frames in which the line is seen


@dataclass(frozen=True)
class Line:
    """A fine line along a picture: its place across the film (parts of that side), signed score, and levels."""

    place: float
    score: float
    levels: float


@dataclass(frozen=True)
class LineThrough:
    """A line at one place through a run of frames: its mean place, and the frames that show it."""

    place: float
    frames: tuple[int, ...]

    def apart(self, place: float, *, upright: bool = False) -> float:
        """How far a place is from the line; where the travel is upright, from whichever side is nearer."""
        apart = abs(place - self.place)
        return min(apart, abs(1.0 - place - self.place)) if upright else apart


def fine_lines(image: Image8, *, along_long_side: bool = True) -> tuple[Line, ...]:
    """The finest, straightest lines that run the whole way along the film's travel, most of them of the subject.

    Parameters
    ----------
    image : ndarray of shape (rows, columns, 3), uint8
        A whole scan.
    along_long_side : bool, optional
        Whether the film travels along the picture's long side, as 135 does (half frame along the short one).

    Returns
    -------
    tuple of Line
        The strongest first; places count from the top, or from the left where the travel is upright.
    """
    import cv2

    scale = min(1.0, _LOOKED_AT_PX / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else image
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.float32)
    if (grey.shape[1] >= grey.shape[0]) != along_long_side:
        grey = np.ascontiguousarray(grey.T)
    rows, columns = grey.shape
    if rows < 8 * _REACH_PX or columns < 2 * _BLOCKS:
        return ()
    score, levels = _scores(grey)
    return _peaks(score, levels, rows)


def _scores(grey: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Each row's mean contrast to both sides in its own standard errors, and in levels; `_REACH_PX` rows short."""
    far = _REACH_PX
    contrast = np.clip(grey[far:-far] - (grey[2 * far :] + grey[: -2 * far]) / 2, -_MOST_LEVELS, _MOST_LEVELS)
    # Where the two sides differ an edge of the subject passes, and says nothing.
    contrast[np.abs(grey[2 * far :] - grey[: -2 * far]) > 3 * _MOST_LEVELS] = 0.0
    width = contrast.shape[1] // _BLOCKS
    blocks = contrast[:, : width * _BLOCKS].reshape(len(contrast), _BLOCKS, width).mean(axis=2).astype(float)
    # The median block: a line is there the whole way, a table's rim only a part of it.
    levels = np.median(blocks, axis=1)
    error = np.maximum(blocks.std(axis=1), 0.25) / np.sqrt(_BLOCKS) * 1.2533  # of a median
    return levels / error, levels


def _peaks(score: NDArray[np.float64], levels: NDArray[np.float64], rows: int) -> tuple[Line, ...]:
    size = np.abs(score)
    padded = np.pad(size, _REACH_PX, mode="constant")
    top = np.max([padded[k : k + len(size)] for k in range(2 * _REACH_PX + 1)], axis=0)
    place = (np.arange(len(size)) + _REACH_PX + 0.5) / rows
    inside = (place > _MARGIN) & (place < 1 - _MARGIN)
    found = np.flatnonzero((size >= top) & (size >= _LEAST_SCORE) & inside)
    order = found[np.argsort(-size[found])][:_MOST_LINES]
    return tuple(Line(float(place[k]), float(score[k]), float(levels[k])) for k in order)


def lines_through(
    frames: Sequence[Sequence[Line]], *, alike: Sequence[bool] = (), upright: Sequence[bool] = ()
) -> tuple[LineThrough, ...]:
    """Lines that stay at one place over at least `LEAST_FRAMES` successive frames.

    Parameters
    ----------
    frames : sequence of sequence of Line
        Per frame, in the order of the film or against it.
    alike : sequence of bool, optional
        Per frame, whether it shows the same as the one before: from a tripod the subject's lines stay too.
    upright : sequence of bool, optional
        Per frame, whether its travel runs up the picture; which end was turned up is not known, so its places may
        count from either side.
    """
    seen = [
        [] if k < len(alike) and alike[k] else _both_ways(lines, k < len(upright) and upright[k])
        for k, lines in enumerate(frames)
    ]
    counted = [k for k in range(len(frames)) if not (k < len(alike) and alike[k])]
    found: list[LineThrough] = []
    starts = sorted(
        ((line.place, line.score > 0) for k in counted for line in seen[k]), key=lambda item: (item[1], item[0])
    )
    for place, is_light in starts:
        if any(abs(place - old.place) <= 2 * _SAME_PLACE for old in found):
            continue
        hits = [
            k for k in counted
            if any(abs(line.place - place) <= _SAME_PLACE and (line.score > 0) == is_light for line in seen[k])
        ]  # fmt: skip
        run = _best_run([counted.index(k) for k in hits])
        if len(run) >= LEAST_FRAMES:
            found.append(LineThrough(place, tuple(counted[k] for k in run)))
    return tuple(found)


def _both_ways(lines: Sequence[Line], is_upright: bool) -> list[Line]:
    turned = [Line(1.0 - line.place, line.score, line.levels) for line in lines] if is_upright else []
    return [*lines, *turned]


def _best_run(hits: Sequence[int]) -> list[int]:
    """The longest part of rising numbers that is dense enough."""
    best: list[int] = []
    for a in range(len(hits)):
        for b in range(len(hits), a, -1):
            part = list(hits[a:b])
            if len(part) <= len(best):
                break
            if len(part) >= _LEAST_SHARE * (part[-1] - part[0] + 1):
                best = part
                break
    return best


def box_of(place: float, size: tuple[int, int], *, along_long_side: bool = True) -> tuple[int, int, int, int]:
    """The line in pixels of a picture of `size` (width, height): x, y, width, height."""
    width, height = size
    if (width >= height) == along_long_side:
        return 0, round(place * height), width, 1
    return round(place * width), 0, 1, height
