"""What the world gives back to the invented photographer: the lab's scans, phone shots, captures of her negatives."""

from __future__ import annotations

import io
import os
import zipfile
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from dryside.demo.pictures import draw
from dryside.demo.season_plan import SeasonFrame, SeasonRoll, frames_of

Picture = npt.NDArray[np.floating[Any]]

SCAN_LONG_EDGE_PX = 1800
DRAWN_LONG_EDGE_PX = 800

# Colour rendition of each process as a lab's scan shows it: saturation, warmth, contrast of the tone curve.
LOOKS = {"c41": (1.0, 1.0, 1.0), "ecn2": (0.85, 0.92, 0.85), "e6": (1.2, 1.0, 1.25), "bw": (0.0, 1.0, 1.05)}


def scene(frame: SeasonFrame, *, square: bool = False) -> Picture:
    """The light before the camera at one frame: linear, about `DRAWN_LONG_EDGE_PX` on its long edge.

    Views of the same subject share the drawing and differ in the crop.
    """
    width, height = (720, 720) if square else (960, 640)
    if frame.painter == "chart":
        return chart_scene(round(width / 1.2), round(height / 1.2))
    whole = _drawn(frame.painter, width, height, frame.seed)
    rng = np.random.default_rng(frame.seed * 31 + frame.view)
    if rng.uniform() < 0.5 and frame.view == 0:
        whole = whole[:, ::-1]
    part = 1 / 1.2
    left = round(rng.uniform(0, 1 - part) * width)
    top = round(rng.uniform(0, 1 - part) * height)
    return whole[top : top + round(part * height), left : left + round(part * width)]


@lru_cache(maxsize=4)
def _drawn(painter: str, width: int, height: int, seed: int) -> Picture:
    """Consecutive frames show the same subject: it is drawn once."""
    return draw(painter, width=width, height=height, seed=seed)


def chart_scene(width: int, height: int) -> Picture:
    """A 24-patch chart lying on stone, in the light of a bright day."""
    from dryside.negatives.chart_values import LINEAR_SRGB

    stone = draw("stairs", width=width, height=height, seed=4) * 0.25 + 0.08
    patches = np.asarray(LINEAR_SRGB, np.float64).reshape(4, 6, 3)
    top, left = round(height * 0.12), round(width * 0.14)
    step = min(round(height * 0.76 / 4.2), round(width * 0.72 / 6.2))
    gap = max(2, step // 9)
    stone[top - gap : top + 4 * step + gap, left - gap : left + 6 * step + gap] = 0.022
    for row in range(4):
        for column in range(6):
            y, x = top + row * step + gap // 2, left + column * step + gap // 2
            stone[y : y + step - gap, x : x + step - gap] = patches[row, column]
    return stone


def lab_scan(picture: Picture, *, process: str, long_edge_px: int, seed: int) -> npt.NDArray[np.uint8]:
    """A lab's scan of the frame: its tone curve, its grain, 8 bits, sRGB encoded."""
    import cv2

    saturation, warmth, contrast = LOOKS[process]
    light = np.maximum(np.asarray(picture, np.float32), 0)
    grey = light @ np.asarray([0.2126, 0.7152, 0.0722], np.float32)
    light = light * (0.18 / max(float(np.exp(np.log(grey + 1e-3).mean())), 1e-3)) ** 0.6
    tone = np.log2(light / 0.18 + 0.02)
    print_value = 1 / (1 + np.exp2(-1.15 * contrast * tone) * 1.45)
    grey = print_value.mean(axis=-1, keepdims=True)
    print_value = grey + (print_value - grey) * saturation
    print_value = print_value * np.asarray([warmth**-0.5, 1.0, warmth**0.5], np.float32)
    scale = long_edge_px / max(picture.shape[:2])
    size = (round(picture.shape[1] * scale), round(picture.shape[0] * scale))
    enlarged = cv2.resize(np.asarray(print_value, np.float32), size, interpolation=cv2.INTER_CUBIC)
    rng = np.random.default_rng(seed)
    grain = rng.standard_normal(enlarged.shape[:2], dtype=np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.8) * (0.035 if process == "bw" else 0.022)
    lifted = np.clip(enlarged + (grain * np.sqrt(np.clip(grey.mean(), 0.05, 1)))[..., None], 0, 1)
    return np.asarray(np.round(lifted**0.92 * 255), np.uint8)


def jpeg(pixels: npt.NDArray[np.uint8], *, scanned: datetime, quality: int = 92) -> bytes:
    """JPEG as labs send it: dated the day of the scan, by the camera 'scanner'."""
    from PIL import Image

    from dryside.negatives.output_profiles import profile_of
    from dryside.negatives.spaces import print_rendering

    held = io.BytesIO()
    image = Image.fromarray(pixels)
    exif = image.getexif()
    exif[0x010F], exif[0x0110], exif[0x0132] = "Scanner", "Scanner", scanned.strftime("%Y:%m:%d %H:%M:%S")
    # Not a profile of the colour library: that one holds the time at which it was made.
    image.save(held, "JPEG", quality=quality, exif=exif, icc_profile=profile_of(print_rendering()))
    return held.getvalue()


def scans_of(roll: SeasonRoll, *, scanned: datetime, long_edge_px: int = SCAN_LONG_EDGE_PX) -> list[bytes]:
    """The lab's scans of a roll, in order; a blank frame is scanned as what it is: nothing."""
    square = roll.format == "120-6x6"

    def scan(place: int, frame: SeasonFrame) -> bytes:
        picture = np.full((600, 900, 3), 0.001) if frame.blank else scene(frame, square=square)
        seed = 1000 * roll.number + place
        return jpeg(lab_scan(picture, process=roll.process, long_edge_px=long_edge_px, seed=seed), scanned=scanned)

    with ThreadPoolExecutor(os.cpu_count() or 1) as threads:
        return list(threads.map(scan, *zip(*enumerate(frames_of(roll.number)), strict=True)))


def write_delivery(path: Path, folders: dict[str, list[bytes]], *, made: datetime) -> Path:
    """A zip as a lab sends it: a folder for each roll, files numbered from 1. The same content gives the same bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    half_written = path.with_suffix(".part")
    with zipfile.ZipFile(half_written, "w", zipfile.ZIP_STORED) as bag:
        for folder, files in folders.items():
            for number, content in enumerate(files, start=1):
                entry = zipfile.ZipInfo(f"{folder}/{folder}_{number:02d}.jpg", made.timetuple()[:6])
                bag.writestr(entry, content)
    half_written.replace(path)
    return path
