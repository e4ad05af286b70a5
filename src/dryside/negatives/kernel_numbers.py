"""A recipe's numbers as the compiled kernel wants them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.recipe import SHOULDER_FLOOR, Recipe
from dryside.negatives.rendering import LEAST_LIGHT, Rendering, encode

TABLE_BITS = 13
TABLE_OFFSET = 1 / 64
LEAST_ROOM = 1e-6
FULL_LEVEL = 65535
# Density in powers of two runs from full light over one level of 16 bits to the reverse.
MOST_DENSITY_LOG2 = 17.0
MOST_STOPS = 120
HELD = 2  # as in `kernel`, which is not imported here: it imports the compiler


@dataclass(frozen=True, eq=False)
class KernelNumbers:
    """What `kernel.develop_rows` takes besides pixels and light."""

    constants: tuple[np.float32, ...]
    shoulder: int
    prints: int | None
    table: NDArray[np.uint16] | None


def kernel_numbers(recipe: Recipe) -> KernelNumbers:
    """Constants, stages and encoding table of a recipe.

    A recipe for a sensor whose channels overlap has large numbers that nearly cancel; where they might take a density
    beyond what float32 holds, the kernel holds it (`kernel.HELD`).
    """
    reach = np.abs(recipe.density_matrix).sum(axis=1).max() * MOST_DENSITY_LOG2 + np.abs(recipe.offset).max()
    shoulder = int(any(value != 0.0 for value in recipe.shoulder))
    return KernelNumbers(
        constants=constants(recipe),
        shoulder=HELD if reach > MOST_STOPS else shoulder,
        prints=None if recipe.rendering.tone is None else 1,
        table=encoding_table(recipe.rendering.transfer),
    )


def constants(recipe: Recipe) -> tuple[np.float32, ...]:
    """All 44 factors in a row: matrices by rows, then the curve, then the print."""
    rendering = recipe.rendering
    scale = 1.0 if rendering.tone is not None else 1.0 / rendering.full_scale
    colour = np.asarray(recipe.colour_matrix) * scale
    parts = [
        np.ravel(recipe.density_matrix),
        recipe.offset,
        colour.ravel(),
        -colour @ np.asarray(recipe.toe),
        recipe.toe,
        recipe.shoulder,
        [SHOULDER_FLOOR],
        _print_constants(rendering),
    ]
    return tuple(np.concatenate([np.asarray(part, dtype=float) for part in parts]).astype(np.float32))


def _print_constants(rendering: Rendering) -> list[float]:
    tone = rendering.tone
    if tone is None:
        return [0.0] * 13
    k = tone.grey_in**tone.contrast * (tone.white / tone.grey_out - 1.0)
    knee = rendering.knee
    chroma = [rendering.chroma, knee, knee * knee, 1.0 - 2.0 * knee]
    return [*rendering.luminance, tone.contrast, k, tone.white, *chroma, LEAST_LIGHT, LEAST_ROOM, 1.0 - tone.white]


def encoding_table(transfer: str) -> NDArray[np.uint16] | None:
    """16-bit codes of linear samples in [0, 1], by the top bits of the float32 (sample + 1/64); None for 'linear'."""
    if transfer == "linear":
        return None
    shift = 23 - TABLE_BITS
    first = 121 << TABLE_BITS
    last = int(np.float32(1 + TABLE_OFFSET).view(np.int32)) >> shift
    middles = (np.arange(first, last + 1, dtype=np.int64) << shift) + (1 << (shift - 1))
    samples = middles.astype(np.int32).view(np.float32).astype(float) - TABLE_OFFSET
    return np.asarray(np.floor(encode(transfer, samples) * FULL_LEVEL + 0.5), np.uint16)
