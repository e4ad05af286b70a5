"""One roll's colour as a vector of 23 numbers: what the priors, the balance and a calibration all work on.

From density above film base ``r`` (powers of two; slides: above bare light) to linear sRGB::

    u = 2 ** (A r) ;  e = (u - toe) / max(1 - shoulder u, FLOOR) ;  rgb = M (e / 2 ** neutral)

`neutral` holds how far red and blue layers lie above green for a grey, in stops; the rows of `M` sum to 1, so that a
grey stays grey. What is left out is the exposure of the frame.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.recipe import SHOULDER_FLOOR, Recipe, as_matrix, as_triple

Array = NDArray[np.float64]

SIZE = 23
MATRIX, NEUTRAL, TOE, SHOULDER, COLOUR = slice(0, 9), slice(9, 11), slice(11, 14), slice(14, 17), slice(17, 23)

# Where the six numbers of `COLOUR` stand in the 3 x 3 colour matrix; its diagonal follows from the rows' sums.
_OFF_ROWS = np.array([0, 0, 1, 1, 2, 2])
_OFF_COLUMNS = np.array([1, 2, 0, 2, 0, 1])

# Standard deviation of density from pixel to pixel, in powers of two: 0.015 in log10, as fine film shows at 20 px/mm.
_USUAL_GRAIN = 0.05

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def density_matrix(vector: ArrayLike) -> Array:
    """The 3 x 3 matrix on densities; shape (..., 3, 3) from (..., 23)."""
    part = np.asarray(vector, dtype=float)[..., MATRIX]
    return part.reshape(*part.shape[:-1], 3, 3)


def neutral_stops(vector: ArrayLike) -> Array:
    """log2 of the layers' exposures by a grey, green 0; shape (..., 3)."""
    part = np.asarray(vector, dtype=float)[..., NEUTRAL]
    return np.stack([part[..., 0], np.zeros(part.shape[:-1]), part[..., 1]], axis=-1)


def colour_matrix(vector: ArrayLike) -> Array:
    """The 3 x 3 matrix from balanced exposures to linear sRGB; shape (..., 3, 3)."""
    part = np.asarray(vector, dtype=float)[..., COLOUR]
    matrix = np.zeros((*part.shape[:-1], 3, 3))
    matrix[..., _OFF_ROWS, _OFF_COLUMNS] = part
    diagonal = 1.0 - matrix.sum(axis=-1)
    matrix[..., np.arange(3), np.arange(3)] = diagonal
    return matrix


def grain_bias_stops(vector: ArrayLike) -> Array:
    """By how many stops usual grain lightens each layer, because exposure bends upwards with density; shape (3,).

    Rows of the matrix as long as those that tell layers in depth apart make a grainy tone lighter than its mean.
    """
    length2 = (density_matrix(vector) ** 2).sum(axis=-1)
    return np.asarray(0.5 * np.log(2.0) * _USUAL_GRAIN**2 * length2)


def to_vector(matrix: ArrayLike, neutral: ArrayLike, toe: ArrayLike, shoulder: ArrayLike, colour: ArrayLike) -> Array:
    """The vector of these parts: 3 x 3, 2, 3, 3 and 3 x 3 numbers."""
    off = np.asarray(colour, dtype=float)[_OFF_ROWS, _OFF_COLUMNS]
    parts = (np.asarray(matrix, dtype=float).ravel(), neutral, toe, shoulder, off)
    return np.concatenate([np.asarray(part, dtype=float) for part in parts])


def balanced_exposures(vector: ArrayLike, density: ArrayLike) -> Array:
    """Layer exposures with a grey's made equal: shape (..., samples, 3) from (..., 23) and (..., samples, 3)."""
    x = np.asarray(vector, dtype=float)
    u = np.exp2(np.clip(np.asarray(density, dtype=float) @ np.swapaxes(density_matrix(x), -1, -2), -24.0, 24.0))
    toe = np.clip(x[..., TOE], 0.0, 1.0)[..., None, :]
    shoulder = np.maximum(x[..., SHOULDER], 0.0)[..., None, :]
    exposure = (u - toe) / np.maximum(1.0 - shoulder * u, SHOULDER_FLOOR)
    return np.asarray(exposure * np.exp2(-neutral_stops(x))[..., None, :])


def scene(vector: ArrayLike, density: ArrayLike) -> Array:
    """Linear sRGB but for its exposure, from densities above base; shapes as in `balanced_exposures`."""
    return np.asarray(balanced_exposures(vector, density) @ np.swapaxes(colour_matrix(vector), -1, -2))


def recipe_of(vector: ArrayLike, base_log2: ArrayLike) -> Recipe:
    """The recipe of this vector over a film base (density in powers of two, shape (3,)), for linear sRGB."""
    x = np.asarray(vector, dtype=float)
    matrix = density_matrix(x)
    return Recipe(
        density_matrix=as_matrix(matrix),
        offset=as_triple(-matrix @ np.asarray(base_log2, dtype=float)),
        toe=as_triple(np.clip(x[TOE], 0.0, 1.0)),
        shoulder=as_triple(np.maximum(x[SHOULDER], 0.0)),
        colour_matrix=as_matrix(colour_matrix(x) * np.exp2(-neutral_stops(x))),
    )
