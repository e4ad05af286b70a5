"""What a person changes of a roll's or a frame's recipe: exposure, balance, contrast, black and white points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dryside.negatives.recipe import Recipe, as_matrix, as_triple, layer_exposures

MOST_STOPS = 4.0
MOST_BALANCE_STOPS = 3.0
# A tapped patch darker than this part of white says nothing of the light's colour.
LEAST_NEUTRAL = 1e-3


@dataclass(frozen=True)
class Adjustment:
    """Changes of a recipe; all 0 changes nothing.

    Attributes
    ----------
    exposure_stops : float
        Lighter above 0, -4 to 4.
    red_stops, blue_stops : float
        More of red and of blue light, against green, -3 to 3.
    contrast : float
        The print's contrast is multiplied by ``2**contrast``, -1 to 1; nothing for a scene.
    black : float
        Light that becomes black, as part of a white paper's, -0.05 to 0.1; below 0 shadows are lifted.
    white : float
        Above 0 highlights reach paper white sooner, below 0 they stay a light grey; -1 to 1.
    """

    exposure_stops: float = 0.0
    red_stops: float = 0.0
    blue_stops: float = 0.0
    contrast: float = 0.0
    black: float = 0.0
    white: float = 0.0

    @property
    def is_nothing(self) -> bool:
        """Whether it changes nothing."""
        return self == Adjustment()

    def as_dict(self) -> dict[str, float]:
        """Plain numbers, for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, numbers: Mapping[str, Any]) -> Adjustment:
        """The adjustment that `as_dict` wrote, within its ranges; what is missing is 0, what is unknown is left out."""
        known = {one.name: float(numbers.get(one.name) or 0.0) for one in fields(cls)}
        return cls(**{name: _within(value, *RANGES[name]) for name, value in known.items()})

    def over(self, roll: Adjustment) -> Adjustment:
        """This frame's own changes on top of the roll's."""
        return Adjustment(**{one.name: getattr(self, one.name) + getattr(roll, one.name) for one in fields(self)})


RANGES: Mapping[str, tuple[float, float]] = {
    "exposure_stops": (-MOST_STOPS, MOST_STOPS),
    "red_stops": (-MOST_BALANCE_STOPS, MOST_BALANCE_STOPS),
    "blue_stops": (-MOST_BALANCE_STOPS, MOST_BALANCE_STOPS),
    "contrast": (-1.0, 1.0),
    "black": (-0.05, 0.1),
    "white": (-1.0, 1.0),
}


def adjusted(recipe: Recipe, change: Adjustment) -> Recipe:
    """The recipe with a person's changes worked in; still one closed form, so it costs nothing per pixel.

    Light is multiplied by balance and exposure, then black is taken off and the rest stretched so that a white of 1
    stays one: both are linear in light and go into the colour matrix and the toe.
    """
    if change.is_nothing:
        return recipe
    gain = 2.0 ** (np.array([change.red_stops, 0.0, change.blue_stops]) + change.exposure_stops)
    stretch = 1.0 / (1.0 - change.black)
    matrix = np.diag(gain * stretch) @ np.asarray(recipe.colour_matrix)
    # Taking b off light after the matrix is taking M^-1 b off the layers before it, which is what the toe does.
    off = np.linalg.solve(matrix, np.full(3, change.black * stretch))
    rendering = recipe.rendering
    if rendering.tone is not None:
        tone = rendering.tone
        tone = replace(
            tone, contrast=tone.contrast * 2.0**change.contrast, white=tone.white * 2.0 ** (change.white / 4)
        )
        rendering = replace(rendering, tone=tone)
    return replace(
        recipe,
        colour_matrix=as_matrix(matrix),
        toe=as_triple(np.asarray(recipe.toe) + off),
        rendering=rendering,
    )


def neutral_balance(recipe: Recipe, density: ArrayLike, *, before: Adjustment | None = None) -> tuple[float, float]:
    """Red and blue stops that make a patch grey.

    Parameters
    ----------
    recipe : Recipe
        The frame's, without a person's changes.
    density : array of shape (..., 3)
        Density of the patch above bare light, in powers of two.
    before : Adjustment, optional
        Changes in force; their balance is replaced, not added to.

    Returns
    -------
    red_stops, blue_stops
        Within their ranges.

    Raises
    ------
    ValueError
        If the patch is too dark to say anything.
    """
    layers = layer_exposures(recipe, density).reshape(-1, 3).mean(axis=0)
    light = np.asarray(recipe.colour_matrix) @ layers
    if light.min() < LEAST_NEUTRAL:
        raise ValueError(f"density is that of a patch with light {light.min():.5f}; it must be above {LEAST_NEUTRAL}")
    red, green, blue = np.log2(light)
    low, high = RANGES["red_stops"]
    return _within(float(green - red), low, high), _within(float(green - blue), low, high)


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high) if np.isfinite(value) else 0.0
