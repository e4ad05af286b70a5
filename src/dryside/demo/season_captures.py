"""Captures that the invented photographer makes herself: two strips of her first roll, and the light table alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dryside.demo.season_pictures import scene
from dryside.demo.season_plan import ROLLS, frames_of
from dryside.demo.simulator import Camera, Placed, draw_capture, lay_out

CAPTURES = ("strip-1.tif", "strip-2.tif", "flat.tif")
FRAMES_A_STRIP = 4
PIXELS_PER_MM = 20.0


def write_captures(desk: Path) -> None:
    """Draw the captures into `desk`/captures as 16-bit linear TIFF; the same bytes every time."""
    import tifffile

    folder = desk / "captures"
    folder.mkdir(parents=True, exist_ok=True)
    for number in (1, 2):
        made = _strip(number)
        tifffile.imwrite(folder / f"strip-{number}.tif", made.pixels, photometric="rgb", metadata=None)
    tifffile.imwrite(folder / "flat.tif", made.flat, photometric="rgb", metadata=None)


def _strip(number: int):
    """Strip `number` of the first roll, a little crooked, on a light table that is darker to one side."""
    roll = ROLLS[0]
    first = (number - 1) * FRAMES_A_STRIP
    frames = frames_of(roll.number)[first : first + FRAMES_A_STRIP]
    stops = np.random.default_rng(number).uniform(-0.3, 0.9, len(frames))
    strip = lay_out(
        [np.asarray(scene(frame), np.float32) for frame in frames],
        first_number=first + 1,
        stops=[float(stop) for stop in stops],
        stock_number=roll.dx,
        words=roll.stock.upper(),
    )
    long_edge = round((strip.length_mm + 14) * PIXELS_PER_MM)
    camera = Camera(
        rows=round(46 * PIXELS_PER_MM),
        columns=long_edge,
        pixels_per_mm=PIXELS_PER_MM,
        unevenness=0.12,
        vignetting=0.1,
    )
    tilt = (0.8, -1.1)[number - 1]
    return draw_capture(Placed(strip, tilt_degrees=tilt), camera, seed=4)
