"""Drawn film for tests of the finder: scenes, looking for them, how far off their corners are."""

import cv2
import numpy as np

from dryside.demo.simulator import Camera, landscape, leaves, patches, portrait, snow
from dryside.negatives.geometry import finder_reduction, read_film

CAMERA = Camera(pixels_per_mm=10, blur_px=0.5, unevenness=0.15, vignetting=0.1)


def scenes(count, seed=1):
    rng = np.random.default_rng(seed)
    return [(landscape, leaves, portrait, patches, snow)[k % 5](rng, 200, 300) for k in range(count)]


def find(light, format="135", **details):
    factor = finder_reduction(*light.shape[:2])
    size = (light.shape[1] // factor, light.shape[0] // factor)
    small = cv2.resize(light[: size[1] * factor, : size[0] * factor], size, interpolation=cv2.INTER_AREA)
    return read_film(
        small, format=format, scale=float(factor), band=lambda y0, y1, x0, x1: light[y0:y1, x0:x1], **details
    )


def corner_errors_pct(found, made, height_mm=24.0):
    """Distances of all corners, frames in order of their labels."""
    true = sorted(made.frames, key=lambda frame: frame.index)
    scale = made.strips[0].pixels_per_mm * height_mm
    assert len(found.frames) == len(true)
    return np.concatenate([
        np.hypot(*(one.corners - other.corners).T) / scale * 100 for one, other in zip(found.frames, true, strict=True)
    ])  # fmt: skip
