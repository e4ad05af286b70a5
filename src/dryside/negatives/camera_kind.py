"""What kind of sensor a capture was made with, as far as its densities tell: it decides which prior of colour holds.

Most cameras and scanners see through separate filters or lights. A sensor whose three layers lie in depth sees nearly
the same in all of them: the mask of a negative then looks almost grey, and a picture's densities almost lie on a line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
CameraKind = Literal["filtered", "layered"]
CAMERA_KINDS: tuple[CameraKind, ...] = ("filtered", "layered")

# Of the two measured cameras over eleven lights and five invented stocks each (benchmarks/colour_cases.py): the mask
# shows 0.45 to 0.60 more density in blue than in red through filters, 0.12 to 0.19 through layers.
_MASK_SPLIT = {"c41": 0.30, "ecn2": 0.30}
# Spread of a picture's densities off the line and off the plane that hold most of them, against the spread along the
# line: 0.016 and more off the plane through filters, 0.006 and less through layers.
_OFF_PLANE_SPLIT = 0.009
_OFF_LINE_SPLIT = 0.085
_BLOCKS = 20


def camera_kind(process: str, base_density: ArrayLike | None, pictures: Sequence[Array]) -> CameraKind:
    """Kind of sensor behind the densities of a roll.

    Parameters
    ----------
    process : str
        'c41', 'ecn2' or 'e6'.
    base_density : array of shape (3,) or None
        Film base, log10, as the camera sees it.
    pictures : sequence of arrays of shape (rows, columns, 3)
        Densities of frames, any unit. Noise is averaged away over blocks.

    Returns
    -------
    {'filtered', 'layered'}
        'filtered' wherever the evidence is not plain: it is by far the commoner kind.
    """
    if process in _MASK_SPLIT and base_density is not None:
        base = np.asarray(base_density, dtype=float)
        if base[2] - base[0] > _MASK_SPLIT[process] or not np.isfinite(base).all():
            return "filtered"
    off_line, off_plane = _spreads(pictures)
    if off_line < _OFF_LINE_SPLIT and off_plane < _OFF_PLANE_SPLIT:
        return "layered"
    return "filtered"


def _spreads(pictures: Sequence[Array]) -> tuple[float, float]:
    """Second and third spread of the pictures' densities against the first; (1, 1) where there is too little."""
    blocks = np.concatenate([_blocks(picture) for picture in pictures]) if len(pictures) else np.empty((0, 3))
    if len(blocks) < 4 * _BLOCKS:
        return 1.0, 1.0
    spread = np.sqrt(np.maximum(np.linalg.eigvalsh(np.cov(blocks.T))[::-1], 0.0))
    if spread[0] <= 0:
        return 1.0, 1.0
    return float(spread[1] / spread[0]), float(spread[2] / spread[0])


def _blocks(picture: Array) -> Array:
    """Means over a grid of blocks, shape (blocks, 3)."""
    rows, columns = picture.shape[:2]
    down, across = max(1, rows // _BLOCKS), max(1, columns // _BLOCKS)
    whole = picture[: rows // down * down, : columns // across * across]
    means = whole.reshape(rows // down, down, columns // across, across, 3).mean(axis=(1, 3)).reshape(-1, 3)
    return np.asarray(means[np.isfinite(means).all(axis=-1)], dtype=float)
