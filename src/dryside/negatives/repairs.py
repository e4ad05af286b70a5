"""Mended pixels of a frame, few among many, laid over a capture's rows before anything else is done with them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.dust import Bearing, DustFound, bearing_of, find_dust, mend
from dryside.negatives.specks import find_specks

LevelArray = NDArray[np.uint16]
FloatImage = NDArray[np.float32]

Levels = Callable[[int, int, int, int], LevelArray]
"""`levels(top, bottom, left, right)`: a window of the capture in levels."""

Through = Callable[[LevelArray, int, int], FloatImage]
"""Transmittance of a window of levels whose corner lies at (top, left)."""

_TILE = 1024
_OVERLAP = 40
_LOOKED_AT = 9
FULL_LEVEL = 65535


@dataclass(frozen=True, eq=False)
class Repairs:
    """Mended pixels, in the order of rows.

    Attributes
    ----------
    rows, columns : ndarray of shape (pixels,), int64
        Where, in capture pixels; sorted by row.
    levels : ndarray of shape (pixels, 3), uint16
        What they become.
    shift : (x, y)
        By how many pixels the infrared lay off the picture; (0, 0) without infrared.
    """

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    levels: LevelArray
    shift: tuple[float, float] = (0.0, 0.0)

    def lay_over(self, pixels: LevelArray, top: int, left: int) -> None:
        """Change the pixels of a window whose corner lies at (top, left), in place."""
        first, stop = np.searchsorted(self.rows, (top, top + pixels.shape[0]))
        column = self.columns[first:stop] - left
        inside = (column >= 0) & (column < pixels.shape[1])
        pixels[self.rows[first:stop][inside] - top, column[inside]] = self.levels[first:stop][inside]


NOTHING = Repairs(np.empty(0, np.int64), np.empty(0, np.int64), np.empty((0, 3), np.uint16))


def repairs_by_infrared(
    window: tuple[int, int, int, int], levels: Levels, through: Through, infrared: Levels, *, thing: str
) -> Repairs:
    """Mended pixels of a window of a capture, by infrared.

    Parameters
    ----------
    window : (top, bottom, left, right)
        Whole pixels inside the capture.
    levels, through : callables
        Of the capture.
    infrared : callable
        Windows of the infrared, shape (rows, columns) in the third dimension or without one.
    thing : str
        The infrared as the person named it.

    Raises
    ------
    Refusal
        If the infrared follows the picture.
    """
    tiles = list(_tiles(window))
    looked = tiles[:: max(1, len(tiles) // _LOOKED_AT)]
    stand = _common_bearing(
        [
            bearing_of(through(levels(*inner), inner[0], inner[2]), _plane(infrared(*inner)), thing=thing)
            for _, inner in looked
        ]
    )
    parts = []
    for core, wide in tiles:
        light = through(levels(*wide), wide[0], wide[2])
        found = find_dust(light, _plane(infrared(*wide)), stand)
        parts.append(_part(core, wide, levels, light, found))
    return _joined(parts, stand.shift)


def repairs_by_sight(window: tuple[int, int, int, int], levels: Levels, through: Through) -> Repairs:
    """Mended pixels of a window without infrared: specks and lines that no picture has. Parameters as above."""
    parts = []
    for core, wide in _tiles(window):
        light = through(levels(*wide), wide[0], wide[2])
        parts.append(_part(core, wide, levels, light, find_specks(light)))
    return _joined(parts, (0.0, 0.0))


def _plane(infrared: NDArray[np.uint16]) -> FloatImage:
    plane = infrared if infrared.ndim == 2 else infrared[..., 0]
    return plane.astype(np.float32) / np.float32(FULL_LEVEL)


def _tiles(window: tuple[int, int, int, int]) -> Iterator[tuple[tuple[int, int, int, int], tuple[int, int, int, int]]]:
    """Parts of a window, and the same with what surrounds them inside the window."""
    top, bottom, left, right = window
    for y in range(top, bottom, _TILE):
        for x in range(left, right, _TILE):
            core = (y, min(y + _TILE, bottom), x, min(x + _TILE, right))
            wide = (
                max(core[0] - _OVERLAP, top),
                min(core[1] + _OVERLAP, bottom),
                max(core[2] - _OVERLAP, left),
                min(core[3] + _OVERLAP, right),
            )
            yield core, wide


def _common_bearing(seen: list[Bearing]) -> Bearing:
    """One for the frame: the median shift of the surer half, the median leak."""
    sure = sorted(seen, key=lambda one: -one.sureness)[: (len(seen) + 1) // 2]
    sure = [one for one in sure if one.sureness > 0] or sure[:1]
    x, y = np.median([one.shift for one in sure], axis=0)
    red, green, blue = np.median([one.leak for one in seen], axis=0)
    return Bearing((float(x), float(y)), (float(red), float(green), float(blue)), sure[0].sureness)


def _part(
    core: tuple[int, int, int, int],
    wide: tuple[int, int, int, int],
    levels: Levels,
    light: FloatImage,
    found: DustFound,
) -> Repairs:
    """The mended pixels of a tile's core."""
    mended = mend(light, found)
    changed = (mended != light).any(axis=-1)
    inner = np.zeros_like(changed)
    inner[core[0] - wide[0] : core[1] - wide[0], core[2] - wide[2] : core[3] - wide[2]] = True
    y, x = np.nonzero(changed & inner)
    was = levels(*wide)[y, x].astype(np.float32)
    ratio = mended[y, x] / np.maximum(light[y, x], 1e-5)
    # A pixel that dust has darkened to nothing has no ratio to grow by: the light of its surroundings serves.
    unit = float(np.median(levels(*wide)[::16, ::16, 1] / np.maximum(light[::16, ::16, 1], 1e-5)))
    value = np.where(was > 0, was * ratio, mended[y, x] * unit)
    return Repairs(
        (y + wide[0]).astype(np.int64),
        (x + wide[2]).astype(np.int64),
        np.clip(value + 0.5, 1, FULL_LEVEL).astype(np.uint16),
    )


def _joined(parts: list[Repairs], shift: tuple[float, float]) -> Repairs:
    rows = np.concatenate([part.rows for part in parts]) if parts else NOTHING.rows
    columns = np.concatenate([part.columns for part in parts]) if parts else NOTHING.columns
    levels = np.concatenate([part.levels for part in parts]) if parts else NOTHING.levels
    order = np.lexsort((columns, rows))
    return Repairs(rows[order], columns[order], levels[order], shift)
