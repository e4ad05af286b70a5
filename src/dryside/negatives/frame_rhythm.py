"""Where frames stand along a strip: the sequence that explains the edges and the pictures best.

Every place on a fine grid gets a score as the left side of a frame of a given length; a shortest-path search then
picks the sequence whose frames follow each other at the camera's rhythm. Overlaps and wide gaps cost a little, a frame
without any edge of its own can still stand on what it covers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import FloatArray

Floats = NDArray[np.floating[Any]]

_FRAME_COSTS = 0.22  # evidence that a frame must bring to be worth assuming
_COVERED = 0.9  # weight of covered picture against edges
_RHYTHM_WEIGHT = 0.30
_BREAK_COSTS = 0.45  # film passed over between two frames
_LONGEST_OVERLAP_MM = 6.0
_WIDEST_GAP_MM = 14.0
_LENGTH_WEIGHT = 0.06


@dataclass(frozen=True, eq=False)
class Track:
    """What is known along a strip.

    Attributes
    ----------
    x_mm : ndarray of shape (n,)
        Grid of possible sides, evenly spaced.
    rises : ndarray of shape (n,)
        `evidence.steps_along` at the grid.
    covered : ndarray of shape (n,)
        Running integral, in mm, of how much of the frame's height is picture.
    seen_mm : (from, to)
        What of the film can be seen.
    """

    x_mm: FloatArray
    rises: FloatArray
    covered: FloatArray
    seen_mm: tuple[float, float]

    @property
    def step_mm(self) -> float:
        """Of the grid."""
        return float(self.x_mm[1] - self.x_mm[0])


def place(
    track: Track, *, length_mm: float, pitch_mm: float, pitch_sure_mm: float, slack_mm: float
) -> tuple[float, list[float]]:
    """Length of the camera's frame and the left side of each frame, in mm, left to right.

    Parameters
    ----------
    track : Track
        What is known along the strip.
    length_mm : float
        Nominal length of a frame; the answer lies within `slack_mm` of it.
    pitch_mm, pitch_sure_mm : float
        Usual distance from frame to frame, and how far from it frames are without being odd.
    slack_mm : float
        How much cameras differ.
    """
    best: tuple[float, float, list[float]] = (-np.inf, length_mm, [])
    for length in np.arange(length_mm - slack_mm, length_mm + slack_mm + 1e-6, 0.1):
        total, sides = _best_sequence(track, float(length), pitch_mm, pitch_sure_mm)
        total -= _LENGTH_WEIGHT * ((length - length_mm) / slack_mm) ** 2 * max(1, len(sides))
        if total > best[0]:
            best = (total, float(length), sides)
    return best[1], best[2]


def _best_sequence(track: Track, length: float, pitch: float, sure: float) -> tuple[float, list[float]]:
    step = track.step_mm
    scores = _scores(track, length)
    count = len(scores)
    near = max(1, round((length - min(_LONGEST_OVERLAP_MM, length / 4)) / step))
    far = max(near + 1, round((length + _WIDEST_GAP_MM) / step))
    away = np.arange(near, far + 1)
    costs = _RHYTHM_WEIGHT * np.minimum(1, ((away * step - pitch) / sure) ** 2 / 9)
    costs += np.where(away * step < length - 0.2, 0.1, 0.0)
    total = scores.copy()
    before = np.full(count, -1)
    padded = np.full(count + far, -np.inf)
    longest = -np.inf
    longest_at = -1
    for j in range(count):
        if j > far and total[j - far - 1] > longest:
            longest, longest_at = total[j - far - 1], j - far - 1
        window = padded[j + far - away]  # total at j - away
        reach = window - costs
        k = int(np.argmax(reach))
        gain, origin = float(reach[k]), j - int(away[k])
        if longest - _BREAK_COSTS > gain:
            gain, origin = longest - _BREAK_COSTS, longest_at
        if gain > 0:
            total[j] += gain
            before[j] = origin
        padded[j + far] = total[j]
    if not count or total.max() <= 0:
        return 0.0, []
    j = int(np.argmax(total))
    result = float(total[j])
    sides = []
    while j >= 0:
        sides.append(float(track.x_mm[j]))
        j = int(before[j])
    return result, sides[::-1]


def _scores(track: Track, length: float) -> FloatArray:
    """Value of a frame whose left side stands at each place of the grid."""
    x, step = track.x_mm, track.step_mm
    wide = max(1, round(0.1 / step))
    rise = _running_max(np.maximum(track.rises, -0.3), wide)
    fall = _running_max(np.maximum(-track.rises, -0.3), wide)
    right = x + length
    end = np.interp(right, x, fall, left=0.0, right=0.0)
    start = np.where((x >= track.seen_mm[0]) & (x <= track.seen_mm[1]), rise, 0.0)
    end = np.where((right >= track.seen_mm[0]) & (right <= track.seen_mm[1]), end, 0.0)
    inside = np.interp(right, x, track.covered) - track.covered
    return np.asarray(start + end + _COVERED * inside / length - _FRAME_COSTS)


def _running_max(values: FloatArray, reach: int) -> FloatArray:
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=-1))
