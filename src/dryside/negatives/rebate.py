"""Where a capture shows clear film base: beside the perforations and between the frames, away from all print."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import EDGE_TO_HOLE_MM, HOLE_ACROSS_MM, HOLE_ALONG_MM
from dryside.negatives.film_view import sample
from dryside.negatives.types import BoolArray, FrameFound, LightArray, Strip, StripRead

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

_AWAY_FROM_HOLE_MM = 0.45
_AWAY_FROM_FRAME_MM = 0.5
_AWAY_FROM_END_MM = 1.0
_CELL_MM = 0.6
_SAMPLES_A_SIDE = 4


def rebate_patches(strip: Strip, frames: tuple[FrameFound, ...]) -> tuple[Box, ...]:
    """Rectangles of film (x0, y0, x1, y1 in mm) that hold nothing but film base.

    They lie between neighbouring holes and between neighbouring frames; on film without perforations beside the frames.
    Print reaches some of them: take a robust middle.
    """
    return tuple(box for box in (*_beside_holes(strip, frames), *_between_frames(strip, frames)) if _is_real(box))


def rebate_mask(shape: tuple[int, int], strip: Strip, frames: tuple[FrameFound, ...], *, scale: float) -> BoolArray:
    """The patches as a mask over a capture reduced by `scale`.

    Parameters
    ----------
    shape : (rows, columns)
        Of the reduced capture.
    strip, frames
        As found.
    scale : float
        Capture pixels to one pixel of the mask.
    """
    import cv2

    mask = np.zeros(shape, np.uint8)
    for x0, y0, x1, y1 in rebate_patches(strip, frames):
        outline = strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])) / scale - 0.5
        cv2.fillConvexPoly(mask, np.round(outline * 16).astype(np.int32), 1, cv2.LINE_8, 4)
    return np.asarray(mask.astype(bool))


def rebate_samples(light: LightArray, read: StripRead, *, scale: float) -> NDArray[np.float32]:
    """Colours of small patches of film base.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        The capture reduced by `scale`; linear light or transmittance.
    read : StripRead
        What was found of a strip in it.
    scale : float
        Capture pixels to one pixel of `light`.

    Returns
    -------
    ndarray of shape (samples, 3), float32
        Medians over cells of about half a millimetre; none where no rebate is seen. Print, dust and scratches are in
        some of them.
    """
    cells = [
        (left, top, left + width, top + height)
        for x0, y0, x1, y1 in rebate_patches(read.strip, read.frames)
        for left, width in _parts(x0, x1)
        for top, height in _parts(y0, y1)
    ]
    if not cells:
        return np.zeros((0, 3), np.float32)
    corners = np.array(cells)
    part = (np.arange(_SAMPLES_A_SIDE) + 0.5) / _SAMPLES_A_SIDE
    x = corners[:, :1] + part * (corners[:, 2:3] - corners[:, :1])
    y = corners[:, 1:2] + part * (corners[:, 3:] - corners[:, 1:2])
    points = np.stack(np.broadcast_arrays(x[:, None, :], y[:, :, None]), axis=-1).reshape(len(cells), -1, 2)
    pixels = read.strip.plane.capture(points)
    channels = [
        sample(np.ascontiguousarray(light[..., channel]), pixels, scale=scale, outside=np.nan) for channel in range(3)
    ]
    colours = np.median(np.stack(channels, axis=-1), axis=1)
    return np.asarray(colours[np.isfinite(colours).all(axis=-1)], dtype=np.float32)


def _parts(start: float, stop: float) -> list[tuple[float, float]]:
    """A length cut into equal parts of at most a cell's length: (start, length) of each."""
    count = max(1, round((stop - start) / _CELL_MM))
    length = (stop - start) / count
    return [(start + k * length, length) for k in range(count)]


def _beside_holes(strip: Strip, frames: tuple[FrameFound, ...]) -> list[Box]:
    if not strip.holes:
        return _beside_frames(strip, frames)
    half = (strip.pitch_mm - HOLE_ALONG_MM) / 2 - _AWAY_FROM_HOLE_MM
    top = EDGE_TO_HOLE_MM + 0.3
    bottom = EDGE_TO_HOLE_MM + HOLE_ACROSS_MM
    boxes = []
    first = int(np.ceil((strip.x_from_mm + _AWAY_FROM_END_MM + half) / strip.pitch_mm - 0.5))
    last = int(np.floor((strip.x_to_mm - _AWAY_FROM_END_MM - half) / strip.pitch_mm - 0.5))
    for row in sorted({hole.row for hole in strip.holes}):
        y0, y1 = (top, bottom) if row == 0 else (strip.width_mm - bottom, strip.width_mm - top)
        for index in range(first, last + 1):
            x = (index + 0.5) * strip.pitch_mm
            boxes.append((x - half, y0, x + half, y1))
    return boxes


def _beside_frames(strip: Strip, frames: tuple[FrameFound, ...]) -> list[Box]:
    boxes = []
    for frame in frames:
        x0, y0, x1, y1 = frame.film_mm
        x0, x1 = max(x0, strip.x_from_mm + 0.5), min(x1, strip.x_to_mm - 0.5)
        boxes.append((x0, 0.4, x1, y0 - 0.4))
        boxes.append((x0, y1 + 0.4, x1, strip.width_mm - 0.4))
    return boxes


def _between_frames(strip: Strip, frames: tuple[FrameFound, ...]) -> list[Box]:
    boxes = []
    for one, other in pairwise(frames):
        gap = (one.film_mm[2] + _AWAY_FROM_FRAME_MM, other.film_mm[0] - _AWAY_FROM_FRAME_MM)
        y0, y1 = max(one.film_mm[1], other.film_mm[1]), min(one.film_mm[3], other.film_mm[3])
        boxes.append((gap[0], y0 + 0.5, gap[1], y1 - 0.5))
    if frames and strip.holes:
        y0, y1 = frames[0].film_mm[1] + 0.5, frames[0].film_mm[3] - 0.5
        boxes.append((strip.x_from_mm + _AWAY_FROM_END_MM, y0, frames[0].film_mm[0] - _AWAY_FROM_FRAME_MM, y1))
        boxes.append((frames[-1].film_mm[2] + _AWAY_FROM_FRAME_MM, y0, strip.x_to_mm - _AWAY_FROM_END_MM, y1))
    return boxes


def _is_real(box: Box) -> bool:
    x0, y0, x1, y1 = box
    return x1 - x0 > 0.3 and y1 - y0 > 0.3
