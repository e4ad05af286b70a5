"""Fit a roll's colour numbers to a chart or a grey wedge: from the prior, as far as the patches ask."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.chart_values import LINEAR_SRGB, lab_of_srgb
from dryside.negatives.layers import LUMINANCE, SHOULDER, SIZE, TOE, scene
from dryside.negatives.prior import ColourPrior

Array = NDArray[np.float64]

# One CIEDE2000 of misfit in a patch counts like this many standard deviations from the prior. Squares of the difference
# (not of its root) keep the worst patches down.
_PATCH_WEIGHT = 2.0


@dataclass(frozen=True, eq=False)
class ChartFit:
    """A vector fitted to a chart.

    Attributes
    ----------
    vector : ndarray of shape (23,)
        See `layers`.
    difference : ndarray of shape (24,)
        CIEDE2000 of each patch, one exposure factor for the chart.
    """

    vector: Array
    difference: Array


def fit_chart(
    prior: ColourPrior, mean: Array, density: ArrayLike, reference: Array = LINEAR_SRGB, weight: float = _PATCH_WEIGHT
) -> ChartFit:
    """The vector that renders one or more frames of the chart truest.

    Parameters
    ----------
    prior : ColourPrior
        Of the process.
    mean : array of shape (23,)
        Its mean for this film base.
    density : array of shape (24, 3) or (frames, 24, 3)
        Of the patches above film base (slides: above bare light), in powers of two. Each frame has its own exposure.
    reference : array of shape (24, 3)
        Linear sRGB of the patches.
    weight : float
        How much the patches count against the prior.

    Returns
    -------
    ChartFit
        Differences are the mean over the frames.
    """
    from scipy.optimize import least_squares

    frames = np.asarray(density, dtype=float).reshape(-1, 24, 3)
    aim = lab_of_srgb(reference)
    whiten = prior.whitening()
    low, high = bounds()

    def residuals(vector: Array) -> Array:
        found = chart_difference(scene(vector, frames), reference, aim)
        return np.concatenate([weight * found.ravel() / np.sqrt(len(frames)), whiten @ (vector - mean)])

    start = np.clip(mean, low + 1e-9, high - 1e-9)
    vector = least_squares(residuals, start, x_scale="jac", max_nfev=40).x
    return ChartFit(vector, chart_difference(scene(vector, frames), reference, aim).mean(axis=0))


def bounds() -> tuple[Array, Array]:
    """Lowest and highest believable vector, two arrays of shape (23,)."""
    low, high = np.full(SIZE, -np.inf), np.full(SIZE, np.inf)
    low[TOE], high[TOE], low[SHOULDER], high[SHOULDER] = 0.0, 1.0, 0.0, 0.95
    return low, high


def chart_difference(rgb: Array, reference: Array, aim: Array | None = None) -> Array:
    """CIEDE2000 of charts against their reference, shape (..., 24), each with its one free exposure factor.

    Parameters
    ----------
    rgb, reference : arrays of shape (..., 24, 3) and (24, 3)
        Linear sRGB.
    aim : array of shape (24, 3), optional
        L*a*b* of the reference, where it is at hand.
    """
    from skimage.color import deltaE_ciede2000

    ratio = np.log(reference @ LUMINANCE) - np.log(np.maximum(rgb @ LUMINANCE, 1e-4))
    exposed = rgb * np.exp(np.median(ratio, axis=-1))[..., None, None]
    lab = lab_of_srgb(reference) if aim is None else aim
    return np.asarray(deltaE_ciede2000(lab_of_srgb(exposed), np.broadcast_to(lab, rgb.shape)))  # type: ignore[no-untyped-call]
