"""Pieces of film lying apart in one capture, by their outlines: rectangles of one width on bare light or in black.

Needed only where no perforations tell one strip from the next; each piece is then looked at by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import BoolArray, LightArray

Floats = NDArray[np.floating[Any]]

_SEARCH_PIXELS = 120_000
_LEAST_AREA = 0.03
_LEAST_FILL = 0.88
_WIDTHS_DIFFER = 0.06
_BLACK = 0.03
_BELOW_BARE = 0.06  # log10: film base takes more of the light, in one channel at least
_MARGIN = 0.035  # of a piece's shorter side: the film's edges must be seen
_MOST_PIECES = 24


@dataclass(frozen=True)
class Piece:
    """A rectangle of film in the capture.

    Attributes
    ----------
    centre : (x, y)
        In capture pixels.
    half : (along, across)
        Half its size in capture pixels along `degrees` and across, with a little of what lies around it.
    degrees : float
        Direction of one of its sides, clockwise from right.
    """

    centre: tuple[float, float]
    half: tuple[float, float]
    degrees: float


def find_pieces(light: LightArray, *, scale: float, process: str | None = None) -> tuple[Piece, ...]:
    """The pieces of film of a capture; none where it shows fewer than two, or cannot be told apart.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        The capture reduced by `scale`.
    scale : float
        Capture pixels to one pixel of `light`.
    process : str, optional
        How the film was developed: a slide's black rebate is not told from blackness around it.
    """
    import cv2

    by = max(1, round(float(np.sqrt(light.shape[0] * light.shape[1] / _SEARCH_PIXELS))))
    size = (light.shape[1] // by, light.shape[0] // by)
    if min(size) < 24:
        return ()
    reduced = cv2.resize(light[: size[1] * by, : size[0] * by], size, interpolation=cv2.INTER_AREA)
    small = np.asarray(reduced, dtype=np.float32)
    masks = [_not_bare(small)]
    if process not in (None, "e6"):
        masks.append(_not_black(small))
    best: tuple[Piece, ...] = ()
    for mask in masks:
        found = _rectangles(mask, by * scale)
        if len(found) >= 2 and _is_better(found, best):
            best = found
    return best


def _is_better(found: tuple[Piece, ...], best: tuple[Piece, ...]) -> bool:
    def area(pieces: tuple[Piece, ...]) -> float:
        return sum(piece.half[0] * piece.half[1] for piece in pieces)

    return area(found) > area(best)


def _not_black(light: LightArray) -> BoolArray:
    level = light.max(axis=-1)
    return np.asarray(level > _BLACK * float(np.percentile(level, 99.5)))


def _not_bare(light: LightArray) -> BoolArray:
    """What is darker than the light table would be there: a smooth surface through the brightest places."""
    import cv2

    top = np.maximum(np.percentile(light.reshape(-1, 3), 99.5, axis=0), 1e-6)
    level = np.log10(np.maximum((light / top).min(axis=-1), 1e-3)).astype(np.float64)
    cell = 6
    tiles = cv2.resize(cv2.dilate(level, np.ones((3, 3))), (level.shape[1] // cell, level.shape[0] // cell))
    y, x = (a.ravel() for a in np.mgrid[-1 : 1 : tiles.shape[0] * 1j, -1 : 1 : tiles.shape[1] * 1j])
    terms = _surface(x, y)
    values = tiles.ravel()
    weight = (values >= np.percentile(values, 60)).astype(float)
    fit = np.zeros(terms.shape[1])
    for _ in range(12):
        weighted = terms.T * (weight + 1e-6)
        fit = np.linalg.solve(weighted @ terms, weighted @ values)
        off = values - terms @ fit
        weight = np.where(off > 0, 1.0, np.exp(-np.abs(off) / 0.05) * 0.5)
    y, x = (a.ravel() for a in np.mgrid[-1 : 1 : level.shape[0] * 1j, -1 : 1 : level.shape[1] * 1j])
    return np.asarray(level < (_surface(x, y) @ fit).reshape(level.shape) - _BELOW_BARE)


def _surface(x: Floats, y: Floats) -> Floats:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _rectangles(mask: BoolArray, scale: float) -> tuple[Piece, ...]:
    """The mask's parts if all large ones are rectangles that share one width."""
    import cv2

    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    large = [contour for contour in contours if cv2.contourArea(contour) > _LEAST_AREA * mask.size]
    if not 2 <= len(large) <= _MOST_PIECES:
        return ()
    rectangles: list[Any] = [cv2.minAreaRect(contour) for contour in large]
    for contour, (_, (width, height), _) in zip(large, rectangles, strict=True):
        if cv2.contourArea(contour) < _LEAST_FILL * width * height:
            return ()
    if not _share_a_width([rectangle[1] for rectangle in rectangles]):
        return ()
    pieces = []
    for (x, y), (width, height), degrees in rectangles:
        margin = max(2.0, _MARGIN * min(width, height))
        half = ((width / 2 + margin) * scale, (height / 2 + margin) * scale)
        pieces.append(Piece(((x + 0.5) * scale, (y + 0.5) * scale), half, float(degrees)))
    return tuple(pieces)


def _share_a_width(sizes: list[tuple[float, float]]) -> bool:
    return any(
        all(min(abs(side / width - 1) for side in size) < _WIDTHS_DIFFER for size in sizes) for width in sizes[0]
    )
