"""The geometry of a capture in one call: strips, frames, codes, labels, which way up.

The other modules hold the steps: `strip` (where the film lies), `frames` (the pictures), `edge_codes` (the numbers),
`orientation` (upright, mirrored), `labels`, `rebate` (where clear film base is) and `overlay` (all of it drawn).
"""

from __future__ import annotations

import math

from dryside.negatives.types import Band, FilmRead, LightArray

# About half a million pixels show every perforation at 6 and more pixels an edge, and cost little.
_FINDER_PIXELS = 500_000


def finder_reduction(rows: int, columns: int) -> int:
    """By how much to reduce a capture of this size for `read_film`: 8 at 24 MP, 1 below half a megapixel."""
    return max(1, math.ceil(math.sqrt(rows * columns / _FINDER_PIXELS)))


def read_film(light: LightArray, *, format: str, scale: float, band: Band) -> FilmRead:
    """Find the film in a capture: strips, frames, edge codes and labels.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light, or transmittance after the flat, of the capture reduced by `scale` (mean of the pixels).
    format : str
        Key of `dryside.film.formats.FORMATS`.
    scale : float
        Pixels of the capture to one of `light`; see `finder_reduction`.
    band : callable
        Full-size windows of the same light: `band(y0, y1, x0, x1)`.

    Returns
    -------
    FilmRead
        False, with `why`, where no film is found.
    """
    raise NotImplementedError
