"""What a roll's pictures say of its colour, as a fixed list of numbers: what the prior is made narrower by.

Distinct tones are read through the prior's own mean. How their balance runs from dark to light, where most of them
gather, how far they spread, and the shape of the cloud of densities tell slopes, speeds and the camera's channels
apart far better than the film base alone.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.balance import Tones
from dryside.negatives.layers import balanced_exposures

Array = NDArray[np.float64]

_DARKEST_STOPS = -9.0
_LEVELS = (0.03, 0.15, 0.5, 0.85, 0.97)
_PARTS = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
_MIDDLES = (0.1, 0.5, 0.9)
_GATHERING_STOPS = 0.25  # width over which tones are counted together
_MOST_COUNTED = 300
_ROUNDS = 4


def picture_features(base_density: Array, each: list[Tones], vector: Array) -> Array:
    """Features of a roll.

    Parameters
    ----------
    base_density : array of shape (3,)
        Film base, log10; zeros for slides.
    each : list of Tones
        Of each frame that has any, at least one.
    vector : array of shape (23,)
        What the tones are read through.

    Returns
    -------
    ndarray of shape (features,)
    """
    density = np.concatenate([tones.density for tones in each])
    share = np.concatenate([tones.weight / tones.weight.sum() for tones in each]) / len(each)
    level, ratios = _balance(vector, density)
    parts = (
        np.asarray(base_density, dtype=float),
        _by_level(level, ratios, share),
        np.concatenate([_quantiles(ratios[:, i], share, _MIDDLES) for i in range(2)]),
        _spread(ratios, share),
        _where_most_gather(level, ratios, share),
        _ends_of_frames(each, vector),
        _cloud(density, share),
    )
    return np.concatenate(parts)


def _balance(vector: Array, density: Array) -> tuple[Array, Array]:
    """Level of tones in stops, shape (tones,), and red and blue over green, shape (tones, 2)."""
    stops = np.log2(np.maximum(balanced_exposures(vector, density), 2.0**_DARKEST_STOPS))
    return stops.mean(axis=1), np.stack([stops[:, 0] - stops[:, 1], stops[:, 2] - stops[:, 1]], axis=1)


def _quantiles(values: Array, share: Array, at: tuple[float, ...]) -> Array:
    order = np.argsort(values, kind="stable")
    return np.asarray(np.interp(at, np.cumsum(share[order]), values[order]))


def _by_level(level: Array, ratios: Array, share: Array) -> Array:
    """Levels of a few quantiles, and the mean balance between quantiles from dark to light."""
    order = np.argsort(level, kind="stable")
    below = np.cumsum(share[order]) - 0.5 * share[order]
    found = [np.interp(_LEVELS, below, level[order])]
    for low, high in pairwise(_PARTS):
        inside = order[(below >= low) & (below < high)]
        if not len(inside):
            inside = order[[int(np.argmin(np.abs(below - 0.5 * (low + high))))]]
        found.append(share[inside] @ ratios[inside] / share[inside].sum())
    return np.concatenate(found)


def _spread(ratios: Array, share: Array) -> Array:
    """Spread of red and of blue over green, and how they go together; shape (3,)."""
    away = ratios - share @ ratios
    red, blue = np.sqrt(share @ away**2) + 1e-3
    return np.array([np.log(red), np.log(blue), share @ (away[:, 0] * away[:, 1]) / (red * blue)])


def _where_most_gather(level: Array, ratios: Array, share: Array) -> Array:
    """Balance at which most tones gather, of the darker and of the lighter half; shape (4,)."""
    middle = _quantiles(level, share, (0.5,))[0]
    found = []
    for half in (level <= middle, level >= middle):
        heaviest = np.flatnonzero(half)[np.argsort(-share[half], kind="stable")[:_MOST_COUNTED]]
        part, weight = ratios[heaviest], share[heaviest]
        at = part[int(np.argmax(_near(part, part) @ weight))]
        for _ in range(_ROUNDS):
            pull = _near(at[None], part)[0] * weight
            at = pull @ part / pull.sum()
        found.append(at)
    return np.concatenate(found)


def _near(places: Array, ratios: Array) -> Array:
    away = ((places[:, None] - ratios[None]) ** 2).sum(axis=-1)
    return np.asarray(np.exp(-0.5 * away / _GATHERING_STOPS**2))


def _ends_of_frames(each: list[Tones], vector: Array) -> Array:
    """Medians over the frames of the balance of their darkest and lightest tones and of all; shape (6,)."""
    rows = []
    for tones in each:
        level, ratios = _balance(vector, tones.density)
        share = tones.weight / tones.weight.sum()
        low, high = _quantiles(level, share, (0.12, 0.92))
        row = [ratios[part].mean(axis=0) for part in (level <= low, level >= high) if part.any()]
        rows.append(np.concatenate([*row, share @ ratios]) if len(row) == 2 else np.tile(share @ ratios, 3))
    return np.asarray(np.median(rows, axis=0))


def _cloud(density: Array, share: Array) -> Array:
    """The cloud of densities: middle, ends, its long axis and its thin one, and how thin; shape (16,)."""
    middle = share @ density
    away = density - middle
    variances, axes = np.linalg.eigh((away * share[:, None]).T @ away + 1e-9 * np.eye(3))
    thin, long = axes[:, 0] * np.sign(axes[1, 0] or 1.0), axes[:, 2] * np.sign(axes[1, 2] or 1.0)
    ends = [_quantiles(density[:, i], share, (0.02, 0.98)) for i in range(3)]
    return np.concatenate(
        [
            middle,
            *ends,
            long[[0, 2]] / max(float(long[1]), 0.2),
            thin,
            np.log(variances[:2] / variances[2]),
        ]
    )
