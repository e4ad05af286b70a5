"""Recipes for a roll: one base, one balance, an exposure for each frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.base import FilmBase, pool_bases
from dryside.negatives.defaults import DEFAULTS, ProcessDefaults
from dryside.negatives.recipe import Recipe, Triple, as_matrix, as_triple, density_log2, layer_exposures
from dryside.negatives.rendering import SCENE, Rendering

GREY_CARD = 0.18


@dataclass(frozen=True, eq=False)
class FrameSamples:
    """What the balance of a roll needs of a frame.

    Attributes
    ----------
    picture : ndarray of shape (rows, columns, 3)
        Transmittance (capture over flat, means of the pixels) of the frame, reduced to about 96 x 64 samples, a little
        inside its edges.
    base : FilmBase or None
        Film base of the capture that the frame lies in; None where none was seen.
    """

    picture: NDArray[np.floating]
    base: FilmBase | None


@dataclass(frozen=True)
class RollRecipe:
    """The recipes of a roll's frames and what they rest on.

    Attributes
    ----------
    recipes : tuple of Recipe
        One a frame, in order.
    base_density : tuple of 3 floats, one a frame
        ``-log10(base / bare light)``.
    balance_stops : 3 floats
        What the roll's balance takes from red, green and blue layers, against the process's own neutral; mean 0.
    exposure_stops : tuple of float
        Exposure of each frame on the film against the roll's median.
    warnings : tuple of str
        About the roll, one sentence each.
    frame_warnings : tuple of tuple of str
        About each frame.
    """

    recipes: tuple[Recipe, ...]
    base_density: tuple[Triple, ...]
    balance_stops: Triple
    exposure_stops: tuple[float, ...]
    warnings: tuple[str, ...]
    frame_warnings: tuple[tuple[str, ...], ...]


def recipe_for_roll(frames: Sequence[FrameSamples], *, process: str, rendering: Rendering = SCENE) -> RollRecipe:
    """Recipes for the frames of one roll (or of one strip, or of one capture).

    Parameters
    ----------
    frames : sequence of FrameSamples
        In order. One balance is made for all of them.
    process : {'c41', 'ecn2', 'e6', 'bw'}
        Key of `defaults.DEFAULTS`.
    rendering : Rendering, optional
        What is made of linear light.

    Returns
    -------
    RollRecipe

    Raises
    ------
    ValueError
        If `process` is unknown.
    """
    if process not in DEFAULTS:
        raise ValueError(f"process is {process!r}; it must be one of {', '.join(map(repr, DEFAULTS))}")
    numbers = DEFAULTS[process]
    bases = _bases(frames, process)
    raw = [_unbalanced(numbers, base) for base in bases]
    exposures = [
        layer_exposures(one, density_log2(frame.picture, np.ones(3))) for one, frame in zip(raw, frames, strict=True)
    ]
    balance = np.exp2(np.asarray(numbers.neutral)) / GREY_CARD
    levels = [_level(exposure / balance) for exposure in exposures]
    middle = float(np.median(levels)) if levels else 0.0
    recipes = tuple(
        replace(
            one,
            colour_matrix=as_matrix(np.asarray(numbers.colour_matrix) / balance * 2.0**-level),
            rendering=rendering,
        )
        for one, level in zip(raw, levels, strict=True)
    )
    return RollRecipe(
        recipes=recipes,
        base_density=tuple(as_triple(base * np.log10(2.0)) for base in bases),
        balance_stops=(0.0, 0.0, 0.0),
        exposure_stops=tuple(level - middle for level in levels),
        warnings=(),
        frame_warnings=tuple(() for _ in frames),
    )


def _bases(frames: Sequence[FrameSamples], process: str) -> list[NDArray[np.float64]]:
    """Base of each frame in powers of two: its own capture's, else the roll's, else the lightest of the frame."""
    if process == "e6":
        return [np.zeros(3) for _ in frames]
    pooled = pool_bases([frame.base for frame in frames if frame.base is not None])
    found = []
    for frame in frames:
        base = frame.base or pooled
        if isinstance(base, FilmBase):
            found.append(base.density_log2)
        else:
            found.append(np.percentile(density_log2(frame.picture, np.ones(3)).reshape(-1, 3), 0.5, axis=0))
    return found


def _unbalanced(numbers: ProcessDefaults, base: NDArray[np.float64]) -> Recipe:
    """The process's recipe with this base taken off; its layer exposures are in units of ``u``."""
    matrix = np.asarray(numbers.density_matrix)
    return Recipe(numbers.density_matrix, as_triple(-matrix @ base), numbers.toe, numbers.shoulder)


def _level(exposure: NDArray[np.float64]) -> float:
    """Stops by which a frame's exposure lies above a grey card's, from the middle of its tones."""
    mean = np.maximum(exposure.reshape(-1, 3).mean(axis=1), 1e-3)
    return float(np.log2(np.exp(np.mean(np.log(mean))) / GREY_CARD)) + 0.3
