"""How a frame's straight picture lies in its capture: size, projective map, turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import FloatArray

# A frame whose corners all lie this near to a rectangle of whole pixels is cut out as it is: nothing is lost by it,
# while any resampling loses a little.
MOST_SNAP_PX = 0.5


@dataclass(frozen=True, eq=False)
class FrameView:
    """A straight picture of `rows` x `columns` pixels and where its pixels lie.

    Attributes
    ----------
    rows, columns : int
        Size of the positive.
    matrix : ndarray of shape (3, 3), float64
        From pixel indices (column, row, 1) of the picture, counted after `reverse_x` and `reverse_y`, to pixel indices
        (x, y) of the capture, or (y, x) where `turned`. Nearly the identity but for a shift.
    turned : bool
        The capture is to be seen with rows and columns exchanged.
    reverse_x, reverse_y : bool
        Rows are written from their end; the last row is written first.
    exact : (top, left) or None
        Where the picture is a plain piece of the capture (turned or reversed, but on whole pixels).
    """

    rows: int
    columns: int
    matrix: NDArray[np.float64]
    turned: bool
    reverse_x: bool
    reverse_y: bool
    exact: tuple[int, int] | None


def snap_corners(corners: FloatArray) -> FloatArray:
    """Corners moved to whole pixels where all of them lie within `MOST_SNAP_PX` of an upright rectangle; else as given.

    Parameters
    ----------
    corners : ndarray of shape (4, 2)
        In any turn of top-left, top-right, bottom-right, bottom-left.
    """
    low, high = np.rint(np.sort(corners, axis=0).reshape(2, 2, 2).mean(axis=1))
    nearest = np.where(np.abs(corners - low) < np.abs(corners - high), low, high)
    if np.abs(nearest - corners).max() > MOST_SNAP_PX or (high - low).min() < 1:
        return corners
    return np.asarray(nearest)


def frame_view(corners: FloatArray) -> FrameView:
    """The view of a frame with these corners (top-left, top-right, bottom-right, bottom-left; capture pixels).

    Raises
    ------
    ValueError
        If the corners are no convex quadrilateral.
    """
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if not (np.all(turns > 0) or np.all(turns < 0)):
        raise ValueError(f"corners {corners.tolist()} are no convex quadrilateral")
    top, right, bottom, left = np.linalg.norm(sides, axis=1)
    columns, rows = max(1, round(float(top + bottom) / 2)), max(1, round(float(left + right) / 2))
    along = sides[0] - sides[2]
    turned = bool(abs(along[1]) > abs(along[0]))
    matrix = _to_indices(_square_to(corners, rows, columns))
    if turned:
        matrix = matrix[[1, 0, 2]]
    reverse_x = bool(along[1 if turned else 0] < 0)
    down = (sides[1] - sides[3])[0 if turned else 1]
    reverse_y = bool(down < 0)
    if reverse_x:
        matrix = matrix @ np.array([[-1.0, 0.0, columns - 1.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    if reverse_y:
        matrix = matrix @ np.array([[1.0, 0.0, 0.0], [0.0, -1.0, rows - 1.0], [0.0, 0.0, 1.0]])
    return FrameView(rows, columns, matrix, turned, reverse_x, reverse_y, _exact(matrix, rows, columns))


def window_of(view: FrameView, first: int, stop: int) -> tuple[float, float, float, float]:
    """(y low, y high, x low, x high): pixel indices that rows `first` to `stop` (after `reverse_y`) lie between."""
    ends = [(c, r, 1.0) for c in (0.0, view.columns - 1.0) for r in (first, stop - 1.0)]
    x, y, w = view.matrix @ np.array(ends).T
    return float((y / w).min()), float((y / w).max()), float((x / w).min()), float((x / w).max())


def steepness(view: FrameView) -> float:
    """Largest rise of a row of the picture over the capture's columns: the tangent of its tilt."""
    ends = np.array([(c, r, 1.0) for r in (0.0, view.rows - 1.0) for c in (0.0, max(view.columns - 1.0, 1.0))]).T
    x, y, w = view.matrix @ ends
    x, y = x / w, y / w
    return float(np.abs((y[1::2] - y[::2]) / (x[1::2] - x[::2])).max())


def _square_to(corners: FloatArray, rows: int, columns: int) -> NDArray[np.float64]:
    """The projective map that takes the picture's outline (columns x rows) to the corners."""
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], float)
    lines = []
    for (u, v), (x, y) in zip(square, corners, strict=True):
        lines.append([u, v, 1, 0, 0, 0, -x * u, -x * v])
        lines.append([0, 0, 0, u, v, 1, -y * u, -y * v])
    solved = np.linalg.solve(np.array(lines), np.asarray(corners, float).ravel())
    return np.append(solved, 1.0).reshape(3, 3)


def _to_indices(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same map between pixel indices, whose centres lie half a pixel inside."""
    into = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    return np.asarray(np.linalg.inv(into) @ matrix @ into)


def _exact(matrix: NDArray[np.float64], rows: int, columns: int) -> tuple[int, int] | None:
    """Top and left of the piece where the map is a shift by whole pixels, to a thousandth over the frame."""
    ends = np.array([(c, r, 1.0) for c in (0.0, columns - 1.0) for r in (0.0, rows - 1.0)])
    x, y, w = matrix @ ends.T
    shift_x, shift_y = x / w - ends[:, 0], y / w - ends[:, 1]
    left, top = round(float(shift_x[0])), round(float(shift_y[0]))
    if np.abs(shift_x - left).max() < 1e-3 and np.abs(shift_y - top).max() < 1e-3:
        return top, left
    return None
