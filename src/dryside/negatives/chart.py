"""A 24-patch chart in a frame, found by its layout: six by four flat patches on a grid, any way round, seen askew.

Two things must agree before a chart is believed: enough patches lie on one projective grid, and their densities, read
in the chart's order in one of the ways the grid can lie, follow the published colours.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.chart_values import LINEAR_SRGB
from dryside.negatives.layers import LUMINANCE

Array = NDArray[np.float64]

COLUMNS, ROWS = 6, 4
_WORKING_SIDE = 384
_MOST_MAGNIFIED = 3.0
_FEWEST_ON_GRID = 11
_LEAST_FIT = 0.82
# Where nearly all patches lie on one grid by themselves, colours need to say less: layered sensors hardly see them.
_MOSTLY_SEEN, _LEAST_FIT_MOSTLY_SEEN = 17, 0.72
_COLOURLESS = 0.01
# A second, smoother look is worth it where nothing flat was left, or half a chart lies on a grid.
_SO_FEW_IS_GRAIN, _HALF_SEEN = 2, 8
_SMOOTHER = 90.0  # a picture's long side to the standard deviation of a second, smoother look
_FLAT_QUANTILES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)

Grid = tuple[Array, int]


@dataclass(frozen=True, eq=False)
class ChartFound:
    """A chart in a frame.

    Attributes
    ----------
    density : ndarray of shape (24, 3)
        Median of each patch's inner part, as given to `find_chart`, in the chart's own order: row by row, dark skin
        first, black last.
    spread : ndarray of shape (24,)
        Robust standard deviation of density in each patch, worst channel.
    centres : ndarray of shape (24, 2)
        x, y of the patches in parts of the picture's width and height.
    on_grid : int
        How many of the 24 patches were seen by themselves.
    fit : float
        How well densities follow the published colours, 1 at best (part of variance explained by one affine map).
    mirrored : bool
        Whether the chart lies mirrored in the picture.
    """

    density: Array
    spread: Array
    centres: Array
    on_grid: int
    fit: float
    mirrored: bool


@dataclass(frozen=True)
class NoChart:
    """No chart was found; false, and `why` says what was missing; `doubtful` where grain may have hidden it."""

    why: str
    doubtful: bool = False

    def __bool__(self) -> bool:
        return False


def find_chart(density: NDArray[np.floating]) -> ChartFound | NoChart:
    """Find a 24-patch chart.

    Parameters
    ----------
    density : array of shape (rows, columns, 3)
        Density of a frame (any base, any power), at least 8 pixels a patch. Negative or positive film.

    Returns
    -------
    ChartFound or NoChart
    """
    import cv2

    picture = np.nan_to_num(np.asarray(density, dtype=np.float32))
    found = _find_in(_working_picture(picture))
    if isinstance(found, ChartFound) or not found.doubtful:
        return found
    # Coarse grain breaks patches up: once more, with as much smoothing as patches bear.
    smooth = cv2.GaussianBlur(picture, (0, 0), max(picture.shape[:2]) / _SMOOTHER)
    again = _find_in(_working_picture(np.asarray(smooth, dtype=np.float32)))
    return again or found


def _find_in(work: NDArray[np.float32]) -> ChartFound | NoChart:
    patches = _flat_patches(work)
    if len(patches) < _FEWEST_ON_GRID:
        broken = len(patches) <= _SO_FEW_IS_GRAIN
        return NoChart(f"{len(patches)} flat patches are seen, {_FEWEST_ON_GRID} are needed", broken)
    grids = _grids(patches)
    seen = max((count for _, count in grids), default=0)
    if seen < _FEWEST_ON_GRID:
        why = f"{seen} patches lie on a grid of six by four, {_FEWEST_ON_GRID} are needed"
        return NoChart(why, seen >= _HALF_SEEN)
    read = [_read_in_order(work, *grid) for grid in grids if grid[1] >= max(_FEWEST_ON_GRID, seen - 5)]
    charts = [one for one in read if isinstance(one, ChartFound)]
    if not charts:
        return NoChart("the grid of patches reaches out of the picture", doubtful=True)
    best = max(charts, key=lambda chart: chart.fit)
    if best.fit < (_LEAST_FIT if best.on_grid < _MOSTLY_SEEN else _LEAST_FIT_MOSTLY_SEEN):
        return NoChart(f"patches lie on a grid, but their densities do not follow the chart ({best.fit:.2f} of 1)")
    return best


def _working_picture(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """The picture at working size, its grain smoothed and its edges kept."""
    import cv2

    side = max(picture.shape[:2])
    factor = min(_WORKING_SIDE, _MOST_MAGNIFIED * side) / side
    size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
    if factor < 1:
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    second = np.abs(cv2.Laplacian(picture, cv2.CV_32F))
    grain = float(np.median(second)) / 0.6745 / np.sqrt(20.0)
    smooth = cv2.bilateralFilter(cv2.medianBlur(picture, 3), 5, 6.0 * grain + 1e-4, 2.0)
    return np.asarray(cv2.resize(smooth, size, interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _flat_patches(work: NDArray[np.float32]) -> Array:
    """Flat four-sided areas: rows of x, y, side (root of the area), in working pixels."""
    import cv2

    steepness = _steepness(work)
    # Each channel in units of its own grain, but where one has hardly any.
    of_grain = np.quantile(steepness, 0.4, axis=(0, 1))
    slope = (steepness / np.maximum(of_grain, max(0.3 * float(of_grain.max()), 1e-6))).sum(axis=-1)
    smooth = np.asarray(cv2.blur(slope.astype(np.float32), (5, 5)), dtype=np.float32)
    found: list[tuple[float, float, float]] = []
    for quantile in _FLAT_QUANTILES:
        flat = (smooth < np.quantile(smooth, quantile)).astype(np.uint8)
        found += _squares(np.asarray(cv2.morphologyEx(flat, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8))
    return _without_doubles(np.array(found).reshape(-1, 3))


def _steepness(work: NDArray[np.float32]) -> NDArray[np.float32]:
    """How steep each channel is, shape (rows, columns, 3)."""
    import cv2

    each = [
        np.hypot(cv2.Scharr(work[..., channel], cv2.CV_32F, 1, 0), cv2.Scharr(work[..., channel], cv2.CV_32F, 0, 1))
        for channel in range(3)
    ]
    return np.asarray(np.stack(each, axis=-1), dtype=np.float32)


def _squares(flat: NDArray[np.uint8]) -> list[tuple[float, float, float]]:
    """Areas of a mask that are about as wide as high and nearly fill their box: x, y, side."""
    import cv2

    found = []
    outlines, _ = cv2.findContours(flat, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for outline in outlines:
        covered = cv2.contourArea(outline)
        if not flat.size / 2500 < covered < flat.size / 12:
            continue
        (x, y), (one, other), _ = cv2.minAreaRect(outline)
        if max(one, other) > 2.0 * min(one, other) or covered < 0.68 * one * other:
            continue
        found.append((x, y, float(np.sqrt(covered))))
    return found


def _without_doubles(patches: Array) -> Array:
    """Of patches found twice, the larger."""
    kept: list[Array] = []
    for patch in patches[np.argsort(-patches[:, 2])]:
        if all(np.hypot(*(patch[:2] - other[:2])) > 0.5 * other[2] for other in kept):
            kept.append(patch)
    return np.array(kept).reshape(-1, 3)


def _grids(patches: Array) -> list[Grid]:
    """Homographies from grid to working pixels that patches lie on, and how many; the best of each start."""
    found: list[Grid] = []
    for index, patch in enumerate(patches):
        away = patches[:, :2] - patch[:2]
        distance = np.hypot(*away.T)
        alike = (np.abs(np.log(patches[:, 2] / patch[2])) < 0.55) & (distance > 0.9 * patch[2])
        near = np.argsort(np.where(alike, distance, np.inf))[:6]
        near = near[alike[near] & (distance[near] < 2.6 * patch[2]) & (near != index)]
        for first, second in product(near, near):
            one, other = away[first], away[second]
            turn = (one[0] * other[1] - one[1] * other[0]) / (distance[first] * distance[second])
            if turn < 0.8 or not 0.6 < distance[first] / distance[second] < 1.67:
                continue
            found += _grow(patches, patch[:2], one, other)
    found.sort(key=lambda grid: -grid[1])
    return found[:60]


def _grow(patches: Array, origin: Array, one: Array, other: Array) -> list[Grid]:
    """Extend two steps to grids of six by four, (0, 0) at a corner patch, and count the patches on each.

    Where whole rows were not seen there are several ways to lay the window; each is given.
    """
    import cv2

    homography = np.column_stack([np.append(one, 0), np.append(other, 0), np.append(origin, 1)])
    for _ in range(3):
        cell, on = _cells(patches, homography)
        windows = _windows(cell[on].astype(int))
        if not windows or windows[0][1] < 6:
            return []
        (left, top), _count = windows[0]
        inside = on & (cell >= (left, top)).all(axis=1) & (cell < (left + COLUMNS, top + ROWS)).all(axis=1)
        fitted, _ = cv2.findHomography(cell[inside], patches[inside, :2], 0)
        if fitted is None or abs(np.linalg.det(fitted)) < 1e-9:
            return []
        homography = fitted
    shift = [np.array([[1, 0, left], [0, 1, top], [0, 0, 1]]) for (left, top), _ in windows]
    return [(homography @ move, count) for move, (_, count) in zip(shift, windows, strict=True)]


def _cells(patches: Array, homography: Array) -> tuple[Array, NDArray[np.bool_]]:
    """The grid cell nearest to each patch, and which patches lie on theirs."""
    back = np.c_[patches[:, :2], np.ones(len(patches))] @ np.linalg.inv(homography).T
    place = back[:, :2] / back[:, 2:]
    cell = np.round(place)
    return cell, (np.abs(place - cell) < 0.24).all(axis=1) & (np.abs(cell) < 7).all(axis=1)


def _windows(cells: NDArray[np.int_]) -> list[tuple[tuple[int, int], int]]:
    """Corners of 6 x 4 windows over grid cells and how many cells each holds: the fullest and those within 2 of it."""
    taken = {(int(x), int(y)) for x, y in cells}
    if not taken:
        return []
    counts = []
    for left in range(min(x for x, _ in taken) - 3, max(x for x, _ in taken) + 1):
        for top in range(min(y for _, y in taken) - 2, max(y for _, y in taken) + 1):
            inside = sum(left <= x < left + COLUMNS and top <= y < top + ROWS for x, y in taken)
            counts.append(((left, top), inside))
    counts.sort(key=lambda window: -window[1])
    return [window for window in counts if window[1] >= counts[0][1] - 2][:12]


def _read_in_order(work: NDArray[np.float32], homography: Array, on_grid: int) -> ChartFound | None:
    """Densities of the patches, in the one of four orders that best follows the chart; None off the picture."""
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    grid = np.stack([column.ravel(), row.ravel()], axis=1).astype(float)
    read = [_patch(work, homography, cell) for cell in grid]
    if any(patch is None for patch in read):
        return None
    density = np.array([patch[0] for patch in read if patch is not None])
    spread = np.array([patch[1] for patch in read if patch is not None])
    centres = _project(homography, grid) / (work.shape[1], work.shape[0])
    order = np.arange(COLUMNS * ROWS).reshape(ROWS, COLUMNS)
    orders = [order, order[::-1, ::-1], order[:, ::-1], order[::-1, :]]
    fits = [_fit(density[one.ravel()]) for one in orders]
    best = int(np.argmax(fits))
    chosen = orders[best].ravel()
    turned = np.linalg.det(homography) < 0
    return ChartFound(density[chosen], spread[chosen], centres[chosen], on_grid, fits[best], turned ^ (best >= 2))


def _project(homography: Array, grid: Array) -> Array:
    points = np.c_[grid, np.ones(len(grid))] @ homography.T
    return np.asarray(points[:, :2] / points[:, 2:])


def _patch(work: NDArray[np.float32], homography: Array, cell: Array) -> tuple[Array, float] | None:
    """Median density and spread of the inner part of a patch; None outside the picture."""
    step = np.linspace(-0.2, 0.2, 7)
    inner = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2) + cell
    x, y = np.floor(_project(homography, inner)).astype(int).T
    if x.min() < 0 or y.min() < 0 or x.max() >= work.shape[1] or y.max() >= work.shape[0]:
        return None
    values = work[y, x].astype(float)
    middle = np.median(values, axis=0)
    return middle, float((np.median(np.abs(values - middle), axis=0) * 1.4826).max())


def _fit(density: Array) -> float:
    """Part of the variance of the chart's log exposures that an affine map of densities explains.

    Silver has no colour: its one density can only follow the patches' luminance.
    """
    softened = LINEAR_SRGB * 0.8 + 0.2 * LINEAR_SRGB.mean(axis=1, keepdims=True)
    aim = np.log2(np.maximum(softened, 0.01))
    if _is_colourless(density):
        density = density.mean(axis=1, keepdims=True)
        aim = np.log2(LINEAR_SRGB @ LUMINANCE)[:, None]
    known = np.c_[density, np.ones(len(density))]
    solved = np.linalg.lstsq(known, aim, rcond=None)[0]
    left = aim - known @ solved
    return 1.0 - float((left**2).sum() / ((aim - aim.mean(axis=0)) ** 2).sum())


def _is_colourless(density: Array) -> bool:
    """Whether the channels tell nothing that their mean does not."""
    mean = density.mean(axis=1)
    known = np.c_[mean, np.ones(len(mean))]
    left = density - known @ np.linalg.lstsq(known, density, rcond=None)[0]
    return bool((left**2).sum() < _COLOURLESS * ((density - density.mean(axis=0)) ** 2).sum())
