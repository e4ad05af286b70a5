"""Whether two pictures show the same view, and how one lies in the other: for pictures made by different cameras.

Points that keep their look under other colours, exposure, scale and turn (SIFT on a contrast-evened grey picture,
descriptors as square roots) are matched both ways, a plane-to-plane map is fitted to them robustly (MAGSAC++) and
judged for being one that a camera can make, and then the pictures themselves are compared under that map, block by
block, by correlation. A mirrored picture needs no second look: mirroring only permutes a descriptor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]
    Bytes = NDArray[np.uint8]

LONGEST_PX = 720
MOST_POINTS = 1600
SHORTLIST_POINTS = 256
RATIO = 0.86  # of nearest to second-nearest descriptor distance; loose, since geometry decides
REACH_PX = 6.0  # how far a point may lie from the map: parallax between two cameras side by side moves points
LEAST_POINTS = 6
CHECK_PX = 256  # longer side at which the pictures themselves are compared
BLOCKS = 8
_DESCRIPTOR_ROWS, _DESCRIPTOR_COLUMNS, _DESCRIPTOR_BINS = 4, 4, 8


@dataclass(frozen=True)
class View:
    """What is kept of a picture for comparing.

    Attributes
    ----------
    points : ndarray of shape (n, 2), float32
        x and y in pixels of `grey`, the strongest first.
    descriptors : ndarray of shape (n, 128), float32
        Square roots of SIFT histograms, of unit length.
    grey : ndarray of shape (rows, columns), uint8
        The picture, contrast evened, longer side `LONGEST_PX` or less.
    """

    points: Floats
    descriptors: Floats
    grey: Bytes

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of `grey`."""
        return self.grey.shape[1], self.grey.shape[0]


@dataclass(frozen=True)
class Likeness:
    """How a picture lies in another; false where it does not.

    Attributes
    ----------
    points : int
        Matched points that one map explains.
    agreement : float
        Mean correlation of the blocks of the picture with what lies under them, -1 to 1.
    agreeing : float
        Share of the blocks with detail that agree, 0 to 1.
    coverage : float
        Share of the picture that lies inside the other, 0 to 1.
    mirrored : bool
        Whether it had to be mirrored.
    corners : tuple of 4 (x, y)
        The picture's corners in the other, in parts of its width and height.
    why : str
        What spoke against it, where the likeness is false.
    """

    points: int = 0
    agreement: float = 0.0
    agreeing: float = 0.0
    coverage: float = 0.0
    mirrored: bool = False
    corners: tuple[tuple[float, float], ...] = ()
    why: str = ""

    def __bool__(self) -> bool:
        return self.points >= LEAST_POINTS and not self.why


def see(image: NDArray[Any], *, longest: int = LONGEST_PX, points: int = MOST_POINTS) -> View:
    """Find the points of a picture.

    Parameters
    ----------
    image : ndarray of shape (rows, columns) or (rows, columns, 3), uint8
        A positive; RGB or grey.
    longest : int, optional
        Longer side at which it is looked at, pixels; smaller pictures are enlarged to three quarters of it.
    points : int, optional
        Most points to keep.

    Raises
    ------
    ValueError
        If `image` is not uint8 or has another shape.
    """
    import cv2

    if image.dtype != np.uint8 or image.ndim not in (2, 3):
        raise ValueError(
            f"image has dtype {image.dtype} and shape {image.shape}; it must be uint8, (rows, columns[, 3])"
        )
    grey = image if image.ndim == 2 else np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
    scale = longest / max(grey.shape)
    if scale < 1:
        grey = np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
    elif scale > 4 / 3:
        up = 0.75 * scale
        grey = np.asarray(cv2.resize(grey, None, fx=up, fy=up, interpolation=cv2.INTER_CUBIC))
    evened = np.asarray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(6, 6)).apply(grey), np.uint8)
    smooth = np.asarray(cv2.GaussianBlur(evened, (0, 0), 0.8))
    sift = cv2.SIFT.create(nfeatures=points, contrastThreshold=0.012, edgeThreshold=16, sigma=1.6)
    keys, raw = sift.detectAndCompute(smooth, None)
    if raw is None or len(keys) == 0:
        return View(np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32), evened)
    order = np.argsort([-key.response for key in keys], kind="stable")[:points]
    places = np.array([keys[k].pt for k in order], np.float32)
    return View(places, _rooted(np.asarray(raw, np.float32)[order]), evened)


def _rooted(raw: Floats) -> Floats:
    """Square roots of descriptors scaled to sum 1: their distance is Hellinger's, which is less led by peaks."""
    return np.sqrt(raw / np.maximum(raw.sum(axis=1, keepdims=True), 1e-9)).astype(np.float32)


def mirrored(view: View) -> View:
    """The view of the same picture mirrored left to right, from its points alone.

    In a point's own frame mirroring turns the axis across its direction round: rows of the 4 x 4 grid change places and
    the eight angles change sign.
    """
    shape = (-1, _DESCRIPTOR_ROWS, _DESCRIPTOR_COLUMNS, _DESCRIPTOR_BINS)
    bins = (-np.arange(_DESCRIPTOR_BINS)) % _DESCRIPTOR_BINS
    turned = view.descriptors.reshape(shape)[:, ::-1][..., bins].reshape(-1, 128)
    width = view.grey.shape[1]
    points = view.points * np.array([-1, 1], np.float32) + np.array([width - 1, 0], np.float32)
    return View(points, np.ascontiguousarray(turned), np.ascontiguousarray(view.grey[:, ::-1]))


def shared_points(views: Sequence[View], others: Sequence[View], *, points: int = SHORTLIST_POINTS) -> Floats:
    """How many of the strongest points of each view find a partner in each other view, for a shortlist.

    Returns
    -------
    ndarray of shape (len(views), len(others)), float32
        Points whose nearest is clearly nearer than the second-nearest, both ways. No geometry.
    """
    theirs = np.zeros((len(others), points, 128), np.float32)
    for k, other in enumerate(others):
        theirs[k, : min(points, len(other.points))] = other.descriptors[:points]
    flat = theirs.reshape(-1, 128).T
    out = np.zeros((len(views), len(others)), np.float32)
    for i, view in enumerate(views):
        ours = view.descriptors[:points]
        if len(ours) >= 2:
            out[i] = _votes((ours @ flat).reshape(len(ours), len(others), points))
    return out


def _votes(likeness: Floats) -> Floats:
    """Pairs nearest both ways and clearly nearer than the next, per other view; shape (ours, others, theirs)."""
    best = likeness.argmax(axis=2)
    top = np.take_along_axis(likeness, best[..., None], 2)[..., 0]
    back = np.arange(len(likeness))[:, None] == np.take_along_axis(likeness.argmax(axis=0), best.T, 1).T
    np.put_along_axis(likeness, best[..., None], -1.0, 2)
    clear = (1.0 - top) <= RATIO**2 * (1.0 - likeness.max(axis=2))
    return np.asarray((back & clear).sum(axis=0), np.float32)


def _mutual(ours: Floats, theirs: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Places of pairs that are nearest to each other and clearly nearer than the next."""
    likeness = ours @ theirs.T
    rows = np.arange(len(ours))
    best = likeness.argmax(axis=1)
    top = likeness[rows, best]
    mutual = likeness.argmax(axis=0)[best] == rows
    likeness[rows, best] = -1.0
    second = likeness.max(axis=1)
    # For unit vectors the squared distance is 2 - 2 cosine.
    clear = (1.0 - top) <= RATIO**2 * (1.0 - second)
    kept = np.flatnonzero(mutual & clear)
    return kept, best[kept]


def compare(view: View, other: View, *, is_mirrored: bool = False) -> Likeness:
    """Find how `view` lies in `other`.

    Parameters
    ----------
    view, other : View
        The picture, and the one that may hold it.
    is_mirrored : bool, optional
        What to write into the result: whether `view` was made by `mirrored`.
    """
    import cv2

    if len(view.points) < LEAST_POINTS or len(other.points) < LEAST_POINTS:
        return Likeness(why="too few points")
    here, there = _mutual(view.descriptors, other.descriptors)
    if len(here) < LEAST_POINTS:
        return Likeness(points=len(here), mirrored=is_mirrored, why="too few points agree")
    cv2.setRNGSeed(1)
    source, target = view.points[here], other.points[there]
    found: tuple[Any, Any] = cv2.findHomography(
        source, target, cv2.USAC_MAGSAC, REACH_PX, maxIters=3000, confidence=0.999
    )
    plane, mask = found  # None and None where no map fits, whatever the library's stubs say
    if plane is None:
        return Likeness(mirrored=is_mirrored, why="no map fits")
    inside = int(mask.sum())
    if inside < LEAST_POINTS:
        return Likeness(points=inside, mirrored=is_mirrored, why="too few points fit one map")
    return judge_map(plane, view, other, points=inside, is_mirrored=is_mirrored)


def judge_map(
    plane: NDArray[Any], view: View, other: View, *, points: int = LEAST_POINTS, is_mirrored: bool = False
) -> Likeness:
    """What a map from `view` to `other` is worth: whether cameras can make it, and how the pictures agree under it.

    Parameters
    ----------
    plane : ndarray of shape (3, 3)
        From pixels of `view.grey` to pixels of `other.grey`.
    view, other : View
        The picture, and the one that may hold it.
    points : int, optional
        Matched points that the map explains.
    is_mirrored : bool, optional
        Whether `view` was made by `mirrored`.
    """
    problem = _cannot_be(plane, view, other)
    if problem:
        return Likeness(points=points, mirrored=is_mirrored, why=problem)
    agreement, agreeing, coverage = _look_under(plane, view, other)
    corners = _corners(plane, view) / np.array(other.size, float)
    places = tuple((round(float(x), 4), round(float(y), 4)) for x, y in corners)
    return Likeness(points, agreement, agreeing, coverage, is_mirrored, places)


def _corners(plane: NDArray[Any], view: View) -> NDArray[np.float64]:
    import cv2

    w, h = view.size
    corners = np.array([[[0, 0], [w, 0], [w, h], [0, h]]], np.float64)
    return np.asarray(cv2.perspectiveTransform(corners, plane)[0], float)


def _cannot_be(plane: NDArray[Any], view: View, other: View) -> str:
    """What makes a map one that no two cameras side by side can make; '' if nothing does."""
    quad = _corners(plane, view)
    sides = np.roll(quad, -1, axis=0) - quad
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if not np.isfinite(quad).all() or (turns <= 0).any():
        return "folded or mirrored map"
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    if max(lengths[0] / lengths[2], lengths[2] / lengths[0], lengths[1] / lengths[3], lengths[3] / lengths[1]) > 1.8:
        return "too strong a perspective"
    w, h = view.size
    stretch = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3]) * h / w
    if not 0.6 < stretch < 1 / 0.6:
        return "stretched"
    area = 0.5 * abs(float(np.dot(quad[:, 0], np.roll(quad[:, 1], -1)) - np.dot(quad[:, 1], np.roll(quad[:, 0], -1))))
    part = area / float(other.size[0] * other.size[1])
    return "" if 0.03 < part < 2.5 else "far too small or large"


def _look_under(plane: NDArray[Any], view: View, other: View) -> tuple[float, float, float]:
    """Correlation by blocks of `view` with what the map says lies under it; share that agrees; share covered."""
    import cv2

    w, h = view.size
    scale = CHECK_PX / max(w, h)
    small = cv2.resize(view.grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    shrink = np.diag([1 / scale, 1 / scale, 1.0])
    size = (small.shape[1], small.shape[0])
    to_other = plane @ shrink
    under = cv2.warpPerspective(other.grey, to_other, size, flags=cv2.INTER_AREA | cv2.WARP_INVERSE_MAP)
    there = cv2.warpPerspective(np.full_like(other.grey, 255), to_other, size, flags=cv2.WARP_INVERSE_MAP) > 127
    a = _detail(np.asarray(small))
    b = _detail(np.asarray(under))
    # Parallax and a map that is only nearly right move detail by a pixel or two at this size: each block may shift.
    best = np.full((BLOCKS, BLOCKS), -1.0)
    weight = _block_sums(a * a * there)
    for dx, dy in _SHIFTS:
        moved = np.roll(b, (dy, dx), (0, 1))
        both = _block_sums(a * moved * there)
        norm = np.sqrt(weight * _block_sums(moved * moved * there)) + 1e-6
        best = np.maximum(best, both / norm)
    covered = _block_sums(there.astype(np.float32))
    detailed = (weight > 0.15 * np.median(weight[weight > 0]) if (weight > 0).any() else weight > 0) & (
        covered > 0.5 * covered.max()
    )
    if not detailed.any():
        return 0.0, 0.0, float(there.mean())
    values = best[detailed]
    return float(values.mean()), float((values > 0.35).mean()), float(there.mean())


_SHIFTS = tuple((dx, dy) for dx in (-4, -2, 0, 2, 4) for dy in (-4, -2, 0, 2, 4))


def _detail(grey: Bytes) -> Floats:
    """Middle frequencies, evened in strength: what is left when exposure, colour and grain are taken off."""
    import cv2

    image = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.5)
    band = image - cv2.GaussianBlur(image, (0, 0), 8.0)
    return np.asarray(band / (np.sqrt(cv2.GaussianBlur(band * band, (0, 0), 8.0)) + 4.0), np.float32)


def _block_sums(values: NDArray[Any]) -> NDArray[np.float64]:
    rows = np.linspace(0, values.shape[0], BLOCKS + 1).astype(int)
    columns = np.linspace(0, values.shape[1], BLOCKS + 1).astype(int)
    by_row = np.add.reduceat(values.astype(np.float64), rows[:-1], axis=0)
    return np.asarray(np.add.reduceat(by_row, columns[:-1], axis=1))
