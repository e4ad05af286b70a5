"""Large captures made by formula: a scene of soft shapes and texture through film, grain and shot noise, 16 bits."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

SIZES = {"24": (4000, 6000), "61": (6336, 9504), "2": (1000, 2000)}
FULL = 65535


def flat_field(rows: int, columns: int) -> np.ndarray:
    """A light table that falls off to its corners, with a tint; shape (rows, columns, 3), uint16."""
    y, x = np.mgrid[-1:1:171j, -1.5:1.5:256j]
    fall = 1 - 0.12 * (x * x + y * y) + 0.02 * x
    light = np.stack([fall * 58000, fall * 56000, fall * 52000 * (1 - 0.02 * y)], -1).astype(np.float32)
    return np.rint(cv2.resize(light, (columns, rows), interpolation=cv2.INTER_LINEAR)).astype(np.uint16)


def negative(rows: int, columns: int, *, seed: int = 1) -> np.ndarray:
    """A colour negative that fills the capture, over `flat_field`; shape (rows, columns, 3), uint16."""
    rng = np.random.default_rng(seed)
    out = np.empty((rows, columns, 3), np.uint16)
    # Soft shapes of several sizes, none of them on a grid that could be taken for a chart.
    greys = np.zeros((96, 144), np.float32)
    for cells in (3, 7, 19):
        coarse = rng.random((cells * 2 + 1, cells * 3 + 2), dtype=np.float32)
        greys += cv2.resize(coarse, (144, 96), interpolation=cv2.INTER_CUBIC) / 3
    greys = 0.15 + 1.25 * (greys - greys.min()) / np.ptp(greys)
    tones = greys[..., None] * np.array([0.9, 1.0, 1.1]) + rng.normal(0, 0.02, (96, 144, 3))
    texture = rng.standard_normal((rows // 6, columns // 6)).astype(np.float32) * 0.05
    density = cv2.resize(tones.astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    density += cv2.resize(texture, (columns, rows), interpolation=cv2.INTER_CUBIC)[..., None]
    flat = flat_field(rows, columns)
    for start in range(0, rows, 500):
        part = density[start : start + 500] + np.array([0.25, 0.60, 0.85], np.float32)
        part += cv2.GaussianBlur(rng.standard_normal(part.shape, dtype=np.float32), (0, 0), 0.7) * 0.055
        light = np.power(np.float32(10), -part) * flat[start : start + 500]
        light += rng.standard_normal(light.shape, dtype=np.float32) * np.sqrt(np.maximum(light, 0) + 9)
        out[start : start + 500] = np.rint(np.clip(light, 1, FULL))
    return out


def load(size: str, work: Path) -> tuple[np.ndarray, np.ndarray]:
    """Capture and flat of a size in megapixels, made once and kept in `work`."""
    rows, columns = SIZES[size]
    kept = work / f"negative-{size}.npy", work / f"flat-{size}.npy"
    if not all(path.exists() for path in kept):
        np.save(kept[0], negative(rows, columns))
        np.save(kept[1], flat_field(rows, columns))
    return np.load(kept[0]), np.load(kept[1])
