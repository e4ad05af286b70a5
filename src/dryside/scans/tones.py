"""Light and colour of a scan in numbers: clipping, black and white level, cast, noise, quality of the JPEG."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]
    Box = tuple[int, int, int, int]

_BLOCK = 32
# The luminance table of the JPEG standard (ITU-T T.81, table K.1); quality 1 to 100 of most programs scales it.
_LUMA_TABLE = (
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51,
    87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
)  # fmt: skip
_LAPLACE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


@dataclass(frozen=True)
class Clipping:
    """Shares of pixels at the ends of the scale, per channel (red, green, blue), and the box with most of them."""

    high: tuple[float, float, float]
    low: tuple[float, float, float]
    box: Box | None

    @property
    def worst(self) -> float:
        """The largest share of any channel at either end."""
        return max(*self.high, *self.low)


def clipping(image: Image8, *, top: int = 254, bottom: int = 1) -> Clipping:
    """Count pixels at or above `top` and at or below `bottom`, 8-bit levels, in an image (rows, columns, 3)."""
    high_mask, low_mask = image >= top, image <= bottom
    high = high_mask.mean(axis=(0, 1))
    low = low_mask.mean(axis=(0, 1))
    either = np.asarray((high_mask | low_mask).any(axis=2))
    red, green, blue = (float(value) for value in high)
    dark_red, dark_green, dark_blue = (float(value) for value in low)
    return Clipping((red, green, blue), (dark_red, dark_green, dark_blue), densest_box(either))


def densest_box(mask: NDArray[Any]) -> Box | None:
    """The bounding box (x, y, width, height) of the largest connected part of a mask; None where it is empty."""
    import cv2

    if not mask.any():
        return None
    scale = max(1, max(mask.shape) // 512)
    small = np.ascontiguousarray(mask[::scale, ::scale], np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(small)
    if len(stats) < 2:
        return None
    x, y, w, h, _ = stats[1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())]
    return int(x * scale), int(y * scale), int(w * scale), int(h * scale)


def levels(image: Image8) -> tuple[float, float]:
    """Black and white level: luma at the darkest and the lightest thousandth, 8-bit levels."""
    import cv2

    luma = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
    total = np.cumsum(np.bincount(luma.ravel(), minlength=256)) / luma.size
    return float(np.searchsorted(total, 0.001)), float(np.searchsorted(total, 0.999))


def neutral_of(image: Image8) -> tuple[float, float]:
    """The picture's neutral as CIELAB a* and b*: the mean over the least coloured half of its middle tones.

    A single picture of one colour is led by that colour, so this only counts against the neutral of a roll.
    """
    import cv2

    scale = 128 / max(image.shape[:2])
    small = cv2.resize(image, None, fx=min(1, scale), fy=min(1, scale), interpolation=cv2.INTER_AREA)
    lab = np.asarray(cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)).reshape(-1, 3)
    middle = lab[(lab[:, 0] > 20) & (lab[:, 0] < 90)]
    if len(middle) < 50:
        return 0.0, 0.0
    chroma = np.hypot(middle[:, 1], middle[:, 2])
    calm = middle[chroma <= np.median(chroma)]
    return float(calm[:, 1].mean()), float(calm[:, 2].mean())


def roll_neutral(neutrals: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The neutral that a roll's pictures share: the medians."""
    if not neutrals:
        return 0.0, 0.0
    a, b = np.median(np.asarray(neutrals, float), axis=0)
    return float(a), float(b)


def noise(image: Image8) -> float:
    """Standard deviation of noise and grain in the even parts of a picture, 8-bit levels of luma.

    Immerkaer's operator (J. Immerkaer, 'Fast noise variance estimation', 1996), which no slope or curve of light moves,
    on the calmest tenth of the blocks.
    """
    import cv2

    luma = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), np.float32)
    second = np.asarray(cv2.filter2D(luma, cv2.CV_32F, _LAPLACE))[1:-1, 1:-1]
    rows, columns = (side // _BLOCK for side in second.shape)
    if rows * columns == 0:
        return 0.0
    blocks = second[: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK)
    # Mean absolute value of the operator's answer to noise of deviation s is 6 s sqrt(2 / pi).
    each = np.abs(blocks).mean(axis=(1, 3)).ravel() * np.sqrt(np.pi / 2) / 6
    middle = luma[1:-1, 1:-1][: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK).mean((1, 3))
    usable = each[(middle.ravel() > 10) & (middle.ravel() < 245)]
    if len(usable) == 0:
        return 0.0
    return float(np.sort(usable)[: max(1, len(usable) // 10)].mean())


def jpeg_quality(source: Path | bytes) -> int | None:
    """Quality of a JPEG by its luminance table, on the usual scale 1 to 100; None for other files.

    The scale is that of the free JPEG library: a factor of 5000/q below 50 and 200 - 2q above, in per cent of the
    standard's table. A table of another kind gets the quality whose table has the same mean.
    """
    from PIL import Image

    try:
        with Image.open(io.BytesIO(source) if isinstance(source, bytes) else source) as picture:
            tables: Mapping[int, Sequence[int]] | None = getattr(picture, "quantization", None)
    except OSError:
        return None
    if not tables:
        return None
    table = np.asarray(list(tables[min(tables)]), float)
    quality = np.arange(1, 101)
    factor = np.where(quality < 50, 5000 / quality, 200 - 2 * quality)
    standard = np.clip((np.sort(np.array(_LUMA_TABLE))[None] * factor[:, None] + 50) // 100, 1, 255)
    return int(quality[np.abs(standard - np.sort(table)[None]).sum(axis=1).argmin()])
