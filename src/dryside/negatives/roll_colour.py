"""A roll's colour numbers: from a profile, from a chart on the roll, or from its pictures under the prior."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.balance import balanced_vector, layer_ratios, tones_of
from dryside.negatives.calibrate import NO_GREYS, fit_chart_by_best_prior, fit_greys
from dryside.negatives.camera_kind import CameraKind, camera_kind
from dryside.negatives.chart import ChartFound, find_chart
from dryside.negatives.layers import NEUTRAL, neutral_stops
from dryside.negatives.picture_features import picture_features
from dryside.negatives.prior import colour_prior, picture_prior
from dryside.negatives.profile import Profile
from dryside.negatives.recipe import Triple, as_triple

Array = NDArray[np.float64]
LOG10_2 = float(np.log10(2.0))

# The brightest hundredth of a roll's pictures as density above film base, mean of the channels: a slope of 0.65 over
# the 2.4 log exposures from the toe to a bright sky (common practice puts a white wall near 1.2).
DENSEST_PICTURE = {"c41": 1.6, "ecn2": 1.35}

# Lamps and shade move a frame's colours along this line of layer ratios (red and blue over green, in stops): what a
# daylight film records from 2,856 K to 7,500 K.
_LAMP_LINE = np.array([0.45, -0.89])
_STRONG_STOPS = 1.0
_PART_CORRECTED = 0.75


@dataclass(frozen=True, eq=False)
class RollColour:
    """What a roll's colour rests on.

    Attributes
    ----------
    vector : ndarray of shape (23,)
        See `layers`.
    rests_on : {'profile', 'chart', 'pictures'}
        The strongest evidence there was.
    scale : float
        Densities are multiplied by this first: below 1 for a capture steeper than film.
    balance_stops : 3 floats
        How far the neutral lies from the process's usual, mean 0.
    """

    vector: Array
    rests_on: str
    scale: float
    balance_stops: Triple


def roll_colour(
    process: str,
    pictures: Sequence[Array],
    bases: Sequence[Array],
    profile: Profile | None = None,
    *,
    use_charts: bool = True,
) -> RollColour:
    """The colour numbers of a roll of colour film.

    Parameters
    ----------
    process : {'c41', 'ecn2', 'e6'}
        How it was developed.
    pictures : sequence of arrays of shape (rows, columns, 3)
        Density of each frame above film base (slides: above bare light), in powers of two.
    bases : sequence of arrays of shape (3,)
        Film base of each, in powers of two.
    profile : Profile, optional
        Of this stock, light and camera: taken as it is.
    use_charts : bool
        Whether a 24-patch chart seen on the roll is fitted.

    Returns
    -------
    RollColour
    """
    base = np.median(bases, axis=0) * LOG10_2 if len(bases) else np.zeros(3)
    usual = colour_prior(process).mean(base)
    read = [tones_of(picture.reshape(-1, 3), usual) for picture in pictures]
    telling = [picture for picture, tones in zip(pictures, read, strict=True) if not tones.is_wedge]
    kind = camera_kind(process, base if len(bases) else None, telling)
    mean = colour_prior(process, kind).mean(base)
    if profile is not None:
        return RollColour(profile.numbers, "profile", 1.0, _shift(profile.numbers, mean))
    scale = _believable_scale(pictures, process)
    found = [find_chart(picture) for picture in pictures] if use_charts and scale == 1.0 else []
    charts = [chart.density for chart in found if isinstance(chart, ChartFound)]
    if charts:
        wedges = [one.density for one, chart in zip(read, found, strict=True) if one.is_wedge and not chart]
        known = np.concatenate(wedges or [NO_GREYS])
        vector = fit_chart_by_best_prior(process, base, np.array(charts), greys=known).vector
        return RollColour(vector, "chart", scale, _shift(vector, mean))
    vector = vector_from_pictures(process, kind, base, [picture.reshape(-1, 3) * scale for picture in pictures])
    return RollColour(vector, "pictures", scale, _shift(vector, mean))


def vector_from_pictures(process: str, kind: CameraKind, base_density: Array, pictures: Sequence[Array]) -> Array:
    """The colour numbers that pictures without a chart tell.

    What their features tell narrows the prior; under what is left of it as many tones as can be come out neutral. Where
    a frame is a grey wedge, its tones do.

    Parameters
    ----------
    process, kind
        Of the film and of the sensor.
    base_density : array of shape (3,)
        Film base, log10; zeros for slides.
    pictures : sequence of arrays of shape (samples, 3)
        Densities above base in powers of two.
    """
    mean = colour_prior(process, kind).mean(base_density)
    each = [tones for tones in (tones_of(picture, mean) for picture in pictures) if len(tones.weight)]
    if not each:
        return mean
    told = picture_prior(process, kind)
    narrowed = mean + told.shift(picture_features(base_density, each, mean))
    wedges = [tones.density for tones in each if tones.is_wedge]
    if wedges:
        return fit_greys(narrowed, told.covariance, np.concatenate(wedges))
    return balanced_vector(narrowed, told.covariance, each)


def frame_vectors(vector: Array, pictures: Sequence[Array]) -> list[tuple[Array, float]]:
    """The roll's vector for each frame, and by how many stops its light differed where that is plain.

    A frame's tones are compared with those of the whole roll along the line on which lamps and shade lie; only a
    difference that no subject explains is corrected, and not to the full: lamplight may look like lamplight.
    """
    middles = [_middle_ratio(vector, picture.reshape(-1, 3)) for picture in pictures]
    if len(middles) < 3:
        return [(vector, 0.0) for _ in pictures]
    usual = np.median(middles, axis=0)
    made = []
    for middle in middles:
        along = float((middle - usual) @ _LAMP_LINE)
        across = float(np.abs((middle - usual) @ (_LAMP_LINE[1], -_LAMP_LINE[0])))
        if abs(along) < _STRONG_STOPS or across > 0.5 * abs(along):
            made.append((vector, 0.0))
            continue
        moved = vector.copy()
        moved[NEUTRAL] += _PART_CORRECTED * along * _LAMP_LINE
        made.append((moved, along))
    return made


def _middle_ratio(vector: Array, density: Array) -> Array:
    """Median layer ratios over a frame's distinct tones, shape (2,)."""
    tones = tones_of(density, vector)
    return np.median(layer_ratios(vector, tones.density), axis=0) if len(tones.weight) else np.zeros(2)


def _shift(vector: Array, mean: Array) -> Triple:
    moved = neutral_stops(vector) - neutral_stops(mean)
    return as_triple(moved - moved.mean())


def _believable_scale(pictures: Sequence[Array], process: str) -> float:
    """1, or less where densities are more than this film can have: a capture with a display's tone curve in it."""
    if process not in DENSEST_PICTURE or not len(pictures):
        return 1.0
    mean = np.concatenate([picture.reshape(-1, 3) for picture in pictures]).mean(axis=1)
    highest = float(np.nanquantile(mean, 0.99)) * LOG10_2
    return 1.0 if highest <= DENSEST_PICTURE[process] else DENSEST_PICTURE[process] / highest
