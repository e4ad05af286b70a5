"""Drying marks: the outlines that drops leave where they dry on film, seen as closed thin rings denser than both sides.

What a drop leaves scatters light: all three channels lose the same. Its ring is thin, closed, roundish and as dense
inside as outside; things in pictures that are all of this at once (a ring, a wheel's rim) are rare and few, so several
are asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

# Of a frame 36 mm wide: ten samples a millimetre show rings of a tenth of a millimetre.
MARK_COLUMNS, MARK_ROWS = 360, 240

_LINE_SAMPLES = 7  # a line is thinner than this
_LEAST_CONTRAST = 0.02  # log10 density
_MOST_CONTRAST = 0.13
_OVER_NOISE = 3.0  # over what is usual within so many samples, in a picture of 8 bits
_AROUND_SAMPLES = 41
_LEVELS_PER_DENSITY = 2000.0
_LEAST_SIZE, _MOST_SIZE, _LONGEST = 16, 130, 2.5
_ON_RING = 0.75  # part of a line's samples that lie on the ellipse through them
_WHOLE = 0.72  # part of the ring that stands out
_BINS, _BESIDE = 48, 5
_MOST_STEP = 0.3  # inside less outside, against the ring's own contrast
_MOST_COLOURED = 0.45  # spread of the channels' contrasts against their mean
_FEWEST = 2


@dataclass(frozen=True)
class Ring:
    """A mark: centre (x, y) and mean radius in samples, contrast in log10 density."""

    x: float
    y: float
    radius: float
    contrast: float


def drying_warning(density: Array) -> tuple[str, ...]:
    """One sentence, or none, about drying marks in a frame; density as in `find_rings`."""
    rings = find_rings(density)
    if len(rings) < _FEWEST:
        return ()
    return (f"{len(rings)} faint rings, as drops leave that dried on the film: look at it, and wash it again if so.",)


def find_rings(density: Array) -> list[Ring]:
    """Closed thin outlines in a frame.

    Parameters
    ----------
    density : ndarray of shape (rows, columns, 3), float32
        log10, about 10 samples a millimetre (`MARK_COLUMNS` for 36 mm).
    """
    import cv2

    smooth = np.asarray(cv2.GaussianBlur(np.asarray(density, np.float32), (0, 0), 0.8), np.float32)
    grey = np.ascontiguousarray(smooth.mean(axis=-1))
    element = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_LINE_SAMPLES, _LINE_SAMPLES))
    lines = cv2.morphologyEx(grey, cv2.MORPH_TOPHAT, element)
    levels = np.asarray(np.clip(lines * _LEVELS_PER_DENSITY, 0, 255), np.uint8)
    usual = cv2.medianBlur(levels, _AROUND_SAMPLES).astype(np.float32) / _LEVELS_PER_DENSITY
    thin = (lines > np.maximum(_LEAST_CONTRAST, _OVER_NOISE * usual)).astype(np.uint8)
    thin = cv2.morphologyEx(thin, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, parts, boxes, _ = cv2.connectedComponentsWithStats(thin, connectivity=8)
    found: list[Ring] = []
    for index in range(1, count):
        left, top, wide, high, _ = (int(value) for value in boxes[index])
        if (
            min(wide, high) < _LEAST_SIZE
            or max(wide, high) > _MOST_SIZE
            or max(wide, high) > _LONGEST * min(wide, high)
        ):
            continue
        y, x = np.nonzero(parts[top : top + high, left : left + wide] == index)
        points = np.stack([x + left, y + top], axis=1).astype(np.float32)
        ring = _ring(points, smooth)
        if ring is not None:
            found.append(ring)
    return found


def _ring(points: Array, smooth: Array) -> Ring | None:
    """The ring on which these samples of a line lie; None where it is none."""
    import cv2

    (x, y), axes, turn = cv2.fitEllipse(points)
    half = np.array(axes) / 2
    if not np.isfinite(half).all() or half.min() < _LEAST_SIZE / 2 or half.max() > _MOST_SIZE / 2:
        return None
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    own = (points - np.array([x, y], np.float32)) @ np.array([[cos, -sin], [sin, cos]])
    away = (np.hypot(*(own / half).T) - 1.0) * half.mean()
    if (np.abs(away) < _LINE_SAMPLES / 2).mean() < _ON_RING:
        return None
    angle = np.linspace(0, 2 * np.pi, _BINS, endpoint=False)
    outward = np.arange(-_BESIDE, _BESIDE + 1)
    stretched = 1.0 + outward[:, None] / half.mean()
    along, across = half[0] * np.cos(angle) * stretched, half[1] * np.sin(angle) * stretched
    map_x, map_y = x + along * cos - across * sin, y + along * sin + across * cos
    lines = cv2.remap(smooth, map_x.astype(np.float32), map_y.astype(np.float32), cv2.INTER_LINEAR)
    ridge = lines[_BESIDE - 2 : _BESIDE + 3].max(axis=0)
    contrast = ridge - np.maximum(lines[0], lines[-1])
    usual = np.median(contrast, axis=0)
    mean = float(usual.mean())
    whole = float((contrast.mean(axis=-1) > 0.4 * mean).mean())
    even = float(np.ptp(usual)) <= _MOST_COLOURED * mean + 0.006
    step = abs(float((np.median(lines[0], axis=0) - np.median(lines[-1], axis=0)).mean()))
    if not _LEAST_CONTRAST <= mean <= _MOST_CONTRAST or whole < _WHOLE or not even or step > _MOST_STEP * mean + 0.004:
        return None
    return Ring(float(x), float(y), float(half.mean()), mean)
