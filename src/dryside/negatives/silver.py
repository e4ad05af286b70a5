"""Black and white: silver has no colour, so its density is one number, and any mix of channels measures it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.chart_values import LINEAR_SRGB
from dryside.negatives.layers import LUMINANCE
from dryside.negatives.recipe import Recipe, as_triple

# Contrast index that general-purpose negatives are developed to (0.56 to 0.62: common practice, from memory).
CONTRAST_INDEX = 0.58

# Green is the sharpest and least noisy channel of most cameras; the others bring a little more light.
CHANNEL_MIX = np.array([0.15, 0.7, 0.15])

# Part of the base's own light taken off: a silver toe is sharper than the formula's.
TOE = 0.9

# Misfit of a patch, in stops, that counts like one standard deviation from the usual contrast and toe.
_STEP_SIGMA = 0.1


def silver_recipe(base_log2: NDArray[np.float64], contrast: float = CONTRAST_INDEX, toe: float = TOE) -> Recipe:
    """Scene recipe of a silver negative.

    Parameters
    ----------
    base_log2 : array of shape (3,)
        Film base, density in powers of two.
    contrast : float
        Slope of density over log10 exposure, above 0.
    toe : float
        Part of the base's own light taken off, in [0, 1].
    """
    row = CHANNEL_MIX / contrast
    offset = -float(row @ base_log2)
    return Recipe((as_triple(row),) * 3, (offset, offset, offset), (toe, toe, toe))


def fit_silver(density: ArrayLike, luminance: ArrayLike) -> tuple[float, float]:
    """Contrast and toe from patches of known luminance.

    Parameters
    ----------
    density : array of shape (patches, 3)
        Above film base, in powers of two.
    luminance : array of shape (patches,)
        Relative, above 0.

    Returns
    -------
    contrast, toe : float
    """
    from scipy.optimize import least_squares

    mixed = np.asarray(density, dtype=float) @ CHANNEL_MIX
    known = np.log2(np.asarray(luminance, dtype=float))

    def residuals(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        contrast, toe, level = numbers
        exposure = np.log2(np.maximum(np.exp2(mixed / contrast) - toe, 1e-4)) - level
        off = np.asarray(exposure - known) / _STEP_SIGMA
        return np.append(off, [(contrast - CONTRAST_INDEX) / 0.15, (toe - TOE) / 0.1])

    start = [CONTRAST_INDEX, TOE, float(np.median(mixed / CONTRAST_INDEX - known))]
    found = least_squares(residuals, start, bounds=([0.2, 0.0, -40.0], [1.6, 1.0, 40.0]), loss="soft_l1").x
    return float(found[0]), float(found[1])


def chart_luminance(reference: NDArray[np.float64] = LINEAR_SRGB) -> NDArray[np.float64]:
    """Relative luminance of a chart's patches, shape (24,), from linear sRGB."""
    return np.asarray(reference @ LUMINANCE)
