"""Perforations of 135 film in a reduced capture: bright, rounded, alike, and evenly spaced in rows.

Nothing here depends on an absolute brightness or size: candidates are taken at many levels, and what makes them holes
is that several of one size stand in a line at the spacing that their own size asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import HOLE_ACROSS_MM, HOLE_ALONG_MM, HOLE_CORNER_RADIUS_MM, PITCH_MM, ROW_DISTANCE_MM

Floats = NDArray[np.floating[Any]]

_HOLE_AREA_MM2 = HOLE_ALONG_MM * HOLE_ACROSS_MM - (4 - np.pi) * HOLE_CORNER_RADIUS_MM**2
_PITCH_BY_ROOT_AREA = PITCH_MM / np.sqrt(_HOLE_AREA_MM2)
_LEVELS = 12
_LINKS_TRIED = 60
_ROWS_IN_A_GROUP = 4
_SEARCH_PIXELS = 500_000  # enough to tell holes; their centres are measured on more
_ROW_DISTANCE_BY_PITCH = ROW_DISTANCE_MM / PITCH_MM

# Columns of the table of candidates.
_X, _Y, _ROOT_AREA, _DIRECTION, _LEVEL = range(5)


@dataclass(frozen=True, eq=False)
class HoleRow:
    """Holes that stand in one line.

    Attributes
    ----------
    points : ndarray of shape (holes, 2)
        Centres in pixels of the array, along the row.
    indices : ndarray of shape (holes,), int
        Which hole of the row each is, from 0.
    pitch : float
        Median distance from hole to hole, in pixels of the array.
    """

    points: Floats
    indices: NDArray[np.int64]
    pitch: float

    @property
    def direction(self) -> Floats:
        """Unit vector along the row."""
        step = self.points[-1] - self.points[0]
        return np.asarray(step / np.hypot(*step))


def clearness(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """How near each pixel comes to bare light: the least of its channels, each against its own brightest part.

    Film base takes most from blue (colour negatives) or from all channels alike; bare light is 1 in every channel.
    """
    import cv2

    sample = light[::4, ::4].reshape(-1, 3)
    top = np.maximum(np.percentile(sample, 99.5, axis=0), 1e-9).astype(np.float32)
    red, green, blue = cv2.split(light * (1 / top))
    return np.asarray(cv2.min(cv2.min(red, green), blue), dtype=np.float32)


def find_rows(clear: NDArray[np.float32]) -> list[HoleRow]:
    """All rows of holes in a picture of clearness, the longest first."""
    import cv2

    by = max(1, round(np.sqrt(clear.size / _SEARCH_PIXELS)))
    rows: list[HoleRow] = []
    for factor in dict.fromkeys((by, 1)):
        size = (clear.shape[1] // factor, clear.shape[0] // factor)
        part = clear[: size[1] * factor, : size[0] * factor]
        small = (
            cv2.resize(part, size, interpolation=cv2.INTER_AREA) if factor > 1 else cv2.GaussianBlur(clear, (0, 0), 0.7)
        )
        holes = _without_doubles(_candidates(np.asarray(small, dtype=np.float32)))
        found = [_as_row(holes[group], factor) for group in _lines(holes)] if len(holes) >= 3 else []
        rows = sorted((row for row in found if row is not None), key=lambda row: -len(row.points))
        if rows:
            break
    return rows


def pair_rows(rows: list[HoleRow]) -> list[tuple[HoleRow, HoleRow | None]]:
    """The two rows of each strip together, the surest first; a row whose partner is not seen stands alone."""
    costs = []
    for i, one in enumerate(rows):
        for j in range(i + 1, len(rows)):
            cost = _misfit(one, rows[j])
            if cost is not None:
                costs.append((cost, i, j))
    taken: set[int] = set()
    pairs: list[tuple[HoleRow, HoleRow | None]] = []
    for _, i, j in sorted(costs, key=lambda cost: cost[0] - 0.01 * len(rows[cost[1]].points)):
        if i not in taken and j not in taken:
            taken |= {i, j}
            pairs.append((rows[i], rows[j]))
    inside = [row for k, row in enumerate(rows) if k not in taken and len(row.points) >= 4]
    return pairs + [(row, None) for row in inside]


def _misfit(one: HoleRow, other: HoleRow) -> float | None:
    """How badly two rows fit as the rows of one strip; None where they cannot be."""
    along = one.direction
    if abs(float(along @ other.direction)) < 0.995:
        return None
    across = np.array([-along[1], along[0]])
    pitch = (one.pitch + other.pitch) / 2
    distance = abs(float(across @ (other.points.mean(axis=0) - one.points.mean(axis=0))))
    wrong = abs(distance / pitch / _ROW_DISTANCE_BY_PITCH - 1)
    first, second = one.points @ along, other.points @ along
    common = min(first.max(), second.max()) - max(first.min(), second.min())
    if wrong > 0.06 or abs(one.pitch / other.pitch - 1) > 0.08 or common < pitch:
        return None
    return wrong + abs(one.pitch / other.pitch - 1) - 0.001 * common / pitch


def _candidates(clear: NDArray[np.float32]) -> Floats:
    """Every bright part of a hole's shape at any level: x, y, root of area, direction of the short side, level."""
    import cv2

    low, high = np.percentile(clear[::3, ::3], [2, 99.8])
    if not high > 0:
        return np.zeros((0, 5))
    low = max(float(low), float(high) * 0.02)
    found: list[tuple[float, ...]] = []
    largest = clear.size / 60
    for level in np.geomspace(max(low * 1.15, high * 0.04), high * 0.9, _LEVELS):
        mask = (clear > level).view(np.uint8)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            if not 8 <= len(contour) <= 4000:
                continue
            hole = _hole_like(contour, largest)
            if hole is not None:
                found.append((*hole, float(level)))
    return np.array(found).reshape(-1, 5)


def _hole_like(contour: NDArray[Any], largest: float) -> tuple[float, float, float, float] | None:
    import cv2

    (x, y), (width, height), angle = cv2.minAreaRect(contour)
    # A contour runs through the middles of its outermost pixels: half a pixel is missing all round.
    width, height = width + 1, height + 1
    box = width * height
    if not 9 <= box <= largest or not 1.1 <= max(width, height) / min(width, height) <= 1.9:
        return None
    area = cv2.contourArea(contour) + cv2.arcLength(contour, True) / 2 + 1
    if area < 0.78 * box:
        return None
    short = angle if width < height else angle + 90
    return x + 0.5, y + 0.5, float(np.sqrt(area)), float(np.deg2rad(short))


def _without_doubles(holes: Floats) -> Floats:
    """One candidate a place: a hole shows at several levels; the middle one of them has the truest size."""
    if not len(holes):
        return holes
    from scipy.spatial import cKDTree

    tree = cKDTree(holes[:, :2])
    left = np.ones(len(holes), bool)
    kept = []
    for index in np.argsort(-holes[:, _LEVEL]):
        if not left[index]:
            continue
        near = [k for k in tree.query_ball_point(holes[index, :2], 0.35 * holes[index, _ROOT_AREA]) if left[k]]
        group = holes[near]
        left[near] = False
        best = group[np.argsort(group[:, _ROOT_AREA])[len(group) // 2]].copy()
        best[:2] = np.median(group[:, :2], axis=0)
        kept.append(best)
    return np.array(kept)


def _lines(holes: Floats) -> list[NDArray[np.int64]]:
    """Groups of candidates that are neighbours of one another at one, two or three pitches."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    pairs = _near_pairs(holes)
    if not len(pairs):
        return []
    first, second = holes[pairs[:, 0]], holes[pairs[:, 1]]
    step = second[:, :2] - first[:, :2]
    distance = np.hypot(step[:, 0], step[:, 1])
    alike = np.abs(np.log(first[:, _ROOT_AREA] / second[:, _ROOT_AREA])) < 0.2
    pitch = _PITCH_BY_ROOT_AREA * (first[:, _ROOT_AREA] + second[:, _ROOT_AREA]) / 2
    ratio = distance / pitch
    whole = np.clip(np.round(ratio), 1, 3)
    spaced = np.abs(ratio / whole - 1) < 0.14
    angle = np.arctan2(step[:, 1], step[:, 0])
    straight = (np.abs(np.sin(angle - first[:, _DIRECTION])) < 0.25) & (
        np.abs(np.sin(angle - second[:, _DIRECTION])) < 0.25
    )
    good = pairs[alike & spaced & straight]
    count = len(holes)
    graph = coo_matrix((np.ones(len(good)), (good[:, 0], good[:, 1])), shape=(count, count))
    _, member = connected_components(graph, directed=False)
    groups = np.flatnonzero(np.bincount(member) >= 3)
    return [row for k in groups for row in _straight_rows(holes, member == k, good[member[good[:, 0]] == k])]


def _straight_rows(holes: Floats, group: NDArray[np.bool_], links: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """The rows in a group of linked candidates, the longest first.

    What is linked to a row by chance (print, a window in a picture) neither bends nor breaks it: each link is taken as
    two neighbours of a row, and the one that most of the group agrees with decides.
    """
    rows: list[NDArray[np.int64]] = []
    left = group.copy()
    while left.sum() >= 3 and len(links) and len(rows) < _ROWS_IN_A_GROUP:
        some = links[:: max(1, len(links) // _LINKS_TRIED)]
        members = np.flatnonzero(left)
        start = holes[some[:, 0], :2]
        step = holes[some[:, 1], :2] - start
        length = np.hypot(step[:, 0], step[:, 1])
        sizes = (holes[some[:, 0], _ROOT_AREA] + holes[some[:, 1], _ROOT_AREA]) / 2
        pitch = length / np.clip(np.round(length / (_PITCH_BY_ROOT_AREA * sizes)), 1, 3)
        offset = holes[members, :2][None] - start[:, None]
        along = (offset * step[:, None]).sum(axis=-1) / length[:, None]
        off = np.abs(offset[..., 0] * step[:, None, 1] - offset[..., 1] * step[:, None, 0]) / length[:, None]
        number = along / pitch[:, None]
        loose = 1 + 0.03 * np.abs(number)  # a link's own error grows along the row
        fits = (np.abs(number - np.round(number)) < 0.12 * loose) & (off < 0.25 * sizes[:, None] * loose)
        fits &= np.abs(np.log(holes[members, _ROOT_AREA][None] / sizes[:, None])) < 0.25
        best = int(fits.sum(axis=1).argmax())
        row = members[fits[best]]
        if len(row) < 3:
            break
        rows.append(row)
        left[row] = False
        links = links[left[links].all(axis=1)]
    return rows


def _near_pairs(holes: Floats) -> NDArray[np.int64]:
    """Pairs of candidates of about one size within three pitches of that size."""
    from scipy.spatial import cKDTree

    root_area = holes[:, _ROOT_AREA]
    found = []
    for octave in np.arange(np.log2(root_area.min()), np.log2(root_area.max()) + 0.5, 0.5):
        members = np.flatnonzero((root_area >= 2**octave) & (root_area < 2 ** (octave + 1)))
        if len(members) >= 3:
            reach = 3.3 * _PITCH_BY_ROOT_AREA * float(root_area[members].max())
            near = cKDTree(holes[members, :2]).query_pairs(reach, output_type="ndarray")
            found.append(members[near])
    return np.unique(np.concatenate(found), axis=0) if found else np.zeros((0, 2), np.int64)


def _as_row(holes: Floats, factor: int) -> HoleRow | None:
    """Order, number and clean a group of candidates; None if it is no row."""
    points = holes[:, :2]
    for _ in range(3):
        centre = np.median(points, axis=0)
        along = np.linalg.svd(points - centre)[2][0]
        across = np.array([-along[1], along[0]])
        bent = np.polyfit((points - centre) @ along, (points - centre) @ across, 2 if len(points) > 6 else 1)
        off = np.abs((points - centre) @ across - np.polyval(bent, (points - centre) @ along))
        size = np.median(holes[:, _ROOT_AREA])
        keep = off < max(0.25 * size, 1.0)
        if keep.all():
            break
        points, holes = points[keep], holes[keep]
        if len(points) < 3:
            return None
    if along[np.argmax(np.abs(along))] < 0:
        along = -along
    points = points[np.argsort(points @ along)]
    gaps = np.diff(points @ along)
    expected = _PITCH_BY_ROOT_AREA * np.median(holes[:, _ROOT_AREA])
    single = gaps[(gaps > 0.75 * expected) & (gaps < 1.25 * expected)]
    if len(single) < 2:
        return None
    pitch = float(np.median(single))
    steps = np.round(gaps / pitch).astype(np.int64)
    regular = np.abs(gaps / np.maximum(steps, 1) / pitch - 1) < 0.12
    if not regular.any() or regular.mean() < 0.6:
        return None
    keep_point = np.r_[True, steps > 0]
    indices = np.r_[0, np.cumsum(steps)]
    return HoleRow(points=points[keep_point] * factor, indices=indices[keep_point], pitch=pitch * factor)
