"""The numbers that turn a capture's pixel into a positive's pixel, and the slow exact way to apply them.

Everything between a capture and a positive is one closed form per pixel, so that a fused kernel can do it in one pass::

    r = log2(flat) - log2(pixel)                      density above bare light, in powers of two
    v = density_matrix @ r + offset                   layers told apart, film base and contrast taken off
    u = 2 ** v
    e = (u - toe) / max(1 - shoulder * u, FLOOR)      the characteristic curve backwards: exposure of each layer
    c = colour_matrix @ e                             linear light in the primaries of `rendering.space`

and then the rendering of `c` (`rendering.Rendering`). Positives (E-6) take the same way with a negative matrix, black
and white with three equal rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.rendering import SCENE, Rendering, render

Triple = tuple[float, float, float]
Matrix = tuple[Triple, Triple, Triple]

IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))

# The curve's inverse runs to infinity at the film's densest; there it goes on as a straight line instead.
SHOULDER_FLOOR = 0.1

# No capture is trusted below this part of its flat: density 6, far under any sensor's noise.
DARKEST = 1e-6


@dataclass(frozen=True)
class Recipe:
    """All numbers for one frame.

    Parameters
    ----------
    density_matrix : 3 rows of 3 floats
        From density in powers of two (`log2(flat / pixel)`) to log2 exposure of the three layers: unmixing of the dyes
        and division by contrast in one.
    offset : 3 floats
        Added after the matrix, in stops: film base and contrast.
    toe, shoulder : 3 floats each
        The characteristic curve ``D = gamma log10((1 + E / E0) / (1 + E / E1))`` backwards, in units of ``u = 2**v``.
        0 is a straight line; a shoulder below 0 bends the highlights over instead of straightening them.
    colour_matrix : 3 rows of 3 floats
        From layer exposures to linear light in the primaries of `rendering.space`: spectral sensitivities, balance and
        exposure of the frame.
    rendering : Rendering, optional
        What is done with linear light. The default writes it as it is.
    """

    density_matrix: Matrix
    offset: Triple
    toe: Triple = (0.0, 0.0, 0.0)
    shoulder: Triple = (0.0, 0.0, 0.0)
    colour_matrix: Matrix = IDENTITY
    rendering: Rendering = SCENE

    def exposed(self, stops: float) -> Recipe:
        """The same recipe with its positive lighter by `stops` (darker below 0)."""
        return replace(self, colour_matrix=as_matrix(np.asarray(self.colour_matrix) * 2.0**stops))

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers and lists, for JSON; `from_dict` reads it back exactly."""
        return asdict(self)

    @classmethod
    def from_dict(cls, numbers: Mapping[str, Any]) -> Recipe:
        """The recipe that `as_dict` wrote."""
        return cls(
            density_matrix=as_matrix(numbers["density_matrix"]),
            offset=as_triple(numbers["offset"]),
            toe=as_triple(numbers["toe"]),
            shoulder=as_triple(numbers["shoulder"]),
            colour_matrix=as_matrix(numbers["colour_matrix"]),
            rendering=Rendering.from_dict(numbers["rendering"]),
        )


def as_triple(values: ArrayLike) -> Triple:
    """Three Python floats from an array of shape (3,)."""
    first, second, third = np.asarray(values, dtype=float).tolist()
    return first, second, third


def as_matrix(values: ArrayLike) -> Matrix:
    """Three rows of Python floats from an array of shape (3, 3)."""
    first, second, third = np.asarray(values, dtype=float)
    return as_triple(first), as_triple(second), as_triple(third)


def density_log2(film: ArrayLike, flat: ArrayLike) -> NDArray[np.float64]:
    """Density above bare light in powers of two (times 0.30103 it is the usual density).

    Parameters
    ----------
    film : array of shape (..., 3)
        Linear capture, black level taken off. Any unit: only its ratio to `flat` counts.
    flat : array of shape (3,) or (..., 3)
        The same light without film, in the unit of `film`.

    Returns
    -------
    ndarray of shape (..., 3)
        At most ``-log2(DARKEST)``; negative where the film outshines the flat.
    """
    light = np.asarray(flat, dtype=float)
    dark = np.maximum(np.asarray(film, dtype=float), light * DARKEST)
    return np.asarray(np.log2(light) - np.log2(dark))


def layer_exposures(recipe: Recipe, density: ArrayLike) -> NDArray[np.float64]:
    """Exposure of the three layers from `density_log2`; shape (..., 3), linear, 1 as the recipe scales it."""
    v = np.asarray(density, dtype=float) @ np.asarray(recipe.density_matrix).T + np.asarray(recipe.offset)
    u = np.exp2(v)
    return np.asarray((u - recipe.toe) / np.maximum(1.0 - np.asarray(recipe.shoulder) * u, SHOULDER_FLOOR))


def apply_reference(recipe: Recipe, film: ArrayLike, flat: ArrayLike) -> NDArray[np.float64]:
    """A positive in 64-bit floats: what the fast kernel is held against.

    Parameters
    ----------
    recipe : Recipe
        The frame's numbers.
    film : array of shape (..., 3)
        Linear capture, any unit.
    flat : array of shape (3,) or (..., 3)
        Bare light, in the unit of `film`.

    Returns
    -------
    ndarray of shape (..., 3)
        Encoded samples in [0, 1]; times 65,535 and rounded they are the file's.
    """
    linear = layer_exposures(recipe, density_log2(film, flat)) @ np.asarray(recipe.colour_matrix).T
    return render(recipe.rendering, linear)
