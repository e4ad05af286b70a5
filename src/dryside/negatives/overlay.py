"""What was found, drawn over the capture for a person to check: edges, holes, frames, labels, codes, base patches."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.rebate import rebate_patches
from dryside.negatives.types import FilmRead, LightArray, StripRead

_EDGE = (0, 200, 255)
_HOLE = (255, 80, 200)
_FRAME = (40, 230, 60)
_UNSURE_FRAME = (255, 150, 0)
_CODE = (255, 255, 0)
_BASE = (120, 160, 255)
_SURE = 0.6


def draw_overlay(light: LightArray, read: FilmRead, *, scale: float) -> NDArray[np.uint8]:
    """The capture, as it looks, with all that was found drawn over it.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light of the capture reduced by `scale`.
    read : FilmRead
        What was found; if nothing, the plain picture comes back.
    scale : float
        Capture pixels to one pixel of `light`.

    Returns
    -------
    ndarray of shape (rows, columns, 3), uint8
        sRGB-like, to look at.
    """
    bright = max(float(np.percentile(light[::4, ::4], 99.5)), 1e-9)
    picture = (np.clip(light / bright, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)
    picture = np.ascontiguousarray(picture)
    for one in read.strips:
        _draw_strip(picture, one, scale)
    return picture


def _draw_strip(picture: NDArray[np.uint8], one: StripRead, scale: float) -> None:
    size = max(1, round(min(picture.shape[:2]) / 700))
    for x0, y0, x1, y1 in rebate_patches(one.strip, one.frames):
        corners = one.strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
        _outline(picture, corners, _BASE, scale, 1)
    for edge in one.strip.edges():
        _outline(picture, edge, _EDGE, scale, size, closed=False)
    for hole in one.strip.holes:
        _cross(picture, (hole.x, hole.y), scale, 2 * size + 1)
    for code in one.codes:
        _outline(picture, code.corners, _CODE, scale, size)
        _write(picture, code.text, code.corners.mean(axis=0), _CODE, scale, 0.35 * size)
    for frame in one.frames:
        colour = _FRAME if frame.confidence >= _SURE else _UNSURE_FRAME
        _outline(picture, frame.corners, colour, scale, 2 * size)
        top_left, top_right = frame.corners[:2]
        _outline(picture, np.stack([top_left, top_right]), (255, 255, 255), scale, size, closed=False)
        words = f"{frame.label or '?'} {'' if frame.label_source == 'edge code' else frame.label_source or ''}".strip()
        _write(picture, f"{words} ({frame.confidence:.2f})", frame.corners.mean(axis=0), colour, scale, 0.6 * size)


def _points(corners: NDArray[Any], scale: float) -> NDArray[np.int32]:
    return np.round((np.asarray(corners) / scale - 0.5) * 8).astype(np.int32)


def _outline(
    picture: NDArray[np.uint8], corners: NDArray[Any], colour: tuple[int, int, int], scale: float, width: int, *,
    closed: bool = True,
) -> None:  # fmt: skip
    import cv2

    cv2.polylines(picture, [_points(corners, scale)], closed, colour, width, cv2.LINE_AA, 3)


def _cross(picture: NDArray[np.uint8], at: tuple[float, float], scale: float, reach: int) -> None:
    import cv2

    cv2.drawMarker(picture, (round(at[0] / scale), round(at[1] / scale)), _HOLE, cv2.MARKER_CROSS, 2 * reach + 1, 1)


def _write(
    picture: NDArray[np.uint8], words: str, at: NDArray[Any], colour: tuple[int, int, int], scale: float, size: float
) -> None:
    import cv2

    font, line = cv2.FONT_HERSHEY_SIMPLEX, max(1, round(2 * size))
    (width, height), _ = cv2.getTextSize(words, font, size, line)
    corner = (round(float(at[0]) / scale - width / 2), round(float(at[1]) / scale + height / 2))
    rim = 2 * line
    box = ((corner[0] - rim, corner[1] - height - rim), (corner[0] + width + rim, corner[1] + 2 * rim))
    cv2.rectangle(picture, box[0], box[1], (0, 0, 0), -1)
    cv2.putText(picture, words, corner, font, size, colour, line, cv2.LINE_AA)
