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
_LEAST_SLIDE = 0.01
_SLIDES_DIFFER = 0.1
_SLIDE_GAP = 0.2  # of a slide's shorter side
_OUT_OF_LINE = 0.03
_SLIDE_REBATE = 0.08


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
    margin : float
        How much lies around it on every side, in capture pixels.
    """

    centre: tuple[float, float]
    half: tuple[float, float]
    degrees: float
    margin: float = 0.0


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
    if not best and process == "e6":
        return slides_in_the_dark(_not_black(small), by * scale)
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
        pieces.append(Piece(((x + 0.5) * scale, (y + 0.5) * scale), half, float(degrees), margin * scale))
    return tuple(pieces)


def slides_in_the_dark(mask: BoolArray, scale: float) -> tuple[Piece, ...]:
    """Strips of slides whose rebate is as black as what lies around: by their frames, where they stand in several rows.

    Parameters
    ----------
    mask : ndarray of shape (rows, columns), bool
        What is not black.
    scale : float
        Capture pixels to one pixel of `mask`.
    """
    frames = _frames_in(mask)
    if len(frames) < 2:
        return ()
    links = np.array([[_are_neighbours(one, other) for other in frames] for one in frames])
    groups = []
    left = set(range(len(frames)))
    while left:
        group, new = set(), {left.pop()}
        while new:
            group |= new
            new = {int(k) for one in new for k in np.flatnonzero(links[one])} - group
        left -= group
        groups.append([frames[k] for k in sorted(group)])
    pieces = [_around(group, scale) for group in groups]
    return tuple(pieces) if _in_several_rows(pieces) else ()


@dataclass(frozen=True)
class _Slide:
    """A bright rectangle: its centre, its halves along and across `degrees`, in (-45, 45]."""

    centre: Floats
    half: Floats
    degrees: float


def _frames_in(mask: BoolArray) -> list[_Slide]:
    import cv2

    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
    for contour in contours:
        (x, y), (width, height), degrees = cv2.minAreaRect(contour)
        if width * height < _LEAST_SLIDE * mask.size or cv2.contourArea(contour) < _LEAST_FILL * width * height:
            continue
        half = np.array([width, height]) / 2
        turned = (degrees + 45) % 180 - 45
        if turned > 45:
            turned, half = turned - 90, half[::-1]
        found.append(_Slide(np.array([x, y]), half, turned))
    return found[:_MOST_PIECES]


def _axes(degrees: float) -> Floats:
    turn = np.deg2rad(degrees)
    return np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])


def _are_neighbours(one: _Slide, other: _Slide) -> bool:
    """Whether two slides can be next to each other on one strip."""
    if one is other or abs(one.degrees - other.degrees) > 2 or np.abs(one.half / other.half - 1).max() > _SLIDES_DIFFER:
        return False
    offset = np.abs(_axes(one.degrees) @ (other.centre - one.centre))
    side = 2 * float(one.half.min())
    for along in (0, 1):
        gap = offset[along] - one.half[along] - other.half[along]
        if -0.05 * side < gap < _SLIDE_GAP * side and offset[1 - along] < _OUT_OF_LINE * side:
            return True
    return False


def _around(slides: list[_Slide], scale: float) -> Piece:
    """The piece of film that a row of slides is on, as far as they show it."""
    degrees = float(np.median([slide.degrees for slide in slides]))
    axes = _axes(degrees)
    centres = np.array([axes @ slide.centre for slide in slides])
    halves = np.array([slide.half for slide in slides])
    low, high = (centres - halves).min(axis=0), (centres + halves).max(axis=0)
    margin = _SLIDE_REBATE * 2 * float(halves.min())
    middle = (low + high) / 2 @ axes
    half = ((high - low) / 2 + margin) * scale
    centre = (float(middle[0] + 0.5) * scale, float(middle[1] + 0.5) * scale)
    return Piece(centre, (float(half[0]), float(half[1])), degrees)


def _in_several_rows(pieces: list[Piece]) -> bool:
    """Whether pieces lie beside one another, and not in one line with a dark slide between them."""
    for one in pieces:
        for other in pieces:
            offset = np.abs(_axes(one.degrees) @ (np.array(other.centre) - one.centre))
            if abs(one.degrees - other.degrees) > 3 or offset.min() > 0.4 * min(one.half):
                return True
    return False


def _share_a_width(sizes: list[tuple[float, float]]) -> bool:
    return any(
        all(min(abs(side / width - 1) for side in size) < _WIDTHS_DIFFER for size in sizes) for width in sizes[0]
    )
