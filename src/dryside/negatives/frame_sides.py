"""The four sides of a frame, measured on film laid flat: where each is, and how much of it was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import FilmFormat
from dryside.negatives import evidence as evidences
from dryside.negatives.evidence import Evidence
from dryside.negatives.types import FloatArray, Strip

Floats = NDArray[np.floating[Any]]

SEEN_SURELY = 0.35
"""Agreement along a side that makes it a measurement of its own."""

_TOP = 0.9
_GATE_REACH_MM = 1.3
_OWN_GATE_MM = 0.3
_INSET_MM = 0.6


@dataclass(frozen=True)
class Side:
    """One side of a frame: where it is (mm) and how much of it was seen (0 to 1)."""

    at: float
    seen: float

    @property
    def sure(self) -> bool:
        """Whether it stands as a measurement of its own."""
        return self.seen > SEEN_SURELY


def top_and_bottom(
    found: Evidence, strip: Strip, facts: FilmFormat, x_mm: tuple[float, float] | None = None
) -> tuple[Side, Side]:
    """Upper and lower side of the gate over a stretch of film, or over the whole strip."""
    columns = found.columns(*(x_mm or (strip.x_from_mm, strip.x_to_mm)))
    steps = evidences.steps_across(found, columns)
    edges = found.y_mm[0] - found.step_mm / 2 + np.arange(len(steps)) * found.step_mm
    middle, half = strip.width_mm / 2, facts.across_mm / 2
    lines = found.shine[:, columns][:, ~found.hole_columns[columns]].T
    return (
        _finer(side_near(edges, steps, middle - half, _GATE_REACH_MM), lines, found.y_mm),
        _finer(side_near(edges, -steps, middle + half, _GATE_REACH_MM), lines, found.y_mm),
    )


def own_top_and_bottom(
    found: Evidence, strip: Strip, facts: FilmFormat, x_mm: tuple[float, float], gate: tuple[Side, Side]
) -> tuple[Side, Side]:
    """A frame's own upper and lower side where they are seen, else the strip's."""
    own = top_and_bottom(found, strip, facts, (x_mm[0] + 0.5, x_mm[1] - 0.5))
    top, bottom = (
        mine if mine.sure and abs(mine.at - common.at) < _OWN_GATE_MM else Side(common.at, mine.seen)
        for mine, common in zip(own, gate, strict=True)
    )
    return top, bottom


def left_and_right(
    found: Evidence,
    rises: FloatArray,
    edges: FloatArray,
    x_mm: tuple[float, float],
    gate: tuple[float, float],
    reach: float,
) -> tuple[Side, Side]:
    """Left and right side of a frame as they were seen near where the rhythm puts them.

    Parameters
    ----------
    found : Evidence
        Of the strip.
    rises, edges : ndarray
        `evidence.steps_along` and where its edges lie, in mm.
    x_mm : (left, right)
        Where the sides are expected.
    gate : (top, bottom)
        Film y between which the sides run.
    reach : float
        How far from there they may be, in mm.
    """
    rows = found.rows(gate[0] + _INSET_MM, gate[1] - _INSET_MM)
    left = side_near(edges, rises, x_mm[0], reach)
    right = side_near(edges, -rises, x_mm[1], reach)
    return _finer(left, found.shine[rows], found.x_mm), _finer(right, found.shine[rows], found.x_mm)


def side_near(edges: FloatArray, steps: FloatArray, expected: float, reach: float) -> Side:
    """The strongest rise near an expected place."""
    near = np.abs(edges - expected) <= reach
    if not near.any():
        return Side(expected, 0.0)
    k = int(np.argmax(np.where(near, steps - 0.03 * np.abs(edges - expected), -np.inf)))
    peak = float(steps[k])
    if peak <= 0:
        return Side(expected, 0.0)
    # Clipped agreement is flat on top: its middle is the edge.
    above = steps > _TOP * peak
    first, last = k, k
    while first > 0 and above[first - 1]:
        first -= 1
    while last + 1 < len(steps) and above[last + 1]:
        last += 1
    return Side(float((edges[first] + edges[last]) / 2), peak)


def _finer(side: Side, shine: Floats, at: FloatArray) -> Side:
    """A side that was seen, to a small part of a grid step."""
    if side.seen < 0.1:
        return side
    exact = evidences.crossing(shine, side.at, float(at[0]), float(at[1] - at[0]))
    return side if exact is None or abs(exact - side.at) > 0.3 else Side(exact, side.seen)


def agreed(left: Side, right: Side, length: float, expected: float) -> tuple[float, float]:
    """Both sides of a frame of known length: each as it was seen, or from the other where it was not.

    Where they contradict each other, the one that was seen better and nearer to where it was `expected` (left side, mm)
    is believed.
    """
    odd = abs(right.at - left.at - length) > 0.35
    for_left = left.seen - abs(left.at - expected)
    for_right = right.seen - abs(right.at - length - expected)
    if (odd and for_left >= for_right) or right.seen < 0.1 < left.seen:
        return left.at, left.at + length
    if odd or left.seen < 0.1 < right.seen:
        return right.at - length, right.at
    if left.sure and right.sure:
        return left.at, right.at
    share = right.seen / max(left.seen + right.seen, 1e-6)
    start = (1 - share) * left.at + share * (right.at - length)
    return start, start + length
