"""A frame made small once, so that its positive can be made again and again in the time of a screen's blink."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.capture import FULL_LEVEL, Assume, Capture, read_capture, reduce_capture
from dryside.negatives.codecs.open_picture import OpenedPicture
from dryside.negatives.flat import Flat, full_scale_light, transmittance
from dryside.negatives.frame_view import frame_view
from dryside.negatives.positive_bands import positive_bands
from dryside.negatives.recipe import Recipe, density_log2
from dryside.negatives.types import FloatArray

LONGEST_PX = 1600
# Bare light lies here, so that what outshines it a little (a brighter corner of the table) is not cut off.
BARE_LEVEL = 52_000


@dataclass(frozen=True, eq=False)
class SmallFrame:
    """A frame, upright and straight.

    Attributes
    ----------
    levels : ndarray of shape (rows, columns, 3), uint16
        Transmittance, `BARE_LEVEL` where nothing but bare light is.
    """

    levels: NDArray[np.uint16]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return self.levels.shape[1], self.levels.shape[0]

    def density(self, x: float, y: float, *, reach: float = 0.008) -> NDArray[np.float64]:
        """Mean density (powers of two) of a patch around a place given in parts of width and height, shape (1, 3)."""
        rows, columns = self.levels.shape[:2]
        half = max(1, round(reach * max(rows, columns)))
        column, row = round(x * (columns - 1)), round(y * (rows - 1))
        patch = self.levels[max(0, row - half) : row + half + 1, max(0, column - half) : column + half + 1]
        return density_log2(patch.reshape(-1, 3).mean(axis=0, keepdims=True), np.full(3, float(BARE_LEVEL)))


def small_frames(
    path: Path, several: list[FloatArray], flat: Flat | None = None, *, assume: Assume = "auto"
) -> list[SmallFrame]:
    """All frames of a capture at once: it is read only once."""
    with read_capture(path, assume=assume) as capture:
        facts = capture.facts
        sides = [max(frame_view(one).rows, frame_view(one).columns) for one in several]
        factor = max(1, min(sides) // LONGEST_PX)
        light = reduce_capture(capture, factor)
        through = transmittance(light, flat or full_scale_light((facts.height, facts.width)), factor)
    return [SmallFrame(_straight(through, one / factor, LONGEST_PX)) for one in several]


def develop_small(frame: SmallFrame, recipe: Recipe) -> NDArray[np.uint8]:
    """The positive as 8-bit samples in the rendering's space, shape (rows, columns, 3); the same pass as full size."""
    rows, columns = frame.levels.shape[:2]
    capture = _as_capture(frame.levels)
    flat = full_scale_light((rows, columns))
    level = np.float32(np.log2(BARE_LEVEL / FULL_LEVEL))
    flat = replace(flat, log2_light=flat.log2_light + level)
    whole = np.array([[0.0, 0.0], [columns, 0.0], [columns, rows], [0.0, rows]])
    bands = list(positive_bands(capture, flat, recipe, frame_view(whole)))
    levels = bands[0] if len(bands) == 1 else np.concatenate(bands)
    return np.ascontiguousarray((levels >> np.uint16(8)).astype(np.uint8))


def _as_capture(levels: NDArray[np.uint16]) -> Capture:
    from dryside.negatives.capture import CaptureFacts

    rows, columns = levels.shape[:2]
    picture = OpenedPicture(Path("small frame"), "memory", rows, columns, 3, np.dtype(np.uint16),
                            lambda start, stop: levels[start:stop], linear=True)  # fmt: skip
    facts = CaptureFacts(Path("small frame"), "memory", rows, columns, 16, 3, False, "linear", float(FULL_LEVEL))
    return Capture(facts, picture, _as_it_is)


def _as_it_is(stored: Any) -> Any:
    return stored


def _straight(through: NDArray[np.float32], corners: FloatArray, longest_px: int) -> NDArray[np.uint16]:
    import cv2

    wide = float(np.linalg.norm(corners[1] - corners[0]) + np.linalg.norm(corners[2] - corners[3])) / 2
    high = float(np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1])) / 2
    scale = min(1.0, longest_px / max(wide, high))
    columns, rows = max(1, round(wide * scale)), max(1, round(high * scale))
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32) - np.float32(0.5)
    matrix = cv2.getPerspectiveTransform(square, corners.astype(np.float32) - np.float32(0.5))
    laid = cv2.warpPerspective(
        through, matrix, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.ascontiguousarray(np.clip(laid * BARE_LEVEL + 0.5, 0, FULL_LEVEL).astype(np.uint16))
