"""How a scan lies in a phone shot, by laying one over the other: for pictures too grainy or plain for points.

The scan is made small, which averages its grain away, and moved over the shot in every quarter turn and usual size; at
the best place the map is refined until the two agree (J. Evangelidis and E. Psarakis, 'Parametric image alignment using
enhanced correlation coefficient maximization', 2008). Some milliseconds a pair, so only for pairs that points left
open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dryside.negatives.likeness import Likeness, View, judge_map

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

DIAGONAL_PX = 200.0  # of the shot when it is searched
_SIZES = tuple(float(size) for size in np.exp(np.linspace(np.log(0.42), np.log(0.98), 8)))
"""The scan's diagonal in parts of the shot's."""
_BEYOND_PX = 16  # how far the scan may lie outside the shot
_LEAST_PX = 24
_LEAST_FIT = 0.55  # of the refined map; true pairs of the tuning rolls are above 0.7, others below 0.6
_LEAST_AGREEMENT = 0.5  # block by block; between different subjects it is 0.45 at most (tuning rolls)
_STEPS, _ENOUGH = 40, 1e-3
_SMOOTH_PX = 3


@dataclass(frozen=True)
class Overlay:
    """A scan made ready to be laid over shots: its view, whether that is mirrored, and its detail in every size."""

    view: View
    is_mirrored: bool
    details: tuple[Floats, ...]


@dataclass(frozen=True)
class _Place:
    """A scan turned by quarters, in one of its sizes, at (x, y) of the small shot, and how well it fits there."""

    fit: float
    turn: int
    detail: Floats
    x: int
    y: int


def overlay_of(view: View, *, is_mirrored: bool = False) -> Overlay:
    """Make a scan ready; `is_mirrored` says whether `view` was made by `mirrored`."""
    import cv2

    diagonal = float(np.hypot(*view.grey.shape))
    small = _scaled(view.grey, DIAGONAL_PX / diagonal)
    details = []
    for size in _SIZES:
        width, height = (round(side * size * DIAGONAL_PX / diagonal) for side in view.grey.shape[::-1])
        if min(width, height) >= _LEAST_PX:
            details.append(_detail(cv2.resize(small, (width, height), interpolation=cv2.INTER_AREA)))
    return Overlay(view, is_mirrored, tuple(details))


def shot_detail(other: View) -> Floats:
    """A shot made small for being searched."""
    return _detail(_scaled(other.grey, DIAGONAL_PX / float(np.hypot(*other.grey.shape))))


def lay_over(scan: Overlay, other: View, detail: Floats) -> Likeness:
    """Find how a scan lies in a shot without points; false where the pictures do not agree under the best map.

    Parameters
    ----------
    scan : Overlay
        From `overlay_of`.
    other : View
        The shot.
    detail : ndarray
        From `shot_detail(other)`.
    """
    place = _best_place(scan.details, detail)
    if place is None:
        return Likeness(mirrored=scan.is_mirrored, why="too small")
    plane = _refined(detail, place)
    if plane is None:
        return Likeness(mirrored=scan.is_mirrored, why="the pictures do not agree")
    shape = scan.view.grey.shape
    turned = shape[::-1] if place.turn % 2 else shape
    to_small = _enlarging(turned, place.detail.shape) @ _turning(shape, place.turn)
    whole = _enlarging(detail.shape, other.grey.shape) @ plane @ to_small
    found = judge_map(whole, scan.view, other, is_mirrored=scan.is_mirrored)
    agrees = found.agreement >= _LEAST_AGREEMENT
    return found if agrees or found.why else replace(found, why="the pictures do not agree")


def _scaled(grey: NDArray[Any], scale: float) -> NDArray[Any]:
    import cv2

    return np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))


def _detail(grey: NDArray[Any]) -> Floats:
    """Middle frequencies, evened in strength, so that neither exposure nor one strong edge leads."""
    import cv2

    image = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    band = image - cv2.GaussianBlur(image, (0, 0), 6.0)
    return np.asarray(band / (np.sqrt(cv2.GaussianBlur(band * band, (0, 0), 6.0)) + 4.0), np.float32)


def _best_place(details: Sequence[Floats], shot: Floats) -> _Place | None:
    """Where the scan correlates best with the shot, over quarter turns and sizes."""
    import cv2

    rim = _BEYOND_PX
    wide = cv2.copyMakeBorder(shot, rim, rim, rim, rim, cv2.BORDER_CONSTANT, value=0)
    best: _Place | None = None
    for detail in details:
        for turn in range(4):
            turned = np.ascontiguousarray(np.rot90(detail, turn))
            if turned.shape[0] > wide.shape[0] or turned.shape[1] > wide.shape[1]:
                continue
            _, fit, _, (x, y) = cv2.minMaxLoc(cv2.matchTemplate(wide, turned, cv2.TM_CCORR_NORMED))
            if best is None or fit > best.fit:
                best = _Place(float(fit), turn, turned, x - rim, y - rim)
    return best


def _refined(shot: Floats, place: _Place) -> NDArray[np.float64] | None:
    """The map from the small turned scan to the small shot, or None where none makes them agree."""
    import cv2

    start = np.array([[1, 0, place.x], [0, 1, place.y], [0, 0, 1]], np.float32)
    until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _STEPS, _ENOUGH)
    mask = np.full(shot.shape, 255, np.uint8)
    try:
        fit, plane = cv2.findTransformECC(place.detail, shot, start, cv2.MOTION_HOMOGRAPHY, until, mask, _SMOOTH_PX)
    except cv2.error:  # it does not converge
        return None
    return np.asarray(plane, np.float64) if fit >= _LEAST_FIT else None


def _enlarging(small: Sequence[int], large: Sequence[int]) -> NDArray[np.float64]:
    """The map between two sizes (rows, columns) of one picture, from centres of pixels to centres of pixels."""
    across, down = large[1] / small[1], large[0] / small[0]
    return np.array([[across, 0, across / 2 - 0.5], [0, down, down / 2 - 0.5], [0, 0, 1]])


def _turning(shape: Sequence[int], turn: int) -> NDArray[np.float64]:
    """The map of `np.rot90(picture, turn)` from pixels of the picture, whose shape is (rows, columns)."""
    right, bottom = shape[1] - 1.0, shape[0] - 1.0
    return np.array([
        [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        [[0, 1, 0], [-1, 0, right], [0, 0, 1]],
        [[-1, 0, right], [0, -1, bottom], [0, 0, 1]],
        [[0, -1, bottom], [1, 0, 0], [0, 0, 1]],
    ][turn], float)  # fmt: skip
