"""Recipes for a roll: one base, one balance, an exposure for each frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.base import FilmBase, pool_bases
from dryside.negatives.exposure import frame_level_stops, print_stops, scene_stops
from dryside.negatives.frame_warnings import base_warning, exposure_warning, fog_warning
from dryside.negatives.layers import LUMINANCE, recipe_of
from dryside.negatives.profile import Profile
from dryside.negatives.recipe import Recipe, Triple, as_matrix, as_triple, density_log2, layer_exposures
from dryside.negatives.rendering import SCENE, Rendering
from dryside.negatives.roll_colour import LOG10_2, frame_vectors, roll_colour
from dryside.negatives.silver import silver_recipe
from dryside.negatives.spaces import SPACES

Array = NDArray[np.float64]
PROCESSES = ("c41", "ecn2", "e6", "bw")

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
    rests_on : {'profile', 'chart', 'pictures', 'silver'}
        What the roll's colour was made from.
    warnings : tuple of str
        About the roll, one sentence each.
    frame_warnings : tuple of tuple of str
        About each frame.
    """

    recipes: tuple[Recipe, ...]
    base_density: tuple[Triple, ...]
    balance_stops: Triple
    exposure_stops: tuple[float, ...]
    rests_on: str
    warnings: tuple[str, ...]
    frame_warnings: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, eq=False)
class _Plain:
    """Scene recipes before any frame's exposure."""

    recipes: list[Recipe]
    balance_stops: Triple
    rests_on: str
    warnings: tuple[str, ...]
    frame_warnings: list[tuple[str, ...]]


def recipe_for_roll(
    frames: Sequence[FrameSamples],
    *,
    process: str,
    rendering: Rendering = SCENE,
    profile: Profile | None = None,
    use_charts: bool = True,
) -> RollRecipe:
    """Recipes for the frames of one roll (or of one strip, or of one capture).

    Parameters
    ----------
    frames : sequence of FrameSamples
        In order. One balance is made for all of them.
    process : {'c41', 'ecn2', 'e6', 'bw'}
        How the film was developed.
    rendering : Rendering, optional
        What is made of linear light.
    profile : Profile, optional
        A calibration of this stock, light and camera; its colours are taken as they are.
    use_charts : bool
        Whether a 24-patch chart that is seen on the roll sets its colours.

    Returns
    -------
    RollRecipe

    Raises
    ------
    ValueError
        If `process` is unknown, or `profile` is for another.
    """
    if process not in PROCESSES:
        raise ValueError(f"process is {process!r}; it must be one of {', '.join(map(repr, PROCESSES))}")
    if profile is not None and profile.process != process:
        raise ValueError(f"profile is for {profile.process!r}, process is {process!r}")
    bases = _bases(frames, process)
    densities = [density_log2(frame.picture, np.ones(3)) for frame in frames]
    plain = _plain(process, bases, densities, profile, use_charts)
    luminances = [_luminance(one, density) for one, density in zip(plain.recipes, densities, strict=True)]
    levels = [frame_level_stops(light) for light in luminances]
    middle = float(np.median(levels)) if levels else 0.0
    return RollRecipe(
        recipes=tuple(_rendered(one, light, rendering) for one, light in zip(plain.recipes, luminances, strict=True)),
        base_density=tuple(as_triple(base * LOG10_2) for base in bases),
        balance_stops=plain.balance_stops,
        exposure_stops=tuple(level - middle for level in levels),
        rests_on=plain.rests_on,
        warnings=plain.warnings,
        frame_warnings=tuple(
            more + _frame_warnings(one, density, base, process)
            for more, one, density, base in zip(plain.frame_warnings, plain.recipes, densities, bases, strict=True)
        ),
    )


def _plain(
    process: str, bases: list[Array], densities: list[Array], profile: Profile | None, use_charts: bool
) -> _Plain:
    nothing: list[tuple[str, ...]] = [() for _ in bases]
    if process == "bw":
        numbers = () if profile is None else (profile.contrast, profile.toe)
        return _Plain([silver_recipe(base, *numbers) for base in bases], (0.0, 0.0, 0.0), "silver", (), nothing)
    above = [density - base for density, base in zip(densities, bases, strict=True)]
    colour = roll_colour(process, above, bases, profile, use_charts=use_charts)
    if colour.scale == 1.0:
        vectors = frame_vectors(colour.vector, above)
        recipes = [recipe_of(vector, base) for (vector, _), base in zip(vectors, bases, strict=True)]
        notes = [_lamp_note(stops) for _, stops in vectors]
        return _Plain(recipes, colour.balance_stops, colour.rests_on, (), notes)
    recipes = [recipe_of(colour.vector, base * colour.scale) for base in bases]
    light = [_balanced(one, density * colour.scale) for one, density in zip(recipes, densities, strict=True)]
    white = float(np.quantile(np.concatenate([one.reshape(-1, 3) for one in light]), 0.85))
    steep = [_for_steep(one, colour.scale, white) for one in recipes]
    return _Plain(steep, colour.balance_stops, colour.rests_on, (_TOO_STEEP.format(factor=1 / colour.scale),), nothing)


def _lamp_note(stops: float) -> tuple[str, ...]:
    if stops == 0.0:
        return ()
    kind = "warmer" if stops > 0 else "cooler"
    return (f"Taken in {kind} light than the rest of the roll; most of the difference was taken out.",)


def _frame_warnings(recipe: Recipe, density: Array, base: Array, process: str) -> tuple[str, ...]:
    notes = base_warning(base * LOG10_2, process)
    if min(recipe.shoulder) < 0:  # a capture with a display's tone curve: its densities say nothing of exposure
        return notes
    exposure = _balanced(recipe, density).reshape(-1, 3)
    green = float(np.asarray(recipe.colour_matrix).sum(axis=1)[1])
    above = ((density - base) * LOG10_2).reshape(-1, 3)
    return (*notes, *exposure_warning(exposure / green, process), *fog_warning(above, process))


def _balanced(recipe: Recipe, density: Array) -> Array:
    """Layer exposures with a grey's made equal, shape (..., 3)."""
    return layer_exposures(recipe, density) * np.asarray(recipe.colour_matrix).sum(axis=1)


def _for_steep(recipe: Recipe, scale: float, white: float) -> Recipe:
    """The recipe for densities that were multiplied by `scale` when it was made.

    What such a capture shows of the film's densest parts is mostly its own darkest levels. So exposures are bent
    towards one common `white` (a shoulder below 0) and colours drawn together: what is not there is not shown.
    """
    matrix = np.asarray(recipe.density_matrix) * scale
    balance = np.asarray(recipe.colour_matrix).sum(axis=1)
    grey = np.outer(np.ones(3), LUMINANCE)
    return replace(
        recipe,
        density_matrix=as_matrix(matrix),
        shoulder=as_triple(-balance / white),
        colour_matrix=as_matrix((0.4 * np.eye(3) + 0.6 * grey) @ np.diag(balance)),
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
    linear = layer_exposures(recipe, density.reshape(-1, 3)) @ np.asarray(recipe.colour_matrix).T
    return np.asarray(linear @ LUMINANCE)


def _rendered(recipe: Recipe, luminance: Array, rendering: Rendering) -> Recipe:
    """The recipe with its frame's exposure, in the rendering's primaries."""
    stops = scene_stops(luminance, rendering.full_scale) if rendering.tone is None else print_stops(luminance)
    to_space = SPACES[rendering.space].from_linear_srgb()
    colour = as_matrix(to_space @ np.asarray(recipe.colour_matrix) * 2.0**stops)
    return replace(recipe, colour_matrix=colour, rendering=rendering)
