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
from dryside.negatives.recipe import Recipe, Triple, as_matrix, as_triple, density_log2, layer_exposures
from dryside.negatives.rendering import SCENE, Rendering
from dryside.negatives.silver import silver_recipe

Array = NDArray[np.float64]
PROCESSES = ("c41", "ecn2", "e6", "bw")
LOG10_2 = float(np.log10(2.0))

# The brightest hundredth of a roll's pictures as density above film base, mean of the channels: a slope of 0.65 over
# the 2.4 log exposures from the toe to a bright sky (common practice puts a white wall near 1.2).
DENSEST_PICTURE = {"c41": 1.6, "ecn2": 1.35}

_TOO_STEEP = (
    "The capture is {factor:.1f} times steeper than film: it seems to carry a tone curve for display. Contrast was"
    " reduced and its densest parts drawn to white; a raw or linear capture gives truer colour."
)


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
    plain, balance, warnings = _plain_recipes(process, bases, densities)
    luminances = [_luminance(one, density) for one, density in zip(plain, densities, strict=True)]
    levels = [frame_level_stops(light) for light in luminances]
    middle = float(np.median(levels)) if levels else 0.0
    recipes = tuple(_rendered(one, light, rendering) for one, light in zip(plain, luminances, strict=True))
    return RollRecipe(
        recipes=recipes,
        base_density=tuple(as_triple(base * LOG10_2) for base in bases),
        balance_stops=balance,
        exposure_stops=tuple(level - middle for level in levels),
        warnings=warnings,
        frame_warnings=tuple(() for _ in frames),
    )


def _plain_recipes(
    process: str, bases: list[Array], densities: list[Array]
) -> tuple[list[Recipe], Triple, tuple[str, ...]]:
    """Scene recipes in linear sRGB before any frame's exposure, the balance they share, and warnings."""
    if process == "bw":
        return [silver_recipe(base) for base in bases], (0.0, 0.0, 0.0), ()
    prior = colour_prior(process)
    mean = prior.mean(np.median(bases, axis=0) * LOG10_2 if bases else np.zeros(3))
    above = [density - base for density, base in zip(densities, bases, strict=True)]
    scale = _believable_scale(above, process)
    vector = balanced_vector(prior, mean, tones_of([density * scale for density in above], mean))
    moved = neutral_stops(vector) - neutral_stops(mean)
    recipes = [recipe_of(vector, base * scale) for base in bases]
    shift = as_triple(moved - moved.mean())
    if scale == 1.0:
        return recipes, shift, ()
    light = np.concatenate([_balanced(one, density * scale) for one, density in zip(recipes, densities, strict=True)])
    white = float(np.quantile(light, 0.85))
    return [_for_steep(one, scale, white) for one in recipes], shift, (_TOO_STEEP.format(factor=1.0 / scale),)


def _believable_scale(above: list[Array], process: str) -> float:
    """1, or less where densities are more than this film can have: a capture with a display's tone curve in it."""
    if process == "e6" or not above:
        return 1.0
    highest = float(np.quantile(np.concatenate(above).mean(axis=1), 0.99)) * LOG10_2
    return 1.0 if highest <= DENSEST_PICTURE[process] else DENSEST_PICTURE[process] / highest


def _balanced(recipe: Recipe, density: Array) -> Array:
    """Layer exposures with a grey's made equal, shape (samples, 3)."""
    return layer_exposures(recipe, density) * np.asarray(recipe.colour_matrix).sum(axis=1)


def _for_steep(recipe: Recipe, scale: float, white: float) -> Recipe:
    """The recipe for densities that were multiplied by `scale` when it was made.

    What such a capture shows of the film's densest parts is mostly its own darkest levels. So exposures are bent
    towards one common `white` (a shoulder below 0) and colours drawn together: what is not there is not shown.
    """
    matrix = np.asarray(recipe.density_matrix) * scale
    balance = np.asarray(recipe.colour_matrix).sum(axis=1)
    grey = np.outer(np.ones(3), LUMINANCE)
    colour = (0.6 * np.eye(3) + 0.4 * grey) @ np.diag(balance)
    return replace(
        recipe,
        density_matrix=as_matrix(matrix),
        shoulder=as_triple(-balance / white),
        colour_matrix=as_matrix(colour),
    )


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
