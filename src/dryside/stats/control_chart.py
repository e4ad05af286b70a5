"""A control chart of single values: does a process drift, or is this its usual scatter?

Limits stand three standard deviations either side of the mean, the deviation taken from the differences of neighbours
and not from all values, so that a drift does not widen its own limits: 3 / 1.128 = 2.66 mean moving ranges.

References
----------
ISO 7870-2, Shewhart control charts (chart of individuals); NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

D2_OF_TWO = 1.128  # mean range of two values of a normal distribution, in its standard deviations
SIGMAS = 3
RUN = 8
"""So many values in a row on one side of the mean are a shift, though each lies within the limits (common rule)."""
_ROUNDING = 1e-9
LEAST_VALUES = 5
"""Fewer say nothing about scatter."""


@dataclass(frozen=True)
class ControlChart:
    """Mean and limits, and what lies outside.

    Attributes
    ----------
    mean, low, high : float
        In the unit of the values.
    outside : tuple of int
        Places of values beyond a limit.
    shifted : tuple of int
        Places of values that end a run of eight or more on one side of the mean.
    """

    mean: float
    low: float
    high: float
    outside: tuple[int, ...]
    shifted: tuple[int, ...]

    @property
    def in_control(self) -> bool:
        """Whether there is nothing to look at."""
        return not self.outside and not self.shifted


def control_chart(values: Sequence[float], *, baseline: int | None = None) -> ControlChart | None:
    """The chart of values in their order in time.

    Parameters
    ----------
    values : sequence of float
        One for each development.
    baseline : int, optional
        How many of the first values the mean and limits are taken from; left out: all.

    Returns
    -------
    ControlChart or None
        None for fewer than five values to take limits from.
    """
    base = list(values[:baseline])
    if len(base) < LEAST_VALUES:
        return None
    mean = sum(base) / len(base)
    ranges = [abs(later - earlier) for earlier, later in pairwise(base)]
    reach = SIGMAS * sum(ranges) / len(ranges) / D2_OF_TWO
    low, high = mean - reach, mean + reach
    slack = _ROUNDING * max(1.0, abs(mean))  # equal values have limits of no width
    outside = tuple(place for place, value in enumerate(values) if not low - slack <= value <= high + slack)
    return ControlChart(mean, low, high, outside, _runs(values, mean, slack))


def _runs(values: Sequence[float], mean: float, slack: float) -> tuple[int, ...]:
    found, length, side = [], 0, 0
    for place, value in enumerate(values):
        here = (value > mean + slack) - (value < mean - slack)
        length = length + 1 if here and here == side else int(bool(here))
        side = here
        if length >= RUN:
            found.append(place)
    return tuple(found)
