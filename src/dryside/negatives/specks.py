"""Dust and scratches without infrared: small things denser than film makes them, by their size and sharpness alone.

This can be wrong, so it is done only when asked for, and only for what stands out plainly: specks smaller than a
picture's own detail that are far denser than all around them, and thin lines along the film.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.dust import DustFound

FloatImage = NDArray[np.float32]

_SPECK_SIGMAS = 9.0
_LEAST_DENSITY = 0.35  # powers of two above the surroundings
_DENSER_THAN_NEAR = 0.25  # nor is anything of the picture near by so dense
_NEAR_PX = 51
_LARGEST_PX = 15
_LONGEST_GAP_PX = 9


def find_specks(light: FloatImage) -> DustFound:
    """Small dense specks, and lines along rows.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Transmittance of a negative or a slide, above 0; the film runs along the rows.

    Returns
    -------
    DustFound
        With no light given back: what is marked is filled from around it.
    """
    import cv2

    density = np.asarray(-np.log2(np.maximum(light, 1e-5)), dtype=np.float32)
    least = density.min(axis=-1)  # dust stops all colours: what one layer alone shows is picture
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_LARGEST_PX, _LARGEST_PX))
    opened = cv2.morphologyEx(least, cv2.MORPH_OPEN, kernel)
    over = least - opened
    usual = cv2.blur(over, (61, 61))
    densest_near = cv2.dilate(opened, np.ones((_NEAR_PX, _NEAR_PX), np.uint8))
    noise = 1.4826 * float(np.median(np.abs(over - np.median(over)))) + 1e-6
    plain = np.maximum(max(_SPECK_SIGMAS * noise, _LEAST_DENSITY), 6.0 * usual)
    specks = (over > plain) & (least > densest_near + _DENSER_THAN_NEAR)
    mask = _small(specks) | _lines(least, noise)
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    through = np.where(grown, np.float32(1e-2), np.float32(1.0))
    return DustFound(grown, through, (0.0, 0.0, 0.0), (0.0, 0.0), noise, fill=True)


def _small(specks: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Of marked areas, those no larger than dust."""
    import cv2

    count, labels, boxes, _ = cv2.connectedComponentsWithStats(specks.astype(np.uint8), connectivity=8)
    keep = (boxes[:, cv2.CC_STAT_AREA] <= _LARGEST_PX**2) & (boxes[:, cv2.CC_STAT_AREA] >= 3)
    keep[0] = False
    return np.asarray(keep[labels]) if count > 1 else np.zeros_like(specks)


def _lines(least: FloatImage, noise: float) -> NDArray[np.bool_]:
    """Thin dense lines that run along the rows for at least a third of the picture."""
    import cv2

    across = least - cv2.morphologyEx(least, cv2.MORPH_OPEN, np.ones((5, 1), np.uint8))
    along = cv2.blur(across, (2 * _LONGEST_GAP_PX + 1, 1))
    lines = (along > max(2.5 * noise, 0.12)).astype(np.uint8)
    length = max(least.shape[1] // 3, 30)
    return np.asarray(cv2.morphologyEx(lines, cv2.MORPH_OPEN, np.ones((1, length), np.uint8)) > 0)
