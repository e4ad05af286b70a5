"""Black and white: silver has no colour, so its density is one number, and any mix of channels measures it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.recipe import Recipe, as_triple

# Contrast index that general-purpose negatives are developed to (0.56 to 0.62: common practice, from memory).
CONTRAST_INDEX = 0.58

# Green is the sharpest and least noisy channel of most cameras; the others bring a little more light.
CHANNEL_MIX = (0.15, 0.7, 0.15)

# Part of the base's own light taken off: a silver toe is sharper than the formula's.
_TOE = 0.9


def silver_recipe(base_log2: NDArray[np.float64]) -> Recipe:
    """Scene recipe of a silver negative over a film base (density in powers of two, shape (3,))."""
    row = np.asarray(CHANNEL_MIX) / CONTRAST_INDEX
    matrix = (as_triple(row), as_triple(row), as_triple(row))
    offset = -float(row @ base_log2)
    return Recipe(matrix, (offset, offset, offset), (_TOE, _TOE, _TOE))
