"""The roll's colour from its own pictures: what moves the prior, and how far.

No picture says what is grey. But in any set of pictures some tones are, and greys of all tones lie on one line,
whatever the film's slopes and speeds. So the roll's vector (`layers`) is sought under its prior such that as many tones
as can be come out neutral, in light and shadow at once, and the rest are coloured as things are. Without evidence the
prior stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.layers import balanced_exposures
from dryside.negatives.prior import ColourPrior

Array = NDArray[np.float64]

# Tones are counted in cells of this size, in stops of the prior's own layer exposures, so that a sky counts little more
# than a button.
_CELL_STOPS = 0.2
_MOST_CELLS_A_FRAME = 160

# A grey's spread of log2 layer ratios (red and blue over green), narrowed from round to round; and where things at
# large lie: a little warm, as a dozen scanned film photographs do.
_NEUTRAL_SPREADS = (0.5, 0.35, 0.25, 0.18, 0.13, 0.10, 0.10)
_NEUTRAL_PART = 0.35
_COLOUR_MEAN = np.array([0.15, -0.18])
_COLOUR_SPREAD = np.array([0.85, 0.60])

# Under this part of a grey card's exposure a tone says more about fog and noise than about colour.
_DEEP_SHADOW = 0.008


@dataclass(frozen=True, eq=False)
class Tones:
    """Distinct tones of a roll's pictures.

    Attributes
    ----------
    density : ndarray of shape (tones, 3)
        Above film base (slides: above bare light), in powers of two.
    weight : ndarray of shape (tones,)
        How much each counts.
    """

    density: Array
    weight: Array


def tones_of(frames: list[Array], prior_vector: Array) -> Tones:
    """The distinct tones of frames.

    Parameters
    ----------
    frames : list of arrays of shape (samples, 3)
        Densities above base in powers of two.
    prior_vector : array of shape (23,)
        Says how far apart two tones are.

    Returns
    -------
    Tones
        At most 160 a frame, the most frequent; each weighs the root of its share, a whole frame weighs the same as any.
    """
    densities, weights = [np.empty((0, 3))], [np.empty(0)]
    for samples in frames:
        finite = samples[np.isfinite(samples).all(axis=1)]
        exposed = balanced_exposures(prior_vector, finite)
        bright = exposed.mean(axis=1) > _DEEP_SHADOW * max(float(np.quantile(exposed.mean(axis=1), 0.9)), 1e-6)
        finite, exposed = finite[bright], exposed[bright]
        if not len(finite):
            continue
        cell = np.floor(np.log2(np.maximum(exposed, 1e-3)) / _CELL_STOPS).astype(np.int64)
        _, inverse, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
        mean = np.stack([np.bincount(inverse.ravel(), finite[:, i]) / count for i in range(3)], axis=1)
        top = np.argsort(-count, kind="stable")[:_MOST_CELLS_A_FRAME]
        share = np.sqrt(count[top] / count.sum())
        densities.append(mean[top])
        weights.append(share / share.sum())
    return Tones(np.concatenate(densities), np.concatenate(weights))


def layer_ratios(vector: Array, density: Array) -> Array:
    """log2 of red and of blue layer exposure over green's, shape (tones, 2); 0 for a grey."""
    stops = np.log2(np.maximum(balanced_exposures(vector, density), 1e-3))
    return np.stack([stops[:, 0] - stops[:, 1], stops[:, 2] - stops[:, 1]], axis=1)


def balanced_vector(prior: ColourPrior, mean: Array, tones: Tones, *, evidence: float = 9.0) -> Array:
    """The roll's vector under the prior and the roll's tones.

    Parameters
    ----------
    prior : ColourPrior
        Its covariance says what may move, and what moves along.
    mean : array of shape (23,)
        The prior's mean for this film base.
    tones : Tones
        From `tones_of`.
    evidence : float
        How many independent patches the tones are worth.

    Returns
    -------
    ndarray of shape (23,)
    """
    from scipy.optimize import least_squares

    if not len(tones.weight):
        return mean
    whiten = prior.whitening()
    weight = tones.weight / tones.weight.sum() * evidence
    vector = mean
    for spread in _NEUTRAL_SPREADS:
        aim, precision = _pull(layer_ratios(vector, tones.density), spread)
        pull = np.sqrt(weight[:, None] * precision)

        def residuals(x: Array, aim: Array = aim, pull: Array = pull) -> Array:
            off = (layer_ratios(x, tones.density) - aim) * pull
            return np.concatenate([off.ravel(), whiten @ (x - mean)])

        vector = least_squares(residuals, vector, max_nfev=6).x
    return np.asarray(vector)


def _pull(ratios: Array, spread: float) -> tuple[Array, Array]:
    """Where each tone is drawn to and how firmly (inverse variance), as a grey of `spread` or a colour; (tones, 2)."""
    off = (ratios - _COLOUR_MEAN) / _COLOUR_SPREAD
    grey = _NEUTRAL_PART / spread**2 * np.exp(-0.5 * (ratios**2).sum(axis=1) / spread**2)
    coloured = (1.0 - _NEUTRAL_PART) / _COLOUR_SPREAD.prod() * np.exp(-0.5 * (off**2).sum(axis=1)) + 1e-12
    part = (grey / (grey + coloured))[:, None]
    precision = part / spread**2 + (1.0 - part) / _COLOUR_SPREAD**2
    return (1.0 - part) * _COLOUR_MEAN / _COLOUR_SPREAD**2 / precision, precision
