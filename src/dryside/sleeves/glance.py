"""A picture at a glance: a grid of light and dark, to choose from thousands of pictures the few worth comparing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

GRID = 24
_SHIFTS = (-2, -1, 0, 1, 2)


@dataclass(frozen=True, eq=False)
class Glance:
    """A grid of shape (24, 24), float32: lightness with its mean taken off, of length 1; zeros for an even picture."""

    grid: Floats


def glance_at(picture: NDArray[Any]) -> Glance:
    """Take in an 8-bit RGB picture of shape (rows, columns, 3)."""
    import cv2
    import numpy as np

    grey = cv2.cvtColor(cv2.resize(picture, (4 * GRID, 4 * GRID), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    # Evened, since a lab's print and a positive made here differ in tone far more than in what is where.
    evened = cv2.equalizeHist(grey)
    small = cv2.resize(evened, (GRID, GRID), interpolation=cv2.INTER_AREA).astype(np.float32)
    small -= small.mean()
    length = float(np.linalg.norm(small))
    return Glance(np.asarray(small / length if length > GRID else np.zeros_like(small), np.float32))


def likeliest(own: Glance, others: Sequence[Glance], *, most: int) -> list[int]:
    """Places of the pictures most like `own`, the likest first: as it is, turned round, or mirrored, shifted a little.

    Parameters
    ----------
    own : Glance
        What is looked for.
    others : sequence of Glance
        Where.
    most : int
        How many to give at most.
    """
    import numpy as np

    if not others:
        return []
    stack = np.stack([other.grid.ravel() for other in others])
    best = np.full(len(others), -1.0, np.float32)
    for grid in (own.grid, own.grid[::-1, ::-1], own.grid[:, ::-1], own.grid[::-1]):
        for down in _SHIFTS:
            for right in _SHIFTS:
                moved = np.roll(grid, (down, right), (0, 1)).ravel()
                best = np.maximum(best, stack @ moved)
    return [int(place) for place in np.argsort(-best, kind="stable")[:most]]
