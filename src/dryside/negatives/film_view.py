"""The film laid flat: a capture resampled so that rows run along the film and one pixel is one part of a millimetre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import FilmPlane, FloatArray, LightArray

Floats = NDArray[np.floating[Any]]

_NODE_STEP = 16


@dataclass(frozen=True, eq=False)
class FilmView:
    """A window of the film, upright and straight.

    Attributes
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light; 0 where the film lies outside the capture.
    inside : ndarray of shape (rows, columns), bool
        Which pixels lie in the capture.
    x0_mm, y0_mm : float
        Film point of the outer corner of the top-left pixel.
    pixels_per_mm : float
        Of the view.
    """

    light: LightArray
    inside: NDArray[np.bool_]
    x0_mm: float
    y0_mm: float
    pixels_per_mm: float

    @property
    def x_mm(self) -> FloatArray:
        """Film x of the middle of each column."""
        return np.asarray(self.x0_mm + (np.arange(self.light.shape[1]) + 0.5) / self.pixels_per_mm)

    @property
    def y_mm(self) -> FloatArray:
        """Film y of the middle of each row."""
        return np.asarray(self.y0_mm + (np.arange(self.light.shape[0]) + 0.5) / self.pixels_per_mm)

    def rows(self, y0_mm: float, y1_mm: float) -> slice:
        """The rows whose middles lie between two film y."""
        return _between(self.y0_mm, self.pixels_per_mm, self.light.shape[0], y0_mm, y1_mm)

    def columns(self, x0_mm: float, x1_mm: float) -> slice:
        """The columns whose middles lie between two film x."""
        return _between(self.x0_mm, self.pixels_per_mm, self.light.shape[1], x0_mm, x1_mm)


def _between(origin: float, scale: float, size: int, start: float, stop: float) -> slice:
    first = int(np.ceil((start - origin) * scale - 0.5))
    last = int(np.floor((stop - origin) * scale - 0.5)) + 1
    return slice(min(max(first, 0), size), min(max(last, first, 0), size))


def lay_flat(
    light: NDArray[np.float32],
    plane: FilmPlane,
    *,
    scale: float,
    x_mm: tuple[float, float],
    y_mm: tuple[float, float],
    pixels_per_mm: float,
    origin: tuple[float, float] = (0.0, 0.0),
) -> FilmView:
    """Resample a window of the film.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3) or (rows, columns), float32
        The capture reduced by `scale`, or a full-size window of it (`scale` 1 and `origin`).
    plane : FilmPlane
        Film to capture.
    scale : float
        Capture pixels to one pixel of `light`.
    x_mm, y_mm : (from, to)
        The window.
    pixels_per_mm : float
        Of the view.
    origin : (x, y), optional
        Capture pixel of the outer corner of `light`'s first pixel.
    """
    import cv2

    columns = max(1, round((x_mm[1] - x_mm[0]) * pixels_per_mm))
    rows = max(1, round((y_mm[1] - y_mm[0]) * pixels_per_mm))
    map_x, map_y = _maps(plane, (rows, columns), (x_mm[0], y_mm[0]), pixels_per_mm)
    map_x = (map_x - np.float32(origin[0])) * np.float32(1 / scale) - np.float32(0.5)
    map_y = (map_y - np.float32(origin[1])) * np.float32(1 / scale) - np.float32(0.5)
    flat = cv2.remap(light, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = light.shape[:2]
    inside = (map_x > -0.6) & (map_x < width - 0.4) & (map_y > -0.6) & (map_y < height - 0.4)
    flat[~inside] = 0
    return FilmView(np.asarray(flat, dtype=np.float32), inside, x_mm[0], y_mm[0], pixels_per_mm)


def sample(picture: NDArray[np.float32], pixels: Floats, *, scale: float, outside: float) -> NDArray[np.float32]:
    """A single-channel picture at capture pixels of shape (n, m, 2), linear between its own pixels.

    `picture` is the capture reduced by `scale`; beyond it the value is `outside`.
    """
    import cv2

    points = (np.asarray(pixels) / scale - 0.5).astype(np.float32)
    border = (outside,) * 4
    parts = [
        cv2.remap(
            picture, np.ascontiguousarray(part[..., 0]), np.ascontiguousarray(part[..., 1]), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=border,
        )
        for part in np.array_split(points, max(1, len(points) // 16_000))  # OpenCV's maps have at most 32,767 rows
    ]  # fmt: skip
    return np.concatenate([np.asarray(part, dtype=np.float32) for part in parts])


def _maps(
    plane: FilmPlane, shape: tuple[int, int], corner_mm: tuple[float, float], pixels_per_mm: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Capture x and y of each pixel of a view: exact every few pixels, linear between."""
    import cv2

    step = _NODE_STEP
    rows, columns = (-(-size // step) + 2 for size in shape)
    x = corner_mm[0] + step * (np.arange(columns) - 0.5) / pixels_per_mm
    y = corner_mm[1] + step * (np.arange(rows) - 0.5) / pixels_per_mm
    nodes = plane.capture(np.stack(np.meshgrid(x, y), axis=-1)).astype(np.float32)
    full = cv2.resize(nodes, (columns * step, rows * step), interpolation=cv2.INTER_LINEAR)
    part = full[step : step + shape[0], step : step + shape[1]]
    map_x, map_y = cv2.split(part)
    return np.asarray(map_x, dtype=np.float32), np.asarray(map_y, dtype=np.float32)
