"""Sharpness from a slanted edge, and how fine the detail of a picture goes by its own spectrum.

The edge is measured as ISO 12233 describes (the edge-based spatial frequency response): rows are laid over each other
along the edge at four samples a pixel, the edge spread is differentiated, windowed and transformed, and the response of
the differentiation is taken off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

OVERSAMPLED = 4  # bins a pixel, as the standard sets
PATCH_PX = 64
_LEAST_STEP = 40.0  # 8-bit levels between the two sides
_LEAST_STRAIGHT = 0.35  # px, root mean square of the edge's places about a line
_SLANT = (0.03, 0.45)  # |tangent| of the edge against the pixel rows: at 0 nothing is between the pixels
_MOST_PATCHES = 24


@dataclass(frozen=True)
class EdgeSharpness:
    """Sharpness at one edge.

    `mtf50_cycles_px` is where contrast falls to half, cycles a pixel; `overshoot` how far the brighter and the darker
    side swing over, in parts of the step; `box` is (x, y, width, height) in pixels.
    """

    mtf50_cycles_px: float
    overshoot: float
    box: tuple[int, int, int, int]


def measure_edge(patch: NDArray[Any]) -> EdgeSharpness | None:
    """Sharpness of a patch with one straight edge that runs nearly down it.

    Parameters
    ----------
    patch : ndarray of shape (rows, columns)
        Linear or display light, any unit. One edge, dark to light or light to dark from left to right.

    Returns
    -------
    EdgeSharpness or None
        None where the patch has no single straight edge with a slant.
    """
    image = np.asarray(patch, float)
    line = _edge_line(image)
    if line is None:
        return None
    slope, start = line
    rows, columns = image.shape
    y, x = np.mgrid[0:rows, 0:columns]
    # Distance across the edge, not along the row: the slant makes a row's pixels look wider.
    across = (x - (start + slope * y)) / np.hypot(1.0, slope)
    reach = min(start + slope * rows / 2, columns - 1 - start - slope * rows / 2, PATCH_PX / 2) - abs(slope) * rows / 2
    if reach < 8:
        return None
    spread = _edge_spread(across, image, reach)
    if spread is None:
        return None
    mtf50 = _mtf50(spread)
    if mtf50 is None:
        return None
    return EdgeSharpness(mtf50, _overshoot(spread), (0, 0, columns, rows))


def _edge_line(image: Floats) -> tuple[float, float] | None:
    """Slope and start of the edge: a line through the centre of gravity of each row's differences."""
    step = np.diff(image, axis=1)
    sign = 1.0 if step.sum() >= 0 else -1.0
    rise = np.clip(step * sign, 0, None) ** 2
    weight = rise.sum(axis=1)
    if (weight <= 1e-9).any():
        return None
    places = (rise * (np.arange(rise.shape[1]) + 0.5)).sum(axis=1) / weight
    rows = np.arange(len(places))
    slope, start = np.polyfit(rows, places, 1)
    apart = float(np.sqrt(np.mean((places - (start + slope * rows)) ** 2)))
    if apart > _LEAST_STRAIGHT or not _SLANT[0] <= abs(slope) <= _SLANT[1]:
        return None
    return float(slope), float(start)


def _edge_spread(across: Floats, image: Floats, reach: float) -> Floats | None:
    """Mean light by distance from the edge, at quarter pixels, from dark to light."""
    inside = np.abs(across) <= reach
    count = 2 * int(reach * OVERSAMPLED)
    bins = np.floor((across[inside] + reach) * OVERSAMPLED).astype(int).clip(0, count - 1)
    number = np.bincount(bins, minlength=count)
    if (number == 0).any():
        return None
    spread = np.bincount(bins, weights=image[inside], minlength=count) / number
    return spread if spread[-8:].mean() >= spread[:8].mean() else spread[::-1]


def _mtf50(spread: Floats) -> float | None:
    """Where the response falls to half, cycles a pixel, by line between the two frequencies about it."""
    line = np.diff(spread)
    centre = np.argmax(np.abs(line))
    window = _hamming_about(len(line), int(centre))
    padded = 4096
    response = np.abs(np.fft.rfft(line * window, padded))
    frequency = np.fft.rfftfreq(padded, 1.0 / OVERSAMPLED)
    if response[0] <= 0:
        return None
    # The difference of two neighbours is itself a slight blur; so is the bin's width.
    blur = np.sinc(frequency / OVERSAMPLED) ** 2
    response = response / response[0] / np.maximum(blur, 0.1)
    below = np.flatnonzero(response < 0.5)
    if len(below) == 0:
        return None
    k = int(below[0])
    a, b = response[k - 1], response[k]
    return float(frequency[k - 1] + (a - 0.5) / (a - b) * (frequency[k] - frequency[k - 1]))


def _hamming_about(length: int, centre: int) -> Floats:
    half = max(centre, length - 1 - centre)
    place = np.arange(length) - centre
    return np.asarray(0.54 + 0.46 * np.cos(np.pi * place / max(half, 1)))


def _overshoot(spread: Floats) -> float:
    """Largest swing beyond either level, in parts of the step; levels are taken where the swing has died away."""
    quarter = max(4, len(spread) // 8)
    low, high = float(np.median(spread[:quarter])), float(np.median(spread[-quarter:]))
    smooth = np.convolve(spread, np.ones(3) / 3, "valid")
    step = high - low
    return max(0.0, float(smooth.max()) - high, low - float(smooth.min())) / step if step > 0 else 0.0


def find_edges(luma: NDArray[Any], *, most: int = _MOST_PATCHES) -> list[EdgeSharpness]:
    """Measure the straight, slanted, strong edges of a picture.

    Parameters
    ----------
    luma : ndarray of shape (rows, columns)
        8-bit levels (any dtype).
    most : int, optional
        How many edges to look at, the strongest first.

    Returns
    -------
    list of EdgeSharpness
        With boxes in the picture's pixels; empty where there is no such edge.
    """
    import cv2

    image = np.asarray(luma, np.float32)
    out: list[EdgeSharpness] = []
    for turned in (False, True):
        view = np.ascontiguousarray(image.T) if turned else image
        gradient = cv2.Sobel(cv2.GaussianBlur(view, (0, 0), 1.0), cv2.CV_32F, 1, 0)
        half = PATCH_PX // 2
        strength = cv2.boxFilter(np.abs(gradient), -1, (5, PATCH_PX))
        for x, y in _peaks(np.asarray(strength), most * 2, half):
            patch = view[y - half : y + half, x - half : x + half]
            if _is_step(patch):
                found = measure_edge(patch)
                if found is not None:
                    box = (y - half, x - half) if turned else (x - half, y - half)
                    out.append(EdgeSharpness(found.mtf50_cycles_px, found.overshoot, (*box, PATCH_PX, PATCH_PX)))
    return out[:most]


def _peaks(strength: NDArray[Any], count: int, border: int) -> list[tuple[int, int]]:
    """The strongest places at least a patch apart."""
    work = strength.copy()
    work[:border] = work[-border:] = 0
    work[:, :border] = work[:, -border:] = 0
    out = []
    for _ in range(count):
        y, x = divmod(int(work.argmax()), work.shape[1])
        if work[y, x] <= 0:
            break
        out.append((x, y))
        work[max(0, y - border) : y + border, max(0, x - border) : x + border] = 0
    return out


def _is_step(patch: NDArray[Any]) -> bool:
    """Whether a patch is two nearly even sides and nothing else."""
    if patch.shape != (PATCH_PX, PATCH_PX):
        return False
    sides = patch[:, :12], patch[:, -12:]
    step = abs(float(sides[0].mean()) - float(sides[1].mean()))
    return step >= _LEAST_STEP and max(float(side.std()) for side in sides) < 0.12 * step


def finest_detail(luma: NDArray[Any]) -> float:
    """The frequency up to which a picture has detail of its own, cycles a pixel, 0 to 0.5.

    Pictures of the world have power that falls as the square of frequency; times that square it is level as far as
    lens, film and scanner let detail through. It ends where that has fallen to a thirtieth, which is contrast 0.18
    (limiting resolution is read between 0.1 and 0.2). Even noise, told by the corners of the spectrum, is taken off
    first. A picture enlarged by two ends soon after 0.25.

    Parameters
    ----------
    luma : ndarray of shape (rows, columns)
        At least 128 pixels on either side; 0.0 for what is smaller or empty.
    """
    tiles = _tiles(np.asarray(luma, np.float32))
    if not tiles:
        return 0.0
    size = tiles[0].shape[0]
    window = np.outer(np.hanning(size), np.hanning(size))
    power = np.mean([np.abs(np.fft.fft2((tile - tile.mean()) * window)) ** 2 for tile in tiles], axis=0)
    fy, fx = np.meshgrid(np.fft.fftfreq(size), np.fft.fftfreq(size), indexing="ij")
    bins = np.minimum((np.hypot(fy, fx) * 128).astype(int), 90)
    profile = np.bincount(bins.ravel(), weights=power.ravel()) / np.maximum(np.bincount(bins.ravel()), 1)
    noise = float(np.median(profile[80:90]))
    frequency = (np.arange(65) + 0.5) / 128
    level = np.clip(profile[:65] - noise, 0, None) * frequency**2
    usual = float(np.median(level[3:9]))
    if usual <= 0:
        return 0.0
    # The first place that stays below: enlarging leaves weak echoes of the picture beyond its own end.
    low = np.convolve(level[:64] <= usual / 30, np.ones(3), "valid") >= 3
    ends = np.flatnonzero(low[4:])
    return float((ends[0] + 4) / 128) if len(ends) else 0.5


def _tiles(image: NDArray[Any]) -> list[NDArray[Any]]:
    """Up to sixteen tiles with most contrast of a regular grid."""
    size = 256 if min(image.shape) >= 512 else 128
    rows, columns = image.shape
    if min(rows, columns) < size:
        return []
    ys = np.linspace(0, rows - size, max(1, min(6, rows // size))).astype(int)
    xs = np.linspace(0, columns - size, max(1, min(6, columns // size))).astype(int)
    tiles = [image[y : y + size, x : x + size] for y in ys for x in xs]
    return sorted(tiles, key=lambda tile: -float(tile.std()))[:16]
