"""Film base: the density of film that light never reached, measured on the rebate, per channel.

Everything in a negative is counted from here: the orange mask, fog, the colours of camera and lamp all lie in it, and a
change of exposure between captures vanishes when the base comes from the same capture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.recipe import Triple, as_triple

LOG10_2 = float(np.log10(2.0))

# A patch of clear film holds its density to a few hundredths; edge print, holes and light leaks do not.
_MOST_SPREAD = 0.12
_FEWEST_SAMPLES = 12


@dataclass(frozen=True)
class FilmBase:
    """Film base as one capture shows it.

    Attributes
    ----------
    density : 3 floats
        ``-log10(base / bare light)`` for red, green and blue as the camera sees them (no Status M reading).
    spread : float
        Robust standard deviation of density over the samples that were kept, the worst channel.
    samples : int
        How many samples were kept.
    """

    density: Triple
    spread: float
    samples: int

    @property
    def density_log2(self) -> NDArray[np.float64]:
        """The same in powers of two, shape (3,)."""
        return np.asarray(self.density) / LOG10_2


@dataclass(frozen=True)
class NoBase:
    """Film base could not be measured; false, and `why` says so."""

    why: str

    def __bool__(self) -> bool:
        return False


def measure_base(rebate: ArrayLike) -> FilmBase | NoBase:
    """Film base from samples of the rebate.

    Parameters
    ----------
    rebate : array of shape (samples, 3)
        Transmittance (capture over flat) of small patches of the rebate: edges between holes, gaps between frames.
        Edge print, codes, light leaks and patches of hole may be among them.

    Returns
    -------
    FilmBase or NoBase
        False, with `why`, where too little clear film is among the samples or they agree on nothing.

    Notes
    -----
    Clear film is the largest group of samples of one colour, and everything printed or fogged on it is denser, so the
    group is sought from the light end: the shortest interval that holds half of the samples (as a robust mode), with
    bare light left out. Then two rounds of a three-sigma cut around its median.
    """
    values = np.asarray(rebate, dtype=float).reshape(-1, 3)
    values = values[np.isfinite(values).all(axis=1) & (values > 0).all(axis=1)]
    density = -np.log10(values) if len(values) else values
    kept = density
    for _ in range(3):
        if len(kept) < _FEWEST_SAMPLES:
            return NoBase(f"{len(kept)} clean samples of rebate, {_FEWEST_SAMPLES} are needed")
        centre, sigma = _mode(kept)
        kept = density[(np.abs(density - centre) <= 3.0 * np.maximum(sigma, 0.004)).all(axis=1)]
    if len(kept) < _FEWEST_SAMPLES:
        return NoBase(f"{len(kept)} clean samples of rebate, {_FEWEST_SAMPLES} are needed")
    spread = float((np.median(np.abs(kept - np.median(kept, axis=0)), axis=0) * 1.4826).max())
    if spread > _MOST_SPREAD:
        return NoBase(f"the rebate's density varies by {spread:.2f}, clear film by less than {_MOST_SPREAD:.2f}")
    return FilmBase(as_triple(np.median(kept, axis=0)), spread, len(kept))


def pool_bases(bases: Sequence[FilmBase]) -> FilmBase | NoBase:
    """One base for a roll: the median of its captures', weighted alike however many samples each has."""
    if not bases:
        return NoBase("no capture of this roll shows clear film base")
    densities = np.array([base.density for base in bases])
    spread = max(base.spread for base in bases)
    return FilmBase(as_triple(np.median(densities, axis=0)), spread, sum(base.samples for base in bases))


def _mode(density: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre and robust sigma of the densest group, found on the mean density, then taken per channel."""
    order = np.sort(density.mean(axis=1))
    half = max(len(order) // 2, 2)
    widths = order[half - 1 :] - order[: len(order) - half + 1]
    start = int(np.argmin(widths))
    low, high = order[start], order[start + half - 1]
    mean = density.mean(axis=1)
    group = density[(mean >= low) & (mean <= high)]
    centre = np.median(group, axis=0)
    return centre, np.median(np.abs(group - centre), axis=0) * 1.4826 * 1.5
