"""Brushes that the painters of pictures share: grids, noise, ridge lines, skies, polygons, lit balls."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.floating]
Point = tuple[float, float]


def grid(width: int, height: int) -> tuple[Picture, Picture]:
    """Across and down, both from 0 to 1 over the picture."""
    x, y = np.meshgrid(np.linspace(0, 1, width, dtype=np.float32), np.linspace(0, 1, height, dtype=np.float32))
    return x, y


def mix(low: object, high: object, amount: npt.NDArray[np.float32]) -> Picture:
    """Between two colours, by an amount of shape (rows, columns) from 0 to 1."""
    a, b = np.asarray(low, np.float32), np.asarray(high, np.float32)
    return np.asarray(a + (b - a) * amount[..., None], np.float32)


def noise(width: int, height: int, rng: np.random.Generator, *, cells: int, octaves: int = 4) -> Picture:
    """Cloud-like noise about 0, within about -1 to 1: coarse cells enlarged smoothly, halving in size and strength."""
    import cv2

    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        across = min(width, cells * 2**octave)
        down = min(height, max(2, round(across * height / width)))
        coarse = rng.standard_normal((down, across)).astype(np.float32)
        total += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC) * 0.5 ** (octave + 1)
    return np.clip(total, -1.5, 1.5)


def line(width: int, rng: np.random.Generator, *, cells: int, octaves: int = 6) -> npt.NDArray[np.float32]:
    """A ridge line about 0: one row of noise."""
    x = np.linspace(0, 1, width)
    total = np.zeros(width)
    for octave in range(octaves):
        count = cells * 2**octave + 3
        knots = rng.standard_normal(count)
        total += np.interp(x, np.linspace(-0.1, 1.1, count), knots) * 0.5**octave
    return total.astype(np.float32)


def sky(x: Picture, y: Picture, rng: np.random.Generator, *, top: object, low: object, horizon: float) -> Picture:
    """A sky from `top` down to `low` at the horizon, with clouds."""
    sky = mix(top, low, np.clip(y / horizon, 0, 1) ** 0.8)
    clouds = noise(x.shape[1], x.shape[0], rng, cells=3, octaves=5)
    cover = np.clip((clouds - 0.15) * 1.6, 0, 1) * np.clip(1 - y / horizon, 0, 1) ** 0.4
    return sky * (1 - 0.6 * cover[..., None]) + 0.55 * cover[..., None] * np.asarray([1.0, 0.96, 0.9], np.float32)


def glow(x: Picture, y: Picture, at: tuple[float, float], size: float, aspect: float) -> npt.NDArray[np.float32]:
    """A round Gaussian spot of height 1 at a point."""
    return np.exp(-(((x - at[0]) * aspect) ** 2 + (y - at[1]) ** 2) / (2 * size**2))


def soft(picture: Picture, sigma: float) -> Picture:
    """The picture blurred; sigma in pixels."""
    import cv2

    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), np.float32)


def fill(picture: Picture, points: list[tuple[float, float]], colour: object) -> None:
    """Paint a polygon in place, its corners given from 0 to 1, edges smoothed to sub-pixels."""
    import cv2

    height, width = picture.shape[:2]
    corners = np.array([[round(px * width * 16), round(py * height * 16)] for px, py in points], np.int32)
    left, top = np.clip(corners.min(axis=0) // 16 - 1, 0, (width, height))
    right, low = np.clip(corners.max(axis=0) // 16 + 2, 0, (width, height))
    if right <= left or low <= top:
        return
    mask = np.zeros((low - top, right - left), np.uint8)
    cv2.fillPoly(mask, [corners - np.array([left, top], np.int32) * 16], 255, lineType=cv2.LINE_AA, shift=4)
    cover = mask.astype(np.float32)[..., None] / 255
    painted = picture[top:low, left:right]
    painted[:] = painted * (1 - cover) + np.asarray(colour, np.float32) * cover


def window(x: Picture, y: Picture, at: Point, reach: Point) -> tuple[slice, slice]:
    """Rows and columns of the grid within `reach` (across, down; from 0 to 1) of a point, a pixel more on each side."""
    rows, columns = x.shape
    left, right = (round((at[0] + side * reach[0]) * columns) + 2 * side for side in (-1, 1))
    top, low = (round((at[1] + side * reach[1]) * rows) + 2 * side for side in (-1, 1))
    return slice(max(top, 0), max(low, 0)), slice(max(left, 0), max(right, 0))


def ellipse(
    x: Picture, y: Picture, at: tuple[float, float], size: tuple[float, float], aspect: float, height: int
) -> Picture:
    """Cover from 0 to 1 of an ellipse, half axes in picture heights."""
    radius = np.hypot((x - at[0]) * aspect / size[0], (y - at[1]) / size[1])
    return np.asarray(np.clip((1 - radius) * min(size) * height / 2 + 0.5, 0, 1), np.float32)


def ball(
    picture: Picture,
    x: Picture,
    y: Picture,
    at: tuple[float, float],
    size: tuple[float, float],
    colour: object,
    aspect: float,
) -> Picture:
    """An ellipsoid lit from the upper left with a soft shadow side and a rim of sky light."""
    part = window(x, y, at, (size[0] / aspect, size[1]))
    height, x, y, behind = x.shape[0], x[part], y[part], picture[part]
    across, down = (x - at[0]) * aspect / size[0], (y - at[1]) / size[1]
    radius = np.hypot(across, down)
    normal_z = np.sqrt(np.clip(1 - radius**2, 0, 1))
    key = np.clip(-0.55 * across - 0.45 * down + 0.70 * normal_z, 0, 1)
    light = 0.16 + 1.05 * key[..., None] * np.asarray([1.0, 0.93, 0.82], np.float32)
    light = light + 0.10 * (1 - normal_z)[..., None] * np.asarray([0.7, 0.85, 1.0], np.float32)
    cover = ellipse(x, y, at, size, aspect, height)[..., None]
    painted = picture.copy()
    painted[part] = behind * (1 - cover) + cover * np.asarray(colour, np.float32) * light
    return painted
