"""Pictures drawn by the program, scene-linear with 0.18 = a grey card: something to put on the film."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.shapes import f32

Array = NDArray[Any]
Generator = np.random.Generator


def _ramp(rows: int, columns: int) -> tuple[Array, Array]:
    y = np.linspace(0, 1, rows, dtype=np.float32)[:, None] * np.ones((1, columns), np.float32)
    x = np.linspace(0, 1, columns, dtype=np.float32)[None, :] * np.ones((rows, 1), np.float32)
    return x, y


def clouds(rng: Generator, rows: int, columns: int, *, coarsest: int = 3) -> Array:
    """Smooth noise in [0, 1], shape (rows, columns)."""
    import cv2

    total = np.zeros((rows, columns), np.float32)
    for octave in range(5):
        cells = coarsest * 2**octave
        seed = rng.random((max(2, cells * rows // columns), cells), dtype=np.float32)
        total += cv2.resize(seed, (columns, rows), interpolation=cv2.INTER_CUBIC) / 2**octave
    low, high = float(total.min()), float(total.max())
    return np.asarray((total - low) / (high - low + 1e-6), dtype=np.float32)


def landscape(rng: Generator, rows: int = 400, columns: int = 600) -> Array:
    """Sky with clouds over hills and a field."""
    x, y = _ramp(rows, columns)
    horizon = 0.4 + 0.08 * np.sin(5 * x + rng.uniform(0, 6)) + 0.03 * np.sin(17 * x + rng.uniform(0, 6))
    cloud = clouds(rng, rows, columns)[..., None]
    sky = f32([0.35, 0.55, 1.0]) * (0.7 + 0.6 * y[..., None])
    sky = sky * (1 - cloud**2) + f32([1.3, 1.25, 1.2]) * cloud**2
    ground = f32([0.12, 0.16, 0.05]) * (0.3 + 1.6 * clouds(rng, rows, columns, coarsest=12)[..., None])
    return np.where((y < horizon)[..., None], sky, ground).astype(np.float32)


def leaves(rng: Generator, rows: int = 400, columns: int = 600, *, count: int = 350) -> Array:
    """Overlapping discs of all sizes, colours and brightnesses."""
    import cv2

    picture = np.full((rows, columns, 3), 0.1, np.float32)
    for _ in range(count):
        radius = int(min(60, 3 / (rng.random() + 0.02)) * columns / 400) + 1
        centre = (int(rng.integers(0, columns)), int(rng.integers(0, rows)))
        colour = (0.18 * 2 ** rng.uniform(-4, 2.5) * (0.4 + rng.random(3))).tolist()
        cv2.circle(picture, centre, radius, colour, -1, cv2.LINE_AA)
    return picture


def portrait(rng: Generator, rows: int = 400, columns: int = 600) -> Array:
    """A head-and-shoulders shape before a plain ground."""
    import cv2

    picture = np.ones((rows, columns, 3), np.float32) * np.float32(0.03 + 0.4 * rng.random()) * f32([0.9, 1, 1.1])
    picture *= (0.6 + 0.8 * clouds(rng, rows, columns))[..., None]
    cx, cy, size = columns * rng.uniform(0.35, 0.65), rows * 0.45, rows * 0.24
    coat = (np.array([0.05, 0.06, 0.1]) * rng.uniform(0.5, 4)).tolist()
    cv2.ellipse(
        picture, (int(cx), int(rows * 1.02)), (int(size * 2), int(size * 1.6)), 0, 0, 360, coat, -1, cv2.LINE_AA
    )
    cv2.ellipse(
        picture, (int(cx), int(cy)), (int(size * 0.8), int(size)), 0, 0, 360, (0.42, 0.27, 0.2), -1, cv2.LINE_AA
    )
    return cv2.GaussianBlur(picture, (0, 0), 1.2)


def night(rng: Generator, rows: int = 400, columns: int = 600) -> Array:
    """Almost nothing but a few lamps."""
    import cv2

    picture = np.full((rows, columns, 3), 0.0005, np.float32)
    for _ in range(int(rng.integers(2, 9))):
        centre = (int(rng.integers(columns // 8, 7 * columns // 8)), int(rng.integers(rows // 5, 4 * rows // 5)))
        cv2.circle(picture, centre, int(rng.integers(2, 14)), (2.0, 1.4, 0.7), -1, cv2.LINE_AA)
    return cv2.GaussianBlur(picture, (0, 0), 4)


def snow(rng: Generator, rows: int = 400, columns: int = 600) -> Array:
    """Bright nearly everywhere."""
    return (0.9 + 0.7 * clouds(rng, rows, columns))[..., None] * f32([0.97, 1.0, 1.06])


def dark(_: Generator, rows: int = 400, columns: int = 600) -> Array:
    """The lens cap left on: no light at all."""
    return np.zeros((rows, columns, 3), np.float32)


def patches(rng: Generator, rows: int = 400, columns: int = 600) -> Array:
    """A board of 4 by 6 colour patches on a black ground, before a plain wall."""
    picture = np.full((rows, columns, 3), 0.22, np.float32)
    top, left, bottom, right = rows // 8, columns // 8, rows * 7 // 8, columns * 7 // 8
    picture[top:bottom, left:right] = 0.03
    side_y, side_x = (bottom - top) / 4, (right - left) / 6
    for row in range(4):
        for column in range(6):
            y0, x0 = int(top + side_y * (row + 0.1)), int(left + side_x * (column + 0.1))
            grey = row == 3
            colour = np.full(3, 0.9 * 0.52**column) if grey else rng.uniform(0.03, 0.6, 3)
            picture[y0 : int(y0 + side_y * 0.8), x0 : int(x0 + side_x * 0.8)] = colour
    return picture


DRAWN: dict[str, Any] = {
    "landscape": landscape,
    "leaves": leaves,
    "portrait": portrait,
    "night": night,
    "snow": snow,
    "patches": patches,
    "dark": dark,
}
"""Every kind of drawn picture: `DRAWN[name](rng, rows, columns)`."""
