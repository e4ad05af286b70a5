"""A positive to look at while its settings are changed: the capture is read and reduced once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.capture import FULL_LEVEL, Assume, LevelArray, read_capture, reduce_capture
from dryside.negatives.flat import Flat
from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.recipe import Recipe
from dryside.negatives.types import FloatArray

MAX_SIDE = 1600


@dataclass(frozen=True, eq=False)
class PreviewState:
    """A frame ready to be developed again and again.

    Attributes
    ----------
    levels : ndarray of shape (rows, columns, 3), uint16
        The straight, upright frame at preview size: transmittance times 65,535 / `HEADROOM`.
    """

    levels: LevelArray


# Transmittance may exceed 1 where noise or a reflection outshines the flat.
HEADROOM = 1.25


def load_preview(
    path: Path, corners: FloatArray, flat: Flat, *, assume: Assume = "auto", max_side: int = MAX_SIDE
) -> PreviewState:
    """Read a capture, reduced, and cut its frame out.

    Parameters
    ----------
    path : Path
        The capture.
    corners : ndarray of shape (4, 2)
        Of the frame, as `invert` reports them.
    flat : Flat
        Bare light (`measure.CaptureMeasured.flat`).
    assume : {'auto', 'linear', 'srgb'}, optional
        How a file without a profile is encoded.
    max_side : int, optional
        Long side of the preview in pixels.

    Raises
    ------
    Refusal
        If the capture cannot be read.
    """
    import cv2

    corners = np.asarray(corners, dtype=float)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    width, height = float(sides[0] + sides[2]) / 2, float(sides[1] + sides[3]) / 2
    factor = max(1, int(max(width, height) // max_side))
    scale = min(1.0, max_side / max(width, height))
    columns, rows = max(1, round(width * scale)), max(1, round(height * scale))
    with read_capture(path, assume=assume) as capture:
        light = reduce_capture(capture, factor) / flat.reduced(factor)
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32) - np.float32(0.5)
    matrix = cv2.getPerspectiveTransform((corners / factor - 0.5).astype(np.float32), square)
    straight = cv2.warpPerspective(
        light, matrix, (columns, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    levels = np.clip(np.rint(straight * (FULL_LEVEL / HEADROOM)), 1, FULL_LEVEL)
    return PreviewState(np.ascontiguousarray(levels, np.uint16))


def preview(state: PreviewState, recipe: Recipe, max_side: int = MAX_SIDE) -> NDArray[np.uint8]:
    """The positive of a loaded frame by a recipe.

    Parameters
    ----------
    state : PreviewState
        By `load_preview`.
    recipe : Recipe
        Any; a print to look at.
    max_side : int, optional
        Long side of the result; smaller than the loaded one reduces it.

    Returns
    -------
    ndarray of shape (rows, columns, 3), uint8
        Encoded as the recipe's rendering says.
    """
    import cv2

    from dryside.negatives.kernel import develop_rows

    levels = state.levels
    rows, columns = levels.shape[:2]
    if max(rows, columns) > max_side:
        part = max_side / max(rows, columns)
        size = (max(1, round(columns * part)), max(1, round(rows * part)))
        levels = np.asarray(cv2.resize(levels, size, interpolation=cv2.INTER_AREA), np.uint16)
        rows, columns = levels.shape[:2]
    numbers = kernel_numbers(recipe)
    light = np.full((1, 3 * columns), np.log2(FULL_LEVEL / HEADROOM) - 16, np.float32)
    out = np.empty_like(levels)
    develop_rows(
        levels.reshape(rows, -1),
        light,
        0,
        1,
        out.reshape(rows, -1),
        numbers.constants,
        numbers.shoulder,
        numbers.prints,
        numbers.table,
    )
    return np.asarray(cv2.convertScaleAbs(out, alpha=1 / 257), np.uint8)
