"""Small captures of strips for the pipeline's tests, drawn by the simulator."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import tifffile

from dryside.demo.simulator import Camera, Placed, draw_capture, landscape, lay_out, leaves, portrait


@cache
def strip(first=5, tilt=0.6, seed=1, infrared=False, dust=0):
    """Three frames, numbered from `first`, at 18 px/mm: pixels, flat, infrared and the truth."""
    rng = np.random.default_rng(seed)
    film = lay_out([landscape(rng), portrait(rng), leaves(rng)], first_number=first)
    camera = Camera(rows=760, columns=2300, pixels_per_mm=18.0, infrared=infrared, dust=dust, unevenness=0.1)
    return draw_capture(Placed(film, tilt_degrees=tilt), camera, seed=seed)


def write_strip(folder, name="capture-1.tif", flat=True, **how):
    """A capture (and its flat) as files; the truth comes back."""
    made = strip(**how)
    tifffile.imwrite(
        folder / name, made.pixels, photometric="rgb", compression="deflate", predictor=True, rowsperstrip=64
    )
    if flat and not (folder / "flat.tiff").exists():
        tifffile.imwrite(folder / "flat.tiff", made.flat, photometric="rgb")
    return made


def write_frames(folder, count, rows=300, columns=440):
    """Captures that show one frame and nothing else, as `frame-01.tif` on."""
    folder.mkdir(exist_ok=True)
    paths = []
    for number in range(count):
        rng = np.random.default_rng(number)
        base = np.array([0.25, 0.6, 0.85])
        tones = cv2.resize(rng.uniform(0.1, 1.2, (6, 8)), (columns, rows), interpolation=cv2.INTER_CUBIC)[..., None]
        density = base + tones * [0.9, 1.0, 1.1] + rng.normal(0, 0.02, (*tones.shape[:2], 3))
        path = folder / f"frame-{number + 1:02d}.tif"
        tifffile.imwrite(path, np.rint(60000 * 10.0**-density).astype(np.uint16), photometric="rgb")
        paths.append(path)
    return paths
