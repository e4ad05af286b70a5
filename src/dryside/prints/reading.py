"""A picture read for printing: the part that is wanted, as RGB of 8 or 16 bits, with its profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.film.refusal import Refusal
from dryside.negatives.codecs.icc_curves import is_linear, read_curves
from dryside.negatives.codecs.open_picture import open_picture
from dryside.prints.colour import Profile, check_profile, profile_of
from dryside.prints.fitting import Crop

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PROOF_PX = 1600
RENDER_FIRST = "Render it for print first: dryside invert --rendering print."


def read_crop(path: Path, crop: Crop) -> tuple[NDArray[Any], Profile]:
    """The crop's pixels, to the nearest whole one.

    Returns
    -------
    ndarray of shape (rows, columns, 3), uint8 or uint16, and Profile
        Encoded as the profile says; a picture without one is taken for sRGB, as the web and every lab do.

    Raises
    ------
    Refusal
        If the picture cannot be read, or holds scene light, which is not meant to be looked at.
    """
    import numpy as np

    opened = open_picture(path)
    try:
        left, right = max(0, round(crop.left)), min(opened.width, round(crop.right))
        top, bottom = max(0, round(crop.top)), min(opened.height, round(crop.bottom))
        pixels = opened.rows(top, max(bottom, top + 1))[:, left : max(right, left + 1)]
        source = _source(path, opened.profile, opened.linear)
    finally:
        opened.close()
    if pixels.shape[2] < 3:
        pixels = np.repeat(pixels[..., :1], 3, axis=2)
    pixels = pixels[..., :3]
    if pixels.dtype not in (np.uint8, np.uint16):
        raise Refusal(str(path), "scene light in floats, not a picture to print", RENDER_FIRST)
    return np.ascontiguousarray(pixels), source


def read_for_proof(path: Path) -> tuple[NDArray[np.uint8], Profile]:
    """The whole picture in its own colours, 8 bits, its longer side 1600 pixels at most.

    Raises
    ------
    Refusal
        As `read_crop`.
    """
    import cv2
    import numpy as np

    pixels, source = read_crop(path, Crop(0, 0, 10**9, 10**9, "whole"))
    rows, columns = pixels.shape[:2]
    scale = min(1.0, PROOF_PX / max(rows, columns))
    size = (max(1, round(columns * scale)), max(1, round(rows * scale)))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small if small.dtype == np.uint8 else small // 257, np.uint8), source


def _source(path: Path, data: bytes | None, linear: bool) -> Profile:
    if linear:
        raise Refusal(str(path), "camera raw, not a picture to print", RENDER_FIRST)
    if not data:
        return profile_of("srgb")
    curves = read_curves(data, levels=256)
    if curves is not None and is_linear(curves):
        raise Refusal(str(path), "scene-linear light, not a picture to print", RENDER_FIRST)
    source = check_profile(data, f"in {path.name}")
    return source if source.mode == "RGB" else profile_of("srgb")
