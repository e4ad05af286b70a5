"""Fit a roll's colour numbers to a chart or a grey wedge: from the prior, as far as the patches ask."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.camera_kind import CAMERA_KINDS
from dryside.negatives.chart_values import LINEAR_SRGB, lab_of_srgb
from dryside.negatives.layers import LUMINANCE, balanced_exposures, grain_bias_stops, scene
from dryside.negatives.prior import ColourPrior, colour_prior, whitening

Array = NDArray[np.float64]

# One CIEDE2000 of misfit in a patch counts like this many standard deviations from the prior.
_PATCH_WEIGHT = 1.0

# Tones of a wedge: so far off grey is worth one standard deviation, all of them together this many tones.
_GREY_SIGMA_STOPS = 0.03
_GREYS_WORTH = 40.0
_FARTHEST_STOPS = 2.0  # what lies further off counts no more
NO_GREYS: Array = np.empty((0, 3))

# So much lightening by grain is worth one standard deviation.
GRAIN_SIGMA_STOPS = 0.03


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
    prior: ColourPrior,
    mean: Array,
    density: ArrayLike,
    reference: Array = LINEAR_SRGB,
    *,
    weight: float = _PATCH_WEIGHT,
    greys: Array = NO_GREYS,
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
    greys : array of shape (tones, 3), optional
        Densities, as above, of other tones of the roll that are known to be grey: a wedge.

    Returns
    -------
    ChartFit
        Differences are the mean over the frames.
    """
    frames = np.asarray(density, dtype=float).reshape(-1, 24, 3)
    aim, units = lab_of_srgb(reference), difference_units(reference)
    whiten = prior.whitening()

    def residuals(vector: Array) -> Array:
        found = chart_misfit(scene(vector, frames), reference, aim, units)
        coloured = _off_grey(vector, greys) / _GREY_SIGMA_STOPS * np.sqrt(_GREYS_WORTH / max(len(greys), 1))
        return np.concatenate(
            [
                weight * found.ravel() / np.sqrt(len(frames)),
                coloured.ravel(),
                grain_bias_stops(vector) / GRAIN_SIGMA_STOPS,
                whiten @ (vector - mean),
            ]
        )

    vector = most_likely(residuals, mean, whiten)
    return ChartFit(vector, chart_difference(scene(vector, frames), reference, aim).mean(axis=0))


def fit_greys(mean: Array, covariance: Array, greys: Array) -> Array:
    """The vector that renders tones known to be grey neutral, and else stays as believed.

    Parameters
    ----------
    mean, covariance : arrays of shape (23,) and (23, 23)
        What is believed.
    greys : array of shape (tones, 3)
        Densities above film base (slides: above bare light), in powers of two.
    """
    whiten = whitening(covariance)

    def residuals(vector: Array) -> Array:
        coloured = _off_grey(vector, greys) / _GREY_SIGMA_STOPS * np.sqrt(_GREYS_WORTH / max(len(greys), 1))
        return np.concatenate(
            [coloured.ravel(), grain_bias_stops(vector) / GRAIN_SIGMA_STOPS, whiten @ (vector - mean)]
        )

    return most_likely(residuals, mean, whiten)


def most_likely(residuals: Callable[[Array], Array], mean: Array, whiten: Array) -> Array:
    """The vector of least squares, sought in steps of the prior's own spread.

    Parameters
    ----------
    residuals : callable
        From a vector of 23 numbers to what is to be small, the distance from the prior included.
    mean : array of shape (23,)
        Where the search starts.
    whiten : array of shape (23, 23)
        See `prior.whitening`.
    """
    from scipy.optimize import least_squares

    spread = np.linalg.inv(whiten)
    step = least_squares(lambda away: residuals(mean + spread @ away), np.zeros(len(mean)), max_nfev=60).x
    return np.asarray(mean + spread @ step)


def _off_grey(vector: Array, greys: Array) -> Array:
    """log2 of red and blue layers over green's, shape (tones, 2)."""
    stops = np.log2(np.maximum(balanced_exposures(vector, greys), 1e-3))
    return np.asarray(_FARTHEST_STOPS * np.tanh((stops[:, [0, 2]] - stops[:, [1]]) / _FARTHEST_STOPS))


def fit_chart_by_best_prior(
    process: str,
    base_density: ArrayLike,
    density: ArrayLike,
    reference: Array = LINEAR_SRGB,
    *,
    greys: Array = NO_GREYS,
) -> ChartFit:
    """`fit_chart` under the prior of each kind of sensor; the one that fits the patches best.

    Parameters
    ----------
    process : {'c41', 'ecn2', 'e6'}
        How the film was developed.
    base_density : array of shape (3,)
        Film base, log10.
    density, reference, greys
        As in `fit_chart`.
    """
    priors = [colour_prior(process, kind) for kind in CAMERA_KINDS]
    fits = [fit_chart(prior, prior.mean(base_density), density, reference, greys=greys) for prior in priors]
    return min(fits, key=lambda fit: float(fit.difference.mean()))


def difference_units(reference: Array) -> Array:
    """3 x 3 for each patch, shape (24, 3, 3): from steps in L*a*b* to steps in lightness, chroma and hue by CIEDE2000.

    The formula's weights at the reference colours (Sharma, Wu, Dalal 2005, without the rotation of blues). Unlike the
    difference itself, these steps have a sign: a fit by squares does not stall where a patch is nearly right.
    """
    lightness, a, b = lab_of_srgb(reference).T
    seventh = np.hypot(a, b) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
    chroma, hue = np.hypot(a * stretch, b), np.arctan2(b, a * stretch)
    of_hue = (
        1.0
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    middle = (lightness - 50.0) ** 2
    units = np.zeros((*lightness.shape, 3, 3))
    units[..., 0, 0] = 1.0 / (1.0 + 0.015 * middle / np.sqrt(20.0 + middle))
    units[..., 1, 1:] = np.stack([np.cos(hue) * stretch, np.sin(hue)], axis=-1) / (1.0 + 0.045 * chroma)[..., None]
    across = 1.0 + 0.015 * chroma * of_hue
    units[..., 2, 1:] = np.stack([-np.sin(hue) * stretch, np.cos(hue)], axis=-1) / across[..., None]
    return units


def chart_misfit(rgb: Array, reference: Array, aim: Array, units: Array) -> Array:
    """Signed steps in lightness, chroma and hue of charts from their reference, shape (..., 24, 3).

    Parameters
    ----------
    rgb, reference : arrays of shape (..., 24, 3) and (24, 3)
        Linear sRGB; each chart has its one free exposure factor.
    aim, units : arrays of shape (24, 3) and (24, 3, 3)
        `lab_of_srgb` and `difference_units` of the reference.
    """
    away = lab_of_srgb(_exposed(rgb, reference)) - aim
    return np.asarray(np.einsum("pij,...pj->...pi", units, away))


def _exposed(rgb: Array, reference: Array) -> Array:
    """Charts with their one free exposure factor: the median ratio of luminances is 1."""
    ratio = np.log(reference @ LUMINANCE) - np.log(np.maximum(rgb @ LUMINANCE, 1e-4))
    return np.asarray(rgb * np.exp(np.median(ratio, axis=-1))[..., None, None])


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

    lab = lab_of_srgb(reference) if aim is None else aim
    return np.asarray(deltaE_ciede2000(lab_of_srgb(_exposed(rgb, reference)), np.broadcast_to(lab, rgb.shape)))  # type: ignore[no-untyped-call]
