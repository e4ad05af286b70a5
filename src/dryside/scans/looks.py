"""What a thumbnail shows at a glance: nothing at all, grey only, or the same view as another one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

GRID = 32
BLANK_SPREAD = (
    4.0  # 8-bit levels between the 5th and 95th percentile of a 32 x 32 mean: grain averages out, views do not
)
GREY_CHROMA = 3.0  # mean distance of the channels, 8-bit levels
SAME_VIEW = 0.965  # correlation of two 32 x 32 means that one exposure scanned twice keeps
_SHIFTS = (-1, 0, 1)


@dataclass(frozen=True)
class Look:
    """A picture at a glance.

    Attributes
    ----------
    grid : ndarray of shape (32, 32), float32
        Luma, mean 0 and spread 1; all 0 where blank.
    spread : float
        Between the 5th and 95th percentile of the grid before that, 8-bit levels.
    level : float
        Mean luma, 8-bit levels.
    is_grey : bool
        Whether there is no colour in it.
    aspect : float
        Long side over short side.
    """

    grid: NDArray[np.float32]
    spread: float
    level: float
    is_grey: bool
    aspect: float

    @property
    def is_blank(self) -> bool:
        """Whether nothing was exposed (or everything to the limit)."""
        return self.spread < BLANK_SPREAD


def look_at(image: NDArray[Any]) -> Look:
    """Take in an 8-bit RGB picture of shape (rows, columns, 3); a thumbnail is enough."""
    import cv2

    small = np.asarray(cv2.resize(image, (GRID, GRID), interpolation=cv2.INTER_AREA), dtype=np.float32)
    luma = small @ np.array([0.299, 0.587, 0.114], np.float32)
    # The outermost cells may be rebate or a rim of light.
    inner = luma[2:-2, 2:-2]
    low, high = np.percentile(inner, [5, 95])
    spread = float(high - low)
    deviation = float(luma.std())
    grid = (luma - luma.mean()) / deviation if spread >= BLANK_SPREAD else np.zeros_like(luma)
    chroma = float(np.abs(small - luma[..., None]).mean())
    rows, columns = image.shape[:2]
    return Look(grid, spread, float(luma.mean()), chroma < GREY_CHROMA, max(rows, columns) / min(rows, columns))


def same_view(a: Look, b: Look) -> float:
    """Correlation of two looks, -1 to 1, the best within a cell's shift; 0 where either is blank."""
    if a.is_blank or b.is_blank:
        return 0.0
    core = a.grid[1:-1, 1:-1]
    best = -1.0
    for down in _SHIFTS:
        for right in _SHIFTS:
            other = b.grid[1 + down : GRID - 1 + down, 1 + right : GRID - 1 + right]
            x, y = core - core.mean(), other - other.mean()
            best = max(best, float((x * y).sum() / np.sqrt((x * x).sum() * (y * y).sum() + 1e-9)))
    return best


def is_same_view(a: Look, b: Look) -> bool:
    """Whether two scans are likely of one exposure."""
    return same_view(a, b) >= SAME_VIEW
