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
    track: Track,
    *,
    length_mm: float,
    pitch_mm: float,
    pitch_sure_mm: float,
    slack_mm: float,
    rhythm_weight: float = 0.3,
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
    rhythm_weight : float, optional
        What a frame that stands oddly costs, against 1 for an edge that is seen along its whole side.
    """
    lengths = np.arange(length_mm - slack_mm, length_mm + slack_mm + 1e-6, max(0.1, slack_mm / 8))
    scores = np.array([_scores(track, float(length)) for length in lengths])
    step = track.step_mm
    near = max(1, round((length_mm - min(_LONGEST_OVERLAP_MM, length_mm / 4)) / step))
    away = np.arange(near, max(near + 2, round((length_mm + _WIDEST_GAP_MM) / step)))
    costs = rhythm_weight * np.minimum(1, ((away * step - pitch_mm) / pitch_sure_mm) ** 2 / 9)
    overlap = np.where(away * step < lengths[:, None] - 0.2, 0.1, 0.0)
    totals, before = _chain(scores, away, costs + overlap)
    ends = totals.argmax(axis=1)
    values = totals[np.arange(len(lengths)), ends]
    chains = [_walk(before[k], int(ends[k])) if values[k] > 0 else [] for k in range(len(lengths))]
    odd = ((lengths - length_mm) / slack_mm) ** 2
    values = values - _LENGTH_WEIGHT * odd * np.array([max(1, len(chain)) for chain in chains])
    best = int(np.argmax(values))
    return float(lengths[best]), [float(track.x_mm[j]) for j in chains[best]]


def _chain(scores: Floats, away: NDArray[np.int64], costs: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Best total of any sequence that ends at each place, and the place before it (-1 for none), for every length."""
    lengths, count = scores.shape
    far = int(away[-1])
    rows = np.arange(lengths)
    total = scores.copy()
    before = np.full((lengths, count), -1)
    padded = np.full((lengths, count + far + 1), -np.inf)  # padded[:, j + far] is total[:, j]
    longest, longest_at = np.full(lengths, -np.inf), np.full(lengths, -1)
    for j in range(count):
        old = j - far - 1
        if old >= 0:
            better = total[:, old] > longest
            longest, longest_at = np.where(better, total[:, old], longest), np.where(better, old, longest_at)
        # away runs upwards, so the window is read backwards
        reach = padded[:, j : j + far - int(away[0]) + 1][:, ::-1] - costs
        k = reach.argmax(axis=1)
        gain, origin = reach[rows, k], j - away[k]
        broken = longest - _BREAK_COSTS > gain
        gain, origin = np.where(broken, longest - _BREAK_COSTS, gain), np.where(broken, longest_at, origin)
        worth = gain > 0
        total[:, j] += np.where(worth, gain, 0)
        before[:, j] = np.where(worth, origin, -1)
        padded[:, j + far] = total[:, j]
    return total, before


def _walk(before: NDArray[np.int64], last: int) -> list[int]:
    chain = []
    while last >= 0:
        chain.append(last)
        last = int(before[last])
    return chain[::-1]


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
