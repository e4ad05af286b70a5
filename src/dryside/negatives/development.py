"""How strongly a roll was developed: the slope over a chart's greys, or the range of densities of its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.base import FilmBase
from dryside.negatives.chart import ChartFound, find_chart
from dryside.negatives.chart_values import LINEAR_SRGB
from dryside.negatives.layers import LUMINANCE
from dryside.negatives.recipe import density_log2

Array = NDArray[np.float64]
LOG10_2 = float(np.log10(2.0))

# Lightest and densest fiftieth of a frame are left out: dust, light leaks, and the lamp in the picture.
_LOW, _HIGH = 0.02, 0.98
# A frame with less is blank, or fog: it tells nothing of development.
_LEAST_RANGE = 0.15
_FEWEST_FRAMES = 6
# Standard error of a median over that of a mean, for a normal distribution; and the scatter of one value from the
# median distance to the median.
_OF_MEDIAN, _OF_DISTANCES = 1.2533, 1.4826

# The chart's greys from white to the last but black, which lies in the toe; patches 19 to 23 in the chart's order.
_GREYS = slice(18, 23)
_GREY_LOG10 = np.log10(LINEAR_SRGB[_GREYS] @ LUMINANCE)


@dataclass(frozen=True)
class FrameTones:
    """What one frame tells of its development.

    Attributes
    ----------
    density_range : float
        Density (log10, mean of the channels) from the lightest to the densest fiftieth of the picture.
    grey_slope : float or None
        Density over log10 exposure along the greys of a 24-patch chart; None without one in the frame.
    """

    density_range: float
    grey_slope: float | None = None


@dataclass(frozen=True)
class RollDevelopment:
    """What a roll's frames tell together; None for what they do not.

    Attributes
    ----------
    grey_slope : float or None
        Median over the frames that show a chart.
    picture_range : float or None
        Median density range over the frames that show a picture. It depends on what was photographed too: `error` says
        how far.
    error : float or None
        Standard error of `picture_range`, from its scatter over the frames.
    frames : int
        How many frames `picture_range` rests on.
    """

    grey_slope: float | None
    picture_range: float | None
    error: float | None
    frames: int


def frame_tones(transmittance: NDArray[np.floating], base: FilmBase | None, *, look_for_chart: bool) -> FrameTones:
    """Measure one frame.

    Parameters
    ----------
    transmittance : ndarray of shape (rows, columns, 3)
        Of the frame, over bare light, as `roll.FrameSamples` has it.
    base : FilmBase or None
        Film base of its capture; it moves all densities alike, so that neither figure hangs on it.
    look_for_chart : bool
        Whether a 24-patch chart may be in the frame.
    """
    density = density_log2(transmittance, np.ones(3)) * LOG10_2
    low, high = np.nanquantile(density.mean(axis=-1), (_LOW, _HIGH))
    above = density if base is None else density - base.density_log2 * LOG10_2
    chart = find_chart(above) if look_for_chart else None
    return FrameTones(float(high - low), _grey_slope(chart.density) if isinstance(chart, ChartFound) else None)


def roll_development(frames: Sequence[FrameTones]) -> RollDevelopment:
    """A roll's development from its frames'.

    Notes
    -----
    A chart's exposures are known, so `grey_slope` is the contrast itself (average gradient), for the capture's colours.
    Pictures' exposures are not: their range follows the contrast only because a roll's subjects, taken together, are
    much alike from roll to roll. Frames with next to nothing on them are left out; from fewer than six nothing is said.
    """
    slopes = [one.grey_slope for one in frames if one.grey_slope is not None]
    slope = float(np.median(slopes)) if slopes else None
    ranges = np.array([one.density_range for one in frames if one.density_range >= _LEAST_RANGE])
    if len(ranges) < _FEWEST_FRAMES:
        return RollDevelopment(slope, None, None, len(ranges))
    middle = float(np.median(ranges))
    scatter = _OF_DISTANCES * float(np.median(np.abs(ranges - middle)))
    return RollDevelopment(slope, middle, _OF_MEDIAN * scatter / float(np.sqrt(len(ranges))), len(ranges))


def _grey_slope(density: Array) -> float:
    """Slope of a chart's greys; slides, whose density falls with exposure, have it as a positive number too."""
    greys = density[_GREYS].mean(axis=-1)
    return abs(float(np.polyfit(_GREY_LOG10, greys, 1)[0]))
