"""Where exactly each perforation lies: the middle between its opposite edges, to a small part of a pixel."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import HOLE_ACROSS_MM, HOLE_ALONG_MM
from dryside.negatives.film_view import sample
from dryside.negatives.types import BoolArray, FilmPlane, FloatArray

Floats = NDArray[np.floating[Any]]

# A patch reaches beyond the hole to where its neighbours and the frame are not yet met.
_REACH_MM = (1.9, 2.2)
_LEAST_CONTRAST = 1.1  # light in the hole over light beside it
_SIZE_TOLERANCE_MM = 0.42


def measure_holes(
    clear: NDArray[np.float32], plane: FilmPlane, sites_mm: Floats, *, scale: float
) -> tuple[FloatArray, BoolArray]:
    """Centres of the holes that are expected at `sites_mm`.

    Parameters
    ----------
    clear : ndarray of shape (rows, columns), float32
        Clearness (`perforations.clearness`) of the capture reduced by `scale`.
    plane : FilmPlane
        Film to capture, right to about a third of a hole.
    sites_mm : ndarray of shape (holes, 2)
        Expected centres on the film.
    scale : float
        Capture pixels to one pixel of `clear`.

    Returns
    -------
    centres : ndarray of shape (holes, 2)
        In capture pixels; meaningless where not found.
    found : ndarray of shape (holes,), bool
        Whether all four edges of a hole of the right size are there.
    """
    if not len(sites_mm):
        return np.zeros((0, 2)), np.zeros(0, bool)
    patches, x, y = _patches(clear, plane, sites_mm, scale)
    along = patches[:, np.abs(y) < 0.75].mean(axis=1)
    across = patches[:, :, np.abs(x) < 0.5].mean(axis=2)
    left, right, good_x = _opposite_edges(along, x, 1.5)
    top, bottom, good_y = _opposite_edges(across, y, 1.85)
    size_right = (np.abs(right - left - HOLE_ALONG_MM) < _SIZE_TOLERANCE_MM) & (
        np.abs(bottom - top - HOLE_ACROSS_MM) < _SIZE_TOLERANCE_MM
    )
    offset = np.stack([(left + right) / 2, (top + bottom) / 2], axis=-1)
    centres = plane.capture(sites_mm + offset)
    return centres, good_x & good_y & size_right


def _patches(
    clear: NDArray[np.float32], plane: FilmPlane, sites_mm: Floats, scale: float
) -> tuple[NDArray[np.float32], FloatArray, FloatArray]:
    per_mm = float(np.clip(plane.pixels_per_mm(np.median(sites_mm, axis=0)) / scale, 4, 14))
    x = np.arange(-_REACH_MM[0], _REACH_MM[0] + 1e-6, 1 / per_mm)
    y = np.arange(-_REACH_MM[1], _REACH_MM[1] + 1e-6, 1 / per_mm)
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    points = plane.capture(sites_mm[:, None, None, :] + grid).reshape(-1, len(x), 2)
    patches = sample(clear, points, scale=scale, outside=-1.0).reshape(len(sites_mm), len(y), len(x))
    return patches, x, y


def _opposite_edges(
    profiles: Floats, position: FloatArray, outside_mm: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Where each profile falls to half on either side of its middle."""
    middle = np.abs(position) < 0.4
    inner = np.median(profiles[:, middle], axis=1)
    low, good_low = _edge(profiles[:, position < 0][:, ::-1], -position[position < 0][::-1], inner, outside_mm)
    high, good_high = _edge(profiles[:, position > 0], position[position > 0], inner, outside_mm)
    return -low, high, good_low & good_high


def _edge(profiles: Floats, distance: FloatArray, inner: Floats, outside_mm: float) -> tuple[FloatArray, BoolArray]:
    """Distance from the middle at which profiles that run outwards cross half way to the level outside."""
    outer = np.median(profiles[:, distance >= outside_mm], axis=1)
    level = (inner + outer) / 2
    below = profiles < level[:, None]
    first = np.argmax(below, axis=1)
    first = np.where(below.any(axis=1), first, 1)
    after = np.maximum(first, 1)
    rows = np.arange(len(profiles))
    high, low = profiles[rows, after - 1], profiles[rows, after]
    part = np.clip((high - level) / np.maximum(high - low, 1e-9), 0, 1)
    place = distance[after - 1] + part * (distance[after] - distance[after - 1])
    good = (outer >= 0) & (inner > _LEAST_CONTRAST * np.maximum(outer, 0)) & below.any(axis=1) & (first > 0)
    return np.asarray(place), good
