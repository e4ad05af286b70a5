"""Recipes for a roll: one base, one balance, an exposure for each frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.balance import balanced_vector, tones_of
from dryside.negatives.base import FilmBase, pool_bases
from dryside.negatives.exposure import frame_level_stops, print_stops, scene_stops
from dryside.negatives.layers import LUMINANCE, neutral_stops, recipe_of
from dryside.negatives.prior import colour_prior
from dryside.negatives.recipe import Recipe, Triple, as_triple, density_log2, layer_exposures
from dryside.negatives.rendering import SCENE, Rendering
from dryside.negatives.silver import silver_recipe

Array = NDArray[np.float64]
PROCESSES = ("c41", "ecn2", "e6", "bw")
LOG10_2 = float(np.log10(2.0))


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
        How the film was developed.
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
    if process not in PROCESSES:
        raise ValueError(f"process is {process!r}; it must be one of {', '.join(map(repr, PROCESSES))}")
    bases = _bases(frames, process)
    densities = [density_log2(frame.picture, np.ones(3)).reshape(-1, 3) for frame in frames]
    plain, balance = _plain_recipes(process, bases, densities)
    luminances = [_luminance(one, density) for one, density in zip(plain, densities, strict=True)]
    levels = [frame_level_stops(light) for light in luminances]
    middle = float(np.median(levels)) if levels else 0.0
    recipes = tuple(_rendered(one, light, rendering) for one, light in zip(plain, luminances, strict=True))
    return RollRecipe(
        recipes=recipes,
        base_density=tuple(as_triple(base * LOG10_2) for base in bases),
        balance_stops=balance,
        exposure_stops=tuple(level - middle for level in levels),
        warnings=(),
        frame_warnings=tuple(() for _ in frames),
    )


def _plain_recipes(process: str, bases: list[Array], densities: list[Array]) -> tuple[list[Recipe], Triple]:
    """Scene recipes in linear sRGB before any frame's exposure, and the balance they share."""
    if process == "bw":
        return [silver_recipe(base) for base in bases], (0.0, 0.0, 0.0)
    prior = colour_prior(process)
    mean = prior.mean(np.median(bases, axis=0) * LOG10_2 if bases else np.zeros(3))
    above = [density - base for density, base in zip(densities, bases, strict=True)]
    vector = balanced_vector(prior, mean, tones_of(above, mean))
    moved = neutral_stops(vector) - neutral_stops(mean)
    return [recipe_of(vector, base) for base in bases], as_triple(moved - moved.mean())


def _bases(frames: Sequence[FrameSamples], process: str) -> list[Array]:
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


def _luminance(recipe: Recipe, density: Array) -> Array:
    """Relative luminance of samples, shape (samples,)."""
    return np.asarray(layer_exposures(recipe, density) @ np.asarray(recipe.colour_matrix).T @ LUMINANCE)


def _rendered(recipe: Recipe, luminance: Array, rendering: Rendering) -> Recipe:
    """The recipe with its frame's exposure, in the rendering's primaries."""
    stops = scene_stops(luminance, rendering.full_scale) if rendering.tone is None else print_stops(luminance)
    return replace(recipe.exposed(stops), rendering=rendering)
