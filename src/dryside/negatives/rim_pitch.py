"""Scale from perforations of which a capture shows only the rims: cut by its border, or covered by a holder's edge.

No hole is whole, so none is found as one; but each is a bright dash at the border, and the dashes keep the pitch.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import EDGE_TO_HOLE_MM, HOLE_ACROSS_MM, HOLE_ALONG_MM, PITCH_MM
from dryside.negatives.film_view import FilmView

Floats = NDArray[np.floating[Any]]

_ROW_STEP_MM = 0.15
_REACH_MM = 0.8  # the film's own place across is only about known
_BRIGHTER = 0.08  # log10 by which a hole is lighter than the film between
_FEWEST_HOLES = 4
_SPREAD_MM = 0.12
_NEAR = 0.05  # of the pitch: how far the scale can be off at first
_REGULAR = 0.85  # length of the mean of the dashes' turns: 1 where all keep the pitch
_SEEN = 0.7


def rim_pitch_mm(view: FilmView, width_mm: float) -> float | None:
    """The pitch of cut perforations in mm of a view's own scale; None where fewer than four are seen.

    Parameters
    ----------
    view : FilmView
        The film laid flat, its scale right to a few per cent.
    width_mm : float
        Of the film.
    """
    found = []
    for upper in (True, False):
        dashes = [dash for row in _rows(view, width_mm, upper=upper) for dash in _dashes(view, row)]
        pitch = _pitch(np.array(dashes)) if dashes else None
        if pitch is not None:
            found.append(pitch)
    if not found or (len(found) == 2 and abs(found[0][0] / found[1][0] - 1) > 0.01):
        return None
    pitches, counts = zip(*found, strict=True)
    return float(np.average(pitches, weights=np.array(counts) ** 2))


def _rows(view: FilmView, width_mm: float, *, upper: bool) -> list[int]:
    """Rows that may run through the holes' inner ends."""
    start, stop = EDGE_TO_HOLE_MM - _REACH_MM, EDGE_TO_HOLE_MM + HOLE_ACROSS_MM + _REACH_MM
    if not upper:
        start, stop = width_mm - stop, width_mm - start
    part = view.rows(start, stop)
    return list(range(part.start, part.stop, max(1, round(_ROW_STEP_MM * view.pixels_per_mm))))


def _dashes(view: FilmView, row: int) -> list[float]:
    """Middles, in mm, of the bright dashes along a row that are as long as a hole or shorter."""
    inside = view.inside[row]
    if inside.mean() < _SEEN:
        return []
    light = np.maximum(view.light[row].min(axis=-1), 1e-6)
    level = np.log10(light)
    bright = inside & (level > np.median(level[inside]) + _BRIGHTER)
    if not 0.02 < bright.mean() < 0.5:
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bright.view(np.int8), [0]])))
    middles = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        length = (stop - start) / view.pixels_per_mm
        if 0.35 * HOLE_ALONG_MM < length < 1.2 * HOLE_ALONG_MM and start > 1 and stop < len(bright) - 1:
            # The light itself tells the middle to a part of a pixel.
            near = slice(max(0, start - 2), stop + 2)
            weight = np.maximum(light[near] - np.median(light[inside]), 0)
            middle = float(np.average(np.arange(near.start, min(near.stop, len(light))), weights=weight))
            middles.append(view.x0_mm + (middle + 0.5) / view.pixels_per_mm)
    return middles


def _pitch(middles: Floats) -> tuple[float, int] | None:
    """The spacing that most middles keep, and how many holes they are of."""
    tries = PITCH_MM * np.linspace(1 - _NEAR, 1 + _NEAR, 241)
    turns = np.exp(2j * np.pi * middles[None, :] / tries[:, None]).mean(axis=1)
    best = int(np.abs(turns).argmax())
    if abs(turns[best]) < _REGULAR:
        return None
    pitch, phase = tries[best], np.angle(turns[best]) / (2 * np.pi) * tries[best]
    for _ in range(3):
        number = np.round((middles - phase) / pitch)
        keep = np.abs(middles - phase - number * pitch) < _SPREAD_MM
        if keep.mean() < 0.7 or len(np.unique(number[keep])) < _FEWEST_HOLES:
            return None
        holes = np.unique(number[keep])
        at = np.array([np.median(middles[keep & (number == one)]) for one in holes])
        pitch, phase = np.polyfit(holes, at, 1)
    steps = [b - a for a, b in pairwise(holes)]
    is_pitch = max(steps) <= 3 and abs(pitch / PITCH_MM - 1) < _NEAR
    return (float(pitch), len(holes)) if is_pitch else None
