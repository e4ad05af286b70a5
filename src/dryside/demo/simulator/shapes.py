"""A canvas in film millimetres on which edges fall exactly where they are asked to, between pixels too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def f32(values: ArrayLike) -> NDArray[np.float32]:
    """A 32-bit array: the simulator reckons in these."""
    return np.asarray(values, dtype=np.float32)


def coverage(start_px: float, stop_px: float, size: int) -> NDArray[np.float32]:
    """How much of each of `size` pixels lies between two positions: 0 to 1, exact for straight edges."""
    edges = np.arange(size + 1, dtype=np.float64)
    inside = np.clip(edges, start_px, max(start_px, stop_px))
    return np.diff(inside).astype(np.float32)


def soft_coverage(start_px: float, stop_px: float, size: int, blur_px: float) -> NDArray[np.float32]:
    """`coverage` with edges that rise over about `blur_px` (standard deviation of a bell)."""
    if blur_px <= 0.2:
        return coverage(start_px, stop_px, size)
    middle = np.arange(size) + 0.5
    rise = 1 / (1 + np.exp(-np.clip((middle - start_px) * 1.702 / blur_px, -40, 40)))
    fall = 1 / (1 + np.exp(-np.clip((stop_px - middle) * 1.702 / blur_px, -40, 40)))
    return (rise * fall).astype(np.float32)


def rounded_rectangle(
    size_mm: tuple[float, float], radius_mm: float, offset_px: tuple[float, float], scale: float
) -> Array:
    """Coverage of a rounded rectangle whose centre is `offset_px` right of and below the middle of the patch."""
    half = np.array(size_mm) / 2 * scale
    rows, columns = (2 * (int(np.ceil(part)) + 2) for part in half[::-1])
    x = np.abs(np.arange(columns) + 0.5 - columns / 2 - offset_px[0])
    y = np.abs(np.arange(rows) + 0.5 - rows / 2 - offset_px[1])
    radius = radius_mm * scale
    qx, qy = np.meshgrid(x - half[0] + radius, y - half[1] + radius)
    distance = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - radius
    return np.clip(0.5 - distance, 0, 1).astype(np.float32)


@dataclass
class Canvas:
    """One layer of coverage or light over a strip; film (0, 0) is its outer top-left corner."""

    values: NDArray[np.float32]
    pixels_per_mm: float
    height_mm: float = 0.0

    @classmethod
    def blank(cls, length_mm: float, height_mm: float, pixels_per_mm: float) -> Canvas:
        """All zero, large enough for length and height."""
        shape = (round(np.ceil(height_mm * pixels_per_mm)), round(np.ceil(length_mm * pixels_per_mm)))
        return cls(np.zeros(shape, np.float32), pixels_per_mm, height_mm)

    def add_rectangle(self, x0: float, y0: float, x1: float, y1: float, value: float = 1.0) -> None:
        """Add a rectangle given in mm."""
        scale = self.pixels_per_mm
        rows, columns = self.values.shape
        top, bottom = max(0, int(y0 * scale)), min(rows, int(np.ceil(y1 * scale)) + 1)
        left, right = max(0, int(x0 * scale)), min(columns, int(np.ceil(x1 * scale)) + 1)
        if top >= bottom or left >= right:
            return
        down = coverage(y0 * scale - top, y1 * scale - top, bottom - top)
        along = coverage(x0 * scale - left, x1 * scale - left, right - left)
        self.values[top:bottom, left:right] += value * down[:, None] * along

    def add_patch(self, x_mm: float, y_mm: float, patch: Array) -> None:
        """Lay a patch of coverage over a point (its middle), to the nearest pixel; the larger value stays."""
        height, width = patch.shape
        top = round(y_mm * self.pixels_per_mm - height / 2)
        left = round(x_mm * self.pixels_per_mm - width / 2)
        rows, columns = self.values.shape
        r0, r1, c0, c1 = max(0, top), min(rows, top + height), max(0, left), min(columns, left + width)
        if r0 < r1 and c0 < c1:
            part = patch[r0 - top : r1 - top, c0 - left : c1 - left]
            np.maximum(self.values[r0:r1, c0:c1], part, out=self.values[r0:r1, c0:c1])

    def add_hole(self, x_mm: float, y_mm: float, size_mm: tuple[float, float], radius_mm: float) -> None:
        """Lay a rounded rectangle exactly over a point."""
        scale = self.pixels_per_mm
        column, row = x_mm * scale, y_mm * scale
        offset = (column - round(column), row - round(row))
        patch = rounded_rectangle(size_mm, radius_mm, offset, scale)
        self.add_patch((column - offset[0]) / scale, (row - offset[1]) / scale, patch)
