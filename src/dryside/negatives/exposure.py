"""How light a frame is to be: one factor from the spread of its tones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dryside.negatives.rendering import LEAST_LIGHT

GREY_CARD = 0.18

# A print's middle lies at a grey card, its brightest hundredth no further above than paper still shows.
_BRIGHTEST_IN_PRINT = 2.2


def frame_level_stops(luminance: ArrayLike) -> float:
    """How far the middle of a frame's tones lies above a grey card, in stops.

    Parameters
    ----------
    luminance : array
        Linear light of the frame's samples, a grey card at 0.18 if the frame was exposed as metered. NaN is left out.

    Returns
    -------
    float
        Mean of the log luminance between the 5th and the 95th percentile, against 0.18; 0 for a frame without samples.
    """
    stops = _stops(luminance)
    if not stops.size:
        return 0.0
    low, high = np.quantile(stops, (0.05, 0.95))
    inner = stops[(stops >= low) & (stops <= high)]
    return float(inner.mean() - np.log2(GREY_CARD))


def print_stops(luminance: ArrayLike) -> float:
    """By how many stops a frame is to be lightened for a print; shapes as in `frame_level_stops`.

    The middle of its tones goes to a grey card, but never so far that the brightest hundredth leaves the paper's scale.
    """
    stops = _stops(luminance)
    if not stops.size:
        return 0.0
    room = np.log2(_BRIGHTEST_IN_PRINT) - float(np.quantile(stops, 0.99))
    return min(-frame_level_stops(luminance), room)


def scene_stops(luminance: ArrayLike, full_scale: float) -> float:
    """By how many stops a scene file scales a frame: its brightest thousandth goes to 0.9 of full scale."""
    stops = _stops(luminance)
    return float(np.log2(0.9 * full_scale) - np.quantile(stops, 0.999)) if stops.size else 0.0


def _stops(luminance: ArrayLike) -> np.ndarray:
    light = np.asarray(luminance, dtype=float).ravel()
    return np.log2(np.maximum(light[np.isfinite(light)], LEAST_LIGHT))
