"""Dust, hairs and scratches: what takes light beside the dyes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.camera import Camera
from dryside.negatives.types import FilmPlane


def draw_damage(camera: Camera, plane: FilmPlane, rng: np.random.Generator) -> NDArray[np.float32]:
    """How much light each pixel loses, 0 to 1: specks and hairs anywhere, scratches along the film."""
    import cv2

    canvas = np.zeros((camera.rows, camera.columns), np.uint8)
    for _ in range(camera.dust):
        _speck(canvas, camera, rng)
    for _ in range(camera.scratches):
        y_mm = rng.uniform(6, 29)
        start, length = rng.uniform(0, 60), rng.uniform(15, 120)
        x = np.linspace(start, start + length, 40)
        line = plane.capture(np.stack([x, y_mm + 0.05 * np.sin(x / 7)], axis=-1))
        strength = int(rng.integers(60, 150))
        cv2.polylines(canvas, [np.round(line * 8).astype(np.int32)], False, strength, 1, cv2.LINE_AA, 3)
    return canvas.astype(np.float32) / np.float32(255)


def _speck(canvas: NDArray[np.uint8], camera: Camera, rng: np.random.Generator) -> None:
    import cv2

    x, y = rng.uniform(0, camera.columns), rng.uniform(0, camera.rows)
    size = camera.pixels_per_mm * rng.uniform(0.02, 0.12)
    strength = int(rng.integers(120, 245))
    if rng.random() < 0.3:  # a hair
        t = np.linspace(0, 1, 12)
        bend = rng.normal(0, 6 * size, 4)
        points = np.stack([x + bend[0] * t + bend[1] * t**2, y + bend[2] * t + bend[3] * t**2], axis=-1)
        width = max(1, round(size / 3))
        cv2.polylines(canvas, [np.round(points * 8).astype(np.int32)], False, strength, width, cv2.LINE_AA, 3)
        return
    axes = (max(1, int(size * rng.uniform(0.5, 1.0) * 8)), max(1, int(size * rng.uniform(0.3, 1.0) * 8)))
    centre = (int(x * 8), int(y * 8))
    cv2.ellipse(canvas, centre, axes, float(rng.uniform(0, 180)), 0, 360, strength, -1, cv2.LINE_AA, 3)
