"""The roll's colour from its own pictures: what moves the prior, and how far.

No picture says what is grey. But in any set of pictures some tones are, and greys of all tones lie on one line,
whatever the film's slopes and speeds. So the roll's vector (`layers`) is sought under its prior such that as many tones
as can be come out neutral, in light and shadow at once, and the rest are coloured as things are. Without evidence the
prior stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.layers import balanced_exposures
from dryside.negatives.prior import whitening

Array = NDArray[np.float64]

# Tones are counted in cells of this size, in stops of the prior's own layer exposures, so that a sky counts little more
# than a button.
_CELL_STOPS = 0.2
_MOST_CELLS_A_FRAME = 160

# How many independent patches the tones are worth beside what features have told already: the more frames, the more
# features are to be trusted.
_EVIDENCE_OF_FRAME = 4.0

# A grey's spread of log2 layer ratios (red and blue over green), narrowed from round to round; and where things at
# large lie: a little warm, as a dozen scanned film photographs do.
_NEUTRAL_SPREADS = (0.5, 0.35, 0.25, 0.18, 0.13, 0.10, 0.10)
_NEUTRAL_PART = 0.35

# Making a picture paler would make more of it grey. It does not count: colours keep the spread that the prior gives
# them, to this part.
_COLOUR_KEPT = 0.05

# A frame all of whose tones lie on one line over many stops is a wedge: nothing else in pictures does.
_FEWEST_STEPS = 7
_WEDGE_SPAN_STOPS = 3.5
_WEDGE_SCATTER = 0.04  # powers of two of density
_WEDGE_OFF_LINE = 0.02
_WEDGE_WORTH = 10.0

# Where most tones lie on one line from light to dark (a wedge, a grey day) they are greys: worth more, held closer.
_MOSTLY_GREY = 0.6
_MORE_WHEN_GREY = 15.0
_SURE_SPREADS = (0.07, 0.05)
_COLOUR_MEAN = np.array([0.15, -0.18])
_COLOUR_SPREAD = np.array([0.85, 0.60])

# Under this part of a grey card's exposure a tone says more about fog and noise than about colour.
_DEEP_SHADOW = 0.008


@dataclass(frozen=True, eq=False)
class Tones:
    """Distinct tones of pictures.

    Attributes
    ----------
    density : ndarray of shape (tones, 3)
        Above film base (slides: above bare light), in powers of two.
    weight : ndarray of shape (tones,)
        How much each counts.
    """

    density: Array
    weight: Array

    @property
    def is_wedge(self) -> bool:
        """Whether these are the tones of one frame that is a grey wedge."""
        return bool(self.weight.sum() > 0.5 * _WEDGE_WORTH)


def tones_of(samples: Array, vector: Array) -> Tones:
    """The distinct tones of a frame.

    Parameters
    ----------
    samples : array of shape (samples, 3)
        Densities above base in powers of two.
    vector : array of shape (23,)
        The prior's mean: says how far apart two tones are.

    Returns
    -------
    Tones
        At most 160, the most frequent; each weighs the root of its share, all together 1 (a grey wedge: more). None
        where the frame has no light in it.
    """
    finite = samples[np.isfinite(samples).all(axis=1)]
    exposed = balanced_exposures(vector, finite)
    level = exposed.mean(axis=1)
    if len(level):
        bright = level > _DEEP_SHADOW * max(float(np.quantile(level, 0.9)), 1e-6)
        finite, exposed = finite[bright], exposed[bright]
    if not len(finite):
        return Tones(np.empty((0, 3)), np.empty(0))
    cell = np.floor(np.log2(np.maximum(exposed, 1e-3)) / _CELL_STOPS).astype(np.int64)
    _, inverse, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    mean = np.stack([np.bincount(inverse.ravel(), finite[:, i]) / count for i in range(3)], axis=1)
    top = np.argsort(-count, kind="stable")[:_MOST_CELLS_A_FRAME]
    share = np.sqrt(count[top] / count.sum())
    share = share / share.sum()
    return Tones(mean[top], share * (_WEDGE_WORTH if _on_one_line(mean[top], share, vector) else 1.0))


def tones_together(frames: Sequence[Tones]) -> Tones:
    """The tones of several frames as one set."""
    densities, weights = [np.empty((0, 3))], [np.empty(0)]
    densities += [tones.density for tones in frames]
    weights += [tones.weight for tones in frames]
    return Tones(np.concatenate(densities), np.concatenate(weights))


def _on_one_line(density: Array, share: Array, vector: Array) -> bool:
    """Whether all tones of a frame lie on one smooth line from dark to light: a grey wedge, whatever its cast."""
    if len(share) < _FEWEST_STEPS:
        return False
    # Layers in depth see a whole picture nearly on a line: a wedge lies closer still.
    variances = np.linalg.eigvalsh(np.cov(density.T, aweights=share))
    if variances[1] > _WEDGE_OFF_LINE**2 * variances[2]:
        return False
    stops = np.log2(np.maximum(balanced_exposures(vector, density).mean(axis=1), 1e-3))
    if np.ptp(stops) < _WEDGE_SPAN_STOPS:
        return False
    along = density.mean(axis=1)
    line = np.polynomial.polynomial.polyvander((along - share @ along) / max(float(np.ptp(along)), 1e-6), 3)
    root = np.sqrt(share)[:, None]
    off = density - line @ np.linalg.lstsq(line * root, density * root, rcond=None)[0]
    return bool(np.sqrt(share @ off**2).max() < _WEDGE_SCATTER)


def layer_ratios(vector: Array, density: Array) -> Array:
    """log2 of red and of blue layer exposure over green's, shape (tones, 2); 0 for a grey."""
    stops = np.log2(np.maximum(balanced_exposures(vector, density), 1e-3))
    return np.stack([stops[:, 0] - stops[:, 1], stops[:, 2] - stops[:, 1]], axis=1)


def balanced_vector(mean: Array, covariance: Array, frames: Sequence[Tones]) -> Array:
    """The roll's vector under what is believed of it and the roll's tones.

    Parameters
    ----------
    mean : array of shape (23,)
        What is believed.
    covariance : array of shape (23, 23)
        Says what may move, and what moves along.
    frames : sequence of Tones
        Of each.

    Returns
    -------
    ndarray of shape (23,)
    """
    from scipy.optimize import least_squares

    tones = tones_together(frames)
    if not len(tones.weight):
        return mean
    evidence = _EVIDENCE_OF_FRAME / len(frames)
    whiten = whitening(covariance)
    share = tones.weight / tones.weight.sum()
    vector, grey_share = mean, 0.0
    for spread in (*_NEUTRAL_SPREADS, *_SURE_SPREADS):
        if spread in _SURE_SPREADS and grey_share < _MOSTLY_GREY:
            break
        aim, precision, grey = _pull(layer_ratios(vector, tones.density), spread)
        grey_share = float(share @ grey)
        worth = evidence * (1.0 + _MORE_WHEN_GREY * max(0.0, grey_share - _MOSTLY_GREY))
        pull = np.sqrt(worth * share[:, None] * precision)

        coloured = share * (1.0 - grey)
        usual = _colourfulness(layer_ratios(mean, tones.density), coloured)
        keep = float(coloured.sum()) / _COLOUR_KEPT

        def residuals(x: Array, aim: Array = aim, pull: Array = pull, coloured: Array = coloured) -> Array:
            ratios = layer_ratios(x, tones.density)
            off = (ratios - aim) * pull
            paler = np.log(_colourfulness(ratios, coloured) / usual)  # noqa: B023 - used before the next round
            return np.concatenate([off.ravel(), keep * paler, whiten @ (x - mean)])  # noqa: B023

        vector = least_squares(residuals, vector, max_nfev=6).x
    return np.asarray(vector)


def _colourfulness(ratios: Array, share: Array) -> Array:
    """Spread of the two layer ratios over the tones, shape (2,)."""
    share = share / max(float(share.sum()), 1e-9)
    middle = share @ ratios
    return np.asarray(np.sqrt(share @ (ratios - middle) ** 2) + 1e-3)


def _pull(ratios: Array, spread: float) -> tuple[Array, Array, Array]:
    """Where each tone is drawn to and how firmly (inverse variance), both (tones, 2), and how likely it is a grey."""
    off = (ratios - _COLOUR_MEAN) / _COLOUR_SPREAD
    grey = _NEUTRAL_PART / spread**2 * np.exp(-0.5 * (ratios**2).sum(axis=1) / spread**2)
    coloured = (1.0 - _NEUTRAL_PART) / _COLOUR_SPREAD.prod() * np.exp(-0.5 * (off**2).sum(axis=1)) + 1e-12
    part = (grey / (grey + coloured))[:, None]
    precision = part / spread**2 + (1.0 - part) / _COLOUR_SPREAD**2
    return (1.0 - part) * _COLOUR_MEAN / _COLOUR_SPREAD**2 / precision, precision, part[:, 0]
