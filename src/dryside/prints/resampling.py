"""A crop brought to an exact number of pixels, with the filter that suits, and sharpened as the reduction asks.

Light is averaged as light: values are taken to linear, resampled and taken back, so that fine bright detail keeps its
brightness. The curve is a plain power of 2.2, near enough to every display encoding, and undone by its exact inverse,
so that even areas come out as they went in.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from dryside.prints.fitting import Crop

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

GAMMA = 2.2
SHARPEN_PER_STOP = 0.35
"""Amount of sharpening for each halving of the pixels, at strength 1 (common practice for prints: 0.3 to 0.5)."""
MOST_SHARPENING = 1.2
RADIUS_PX = 0.7
"""Standard deviation of the blur that is taken off: below what an eye tells apart at 300 ppi."""
_REDUCING_GAP = 3.0
MOST_OVERSHOOT = 0.06
"""How far beyond its neighbours, as a share of the full range, sharpening may take a pixel: no halos."""


def reduction_of(crop: Crop, size_px: tuple[int, int]) -> float:
    """Picture pixels to one print pixel along a side; below 1 where the print needs more pixels than there are."""
    return math.sqrt(crop.width * crop.height / (size_px[0] * size_px[1]))


def sharpening_for(reduction: float, strength: float = 1.0) -> float:
    """Amount of sharpening after a reduction: in proportion to its stops, none without one.

    Examples
    --------
    >>> [round(sharpening_for(factor), 2) for factor in (0.5, 1, 2, 4)]
    [0.0, 0.0, 0.35, 0.7]
    """
    return min(MOST_SHARPENING, strength * SHARPEN_PER_STOP * math.log2(max(1.0, reduction)))


def resample(pixels: NDArray[Any], size_px: tuple[int, int]) -> Floats:
    """Bring pixels to an exact size by Lanczos's filter of three lobes, as wide as the print's pixels in a reduction.

    A plain mean over areas would let patterns finer than the print's pixels through as stripes. Where the reduction is
    more than threefold, whole areas are averaged first, as far as that costs nothing visible.

    Parameters
    ----------
    pixels : ndarray of shape (rows, columns, 3), uint8 or uint16
        Encoded for a display.
    size_px : tuple of int
        Columns and rows wanted.

    Returns
    -------
    ndarray of shape (rows, columns, 3), float32
        0 to 1, encoded as `pixels` were.
    """
    import numpy as np
    from PIL import Image

    levels = np.iinfo(pixels.dtype).max
    to_linear = ((np.arange(levels + 1, dtype=np.float64) / levels) ** GAMMA).astype(np.float32)
    resampled = np.empty((size_px[1], size_px[0], 3), np.float32)
    for channel in range(3):  # one after the other: 60 megapixels in floats would take 700 MB
        plane = Image.fromarray(to_linear[pixels[..., channel]])
        resized = plane.resize(size_px, Image.Resampling.LANCZOS, reducing_gap=_REDUCING_GAP)
        resampled[..., channel] = np.asarray(resized)
    np.clip(resampled, 0, 1, out=resampled)  # Lanczos swings past black and white
    return np.asarray(np.power(resampled, np.float32(1 / GAMMA), out=resampled))


def sharpen(picture: Floats, amount: float) -> Floats:
    """Sharpen lightness, not colour, and hold the result near its neighbours.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), float32
        0 to 1, encoded for a display.
    amount : float
        0 changes nothing.
    """
    import cv2
    import numpy as np

    if amount <= 0:
        return picture
    luma = picture @ np.array([0.2126, 0.7152, 0.0722], np.float32)  # weights of ITU-R BT.709
    detail = luma - cv2.GaussianBlur(luma, (0, 0), RADIUS_PX)
    around = np.ones((3, 3), np.uint8)
    low, high = cv2.erode(luma, around) - MOST_OVERSHOOT, cv2.dilate(luma, around) + MOST_OVERSHOOT
    change = np.clip(luma + amount * detail, low, high) - luma
    return np.asarray(np.clip(picture + change[..., None], 0, 1))
