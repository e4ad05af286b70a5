"""Whether what lies around a frame can be film: the rebate is of one colour, and no picture goes beyond it.

Light only darkens a negative, so nothing in its frames is clearer than the film around them; a slide's rebate saw no
light and is the densest of it. Both hold for any stock, light and camera, and hardly for a photograph of anything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import BoolArray, LightArray

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

MASKED = frozenset({"c41", "ecn2"})
"""Processes whose film base is orange."""


def may_have_mask(process: str | None) -> bool:
    """Whether film of this process, or of one that is not known, can have an orange mask."""
    return process is None or process in MASKED


LEAST_MASK = 0.08
"""Log10 by which their base is denser in blue than in red, even over the reddest of lights."""

_NEAREST_MM, _FARTHEST_MM, _LINES = 0.2, 1.1, 3
_CELL_MM = 1.5
_SAMPLES = 3  # a side of a cell
_INSIDE = 40  # samples along each side of the frame
_INSET_MM = 0.35
_FEWEST_CELLS = 12
_TRIES = 64
_MOST_SLOPE = 0.2  # log10 from a frame's middle to its side: a light table falls off no faster
_BLACK = 0.02
_FLOOR = {True: 3e-4, False: 6e-3}  # of the brightest light, for clear and for black rebates: less is stray light
_UNSEEN_SIDE = 0.25

# Log10: how far cells of one rebate differ, and what counts as beyond it.
_ALIKE_CLEAR, _ALIKE_BLACK = 0.035, 0.25
_BEYOND_CLEAR, _BEYOND_BLACK = 0.06, 0.3


@dataclass(frozen=True)
class RebateAround:
    """What is seen around one frame.

    Attributes
    ----------
    sides : tuple of 4 floats
        Share of the film above, below, left and right of it that has one colour, at one distance from it at least (a
        holder may cover the others); NaN where a side is covered or outside the capture.
    beyond : float
        Share of the frame that is clearer than that colour (denser, on slides): none on film.
    mask : float
        How much denser that colour is in blue than in red, log10, with the colour of the light still in it.
    depth : float
        Its density below the brightest of the capture, log10.
    """

    sides: tuple[float, float, float, float]
    beyond: float
    mask: float
    depth: float

    @property
    def agreeing(self) -> float:
        """Mean over the sides that are seen."""
        return float(np.nanmean(self.sides))

    @property
    def value(self) -> float:
        """From -1 to 1: how much speaks for a frame here."""
        seen = [_UNSEEN_SIDE if np.isnan(side) else side for side in self.sides]
        return float(np.clip(np.mean(seen) - 10 * self.beyond, -1, 1))


def rebate_around(
    light: LightArray, inside: BoolArray, frame: Box, others: tuple[Box, ...], *, px_per_mm: float,
    clear_is_light: bool, brightest: Floats,
) -> RebateAround | None:  # fmt: skip
    """Look at the film around a frame in a straight view.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light, the film lying straight.
    inside : ndarray of shape (rows, columns), bool
        What of it is in the capture.
    frame, others : (x0, y0, x1, y1)
        In pixels of the view; other frames' places tell nothing.
    px_per_mm : float
        Of the view.
    clear_is_light : bool
        False for slides.
    brightest : ndarray of shape (3,)
        The capture's brightest light.

    Returns
    -------
    RebateAround or None
        None where too little around the frame is in the capture.
    """
    boxes, place = _cells(frame, others, px_per_mm)
    if len(boxes) < _FEWEST_CELLS:
        return None
    colour, seen = _means(light, inside, boxes)
    if clear_is_light:
        seen &= (colour / brightest).max(axis=1) > _BLACK
    if (np.bincount(place[seen, 0], minlength=4) > 2).sum() == 0 or seen.sum() < _FEWEST_CELLS:
        return None
    density = _density(colour[seen], brightest, _FLOOR[clear_is_light])
    at = _place((boxes[seen, 0] + boxes[seen, 2]) / 2, (boxes[seen, 1] + boxes[seen, 3]) / 2, frame)
    fits, plane = _one_colour(at, density, _ALIKE_CLEAR if clear_is_light else _ALIKE_BLACK)
    inset = _INSET_MM * px_per_mm
    columns, rows = (
        np.linspace(low + inset, high - inset, _INSIDE) for low, high in ((frame[0], frame[2]), (frame[1], frame[3]))
    )
    x, y = (grid.ravel() for grid in np.meshgrid(columns, rows))
    picture, in_view = _at(light, inside, x, y)
    above = (_density(picture, brightest, _FLOOR[clear_is_light]) - _place(x, y, frame) @ plane).mean(axis=1)[in_view]
    beyond = above < -_BEYOND_CLEAR if clear_is_light else above > _BEYOND_BLACK
    absolute = plane[0] - np.log10(brightest)
    return RebateAround(
        sides=_by_side(place[seen], fits),
        beyond=float(beyond.mean()) if len(beyond) else 1.0,
        mask=float(absolute[2] - absolute[0]),
        depth=float(plane[0].min()),
    )


def _cells(frame: Box, others: tuple[Box, ...], px_per_mm: float) -> tuple[Floats, NDArray[np.int64]]:
    """Small boxes around a frame; on which side each is (0 above, 1 below, 2 left, 3 right) and which along it."""
    x0, y0, x1, y1 = frame
    lines = np.linspace(_NEAREST_MM, _FARTHEST_MM, _LINES + 1) * px_per_mm
    rows = []
    for near, far in pairwise(lines):
        for k, (start, stop) in enumerate(((x0, x1), (x0, x1), (y0, y1), (y0, y1))):
            bounds = np.linspace(start, stop, max(2, round((stop - start) / (_CELL_MM * px_per_mm)) + 1))
            a, b = bounds[:-1], bounds[1:]
            low, high = ((y0 - far, y0 - near), (y1 + near, y1 + far), (x0 - far, x0 - near), (x1 + near, x1 + far))[k]
            full = [np.full(len(a), low), np.full(len(a), high)]
            parts = (a, full[0], b, full[1]) if k < 2 else (full[0], a, full[1], b)
            rows.append(np.column_stack([*parts, np.full(len(a), k), np.arange(len(a))]))
    cells = np.concatenate(rows)
    free = np.ones(len(cells), bool)
    for other in others:
        free &= (np.minimum(cells[:, 2], other[2]) - np.maximum(cells[:, 0], other[0]) <= 0.05 * px_per_mm) | (
            np.minimum(cells[:, 3], other[3]) - np.maximum(cells[:, 1], other[1]) <= 0.05 * px_per_mm
        )
    return cells[free, :4], cells[free, 4:].astype(np.int64)


def _means(light: LightArray, inside: BoolArray, boxes: Floats) -> tuple[Floats, BoolArray]:
    part = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    x = boxes[:, :1] + part * (boxes[:, 2:3] - boxes[:, :1])
    y = boxes[:, 1:2] + part * (boxes[:, 3:] - boxes[:, 1:2])
    grid_x, grid_y = np.broadcast_arrays(x[:, None, :], y[:, :, None])
    values, seen = _at(light, inside, grid_x.reshape(len(boxes), -1), grid_y.reshape(len(boxes), -1))
    return np.asarray(values.mean(axis=1)), np.asarray(seen.all(axis=1))


def _at(light: LightArray, inside: BoolArray, x: Floats, y: Floats) -> tuple[Floats, BoolArray]:
    """Light at pixels, and whether it is in the capture."""
    rows, columns = light.shape[:2]
    i, j = np.floor(y).astype(np.int64), np.floor(x).astype(np.int64)
    there = (i >= 0) & (j >= 0) & (i < rows) & (j < columns)
    i, j = np.clip(i, 0, rows - 1), np.clip(j, 0, columns - 1)
    return light[i, j], there & inside[i, j]


def _density(light: Floats, brightest: Floats, floor: float) -> Floats:
    return np.asarray(-np.log10(np.maximum(light / brightest, floor)))


def _place(x: Floats, y: Floats, frame: Box) -> Floats:
    """Rows (1, x, y), from -1 to 1 over the frame."""
    u = (2 * x - frame[0] - frame[2]) / (frame[2] - frame[0])
    v = (2 * y - frame[1] - frame[3]) / (frame[3] - frame[1])
    return np.stack([np.ones_like(u), u, v], axis=-1)


@cache
def _chosen(count: int) -> NDArray[np.int64]:
    rng = np.random.default_rng(7)
    return np.array([rng.choice(count, 3, replace=False) for _ in range(_TRIES)])


def _one_colour(at: Floats, density: Floats, alike: float) -> tuple[BoolArray, Floats]:
    """The colour, gently sloping over the frame, that most cells share: which do, and its three coefficients."""
    chosen = _chosen(len(at))
    systems = at[chosen]
    good = np.abs(np.linalg.det(systems)) > 0.15
    planes = np.zeros((_TRIES, 3, 3))
    planes[:, 0] = density[chosen[:, 0]]
    planes[good] = np.linalg.solve(systems[good], density[chosen[good]])
    steep = np.abs(planes[:, 1:]).max(axis=(1, 2)) > _MOST_SLOPE
    planes[steep] = 0
    planes[steep, 0] = density[chosen[steep, 0]]
    fits = np.asarray((np.abs(density[None] - at @ planes) < alike).all(axis=2))
    best = int(fits.sum(axis=1).argmax())
    fit, plane = fits[best], planes[best]
    for _ in range(2):
        if fit.sum() < 6:
            break
        plane = np.linalg.lstsq(at[fit], density[fit], rcond=None)[0]
        fit = np.asarray((np.abs(density - at @ plane) < alike).all(axis=1))
    return np.asarray(fit), np.asarray(plane)


def _by_side(place: NDArray[np.int64], fits: BoolArray) -> tuple[float, float, float, float]:
    """For each side the share of its length where a cell fits."""
    shares = []
    for k in range(4):
        on_side = place[:, 0] == k
        along = place[on_side, 1]
        seen = np.unique(along)
        shares.append(len(np.unique(along[fits[on_side]])) / len(seen) if len(seen) > 2 else float("nan"))
    above, below, left, right = shares
    return above, below, left, right
