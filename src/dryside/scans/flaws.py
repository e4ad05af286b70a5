"""Flaws of a scan that have a place: dust, scratches, light at the perforations, rebate, a second exposure's edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]
    Box = tuple[int, int, int, int]

PERFORATION_PITCH_MM = 4.75
_LOOKED_AT_PX = 2000  # longer side at which spots and lines are looked for


@dataclass(frozen=True)
class Flaws:
    """How many, and where: boxes (x, y, width, height) in pixels of the picture, the plainest first."""

    count: int
    boxes: tuple[Box, ...] = ()


def _grey(image: Image8, longest: int) -> tuple[NDArray[np.float32], float]:
    import cv2

    scale = min(1.0, longest / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else image
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.float32), scale


def dust(image: Image8, *, is_negative: bool = True, least_contrast: float = 28.0) -> Flaws:
    """Count specks: small, compact, far lighter than an even surrounding (darker on a slide, where dust casts shadow).

    Parameters
    ----------
    image : ndarray of shape (rows, columns, 3), uint8
        A positive.
    is_negative : bool, optional
        Whether it was scanned from a negative, where dust comes out light.
    least_contrast : float, optional
        8-bit levels above the surrounding.
    """
    import cv2

    grey, scale = _grey(image, _LOOKED_AT_PX)
    if not is_negative:
        grey = 255.0 - grey
    unit = max(grey.shape) / 1000
    width = 2 * round(3.5 * unit) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    speck = np.asarray(cv2.morphologyEx(grey, cv2.MORPH_TOPHAT, kernel))
    # Only where nothing else is going on: leaves and gravel are full of small light things.
    around = 2 * round(12 * unit) + 1
    opened = grey - speck
    mean = cv2.boxFilter(opened, -1, (around, around))
    spread = np.sqrt(np.clip(cv2.boxFilter(opened * opened, -1, (around, around)) - mean * mean, 0, None))
    busy = cv2.boxFilter((speck > least_contrast / 2).astype(np.float32), -1, (2 * around + 1, 2 * around + 1))
    found = (speck > np.maximum(least_contrast, 4 * spread)) & (np.asarray(busy) < 0.02)
    _, _, stats, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8))
    boxes = []
    for x, y, w, h, area in stats[1:]:
        if area >= 3 and max(w, h) <= width and area >= 0.3 * w * h and max(w, h) <= 4 * min(w, h):
            boxes.append((int(x / scale), int(y / scale), int(np.ceil(w / scale)), int(np.ceil(h / scale))))
    return Flaws(len(boxes), tuple(boxes[:200]))


def scratches(image: Image8, *, least_contrast: float = 6.0, least_length: float = 0.35) -> Flaws:
    """Count fine straight lines that run along either side of the picture, as a roller or a gate draws them.

    A line counts where the median contrast of its middle pixel to both neighbours at some distance is `least_contrast`
    8-bit levels over `least_length` of the side, always of the same sign.
    """
    grey, scale = _grey(image, _LOOKED_AT_PX)
    boxes: list[Box] = []
    for turned in (False, True):
        view = grey.T if turned else grey
        boxes += [_back(box, scale, turned) for box in _lines(view, least_contrast, least_length)]
    return Flaws(len(boxes), tuple(boxes))


def _lines(view: NDArray[np.float32], least_contrast: float, least_length: float) -> list[Box]:
    """Columns that stand out from both sides over most of a long run, in one sign."""
    rows = view.shape[0]
    reach = 4
    sides_apart = np.abs(view[:, 2 * reach :] - view[:, : -2 * reach])
    contrast = view[:, reach:-reach] - (view[:, 2 * reach :] + view[:, : -2 * reach]) / 2
    # A line on an edge of the subject is the edge: the two sides must be alike.
    contrast = np.where(sides_apart < 12, contrast, 0.0)
    pieces = 20
    height = rows // pieces
    median = np.median(contrast[: height * pieces].reshape(pieces, height, -1), axis=1)
    boxes: list[Box] = []
    for sign in (1, -1):
        strong = median * sign >= least_contrast
        share = strong.mean(axis=0)
        for x in np.flatnonzero(share >= least_length):
            nearby = share[max(0, x - reach) : x + reach + 1]
            if share[x] < nearby.max() or any(abs(x - box[0]) <= reach for box in boxes):
                continue
            run = np.flatnonzero(strong[:, x])
            # Mostly one run: where the subject is busy a part of it cannot be told.
            if len(run) >= 0.85 * (run[-1] - run[0] + 1):
                boxes.append((int(x + reach), int(run[0] * height), 1, int((run[-1] - run[0] + 1) * height)))
    return boxes


def _back(box: Box, scale: float, turned: bool) -> Box:
    x, y, w, h = (round(value / scale) for value in box)
    return (y, x, max(h, 1), max(w, 1)) if turned else (x, y, max(w, 1), max(h, 1))


def light_at_perforations(image: Image8, *, long_mm: float) -> tuple[float, str]:
    """How strongly the light along the long edges beats at the pitch of the perforations, 8-bit levels, and which edge.

    Light that comes in through the cassette's slot or the holes leaves a fringe at every 4.75 mm. The measure is the
    amplitude of that frequency in the outermost 4 % of the picture, less what its neighbours in frequency and the
    strip further in have of it.

    Parameters
    ----------
    image : ndarray of shape (rows, columns, 3), uint8
        A positive, long side along the film.
    long_mm : float
        Length of its long side on the film.
    """
    grey, _ = _grey(image, 1500)
    if grey.shape[0] > grey.shape[1]:
        grey = grey.T
    rows = grey.shape[0]
    band = max(3, round(0.04 * rows))
    best = (0.0, "")
    for name, edge, inner in (
        ("top", grey[:band], grey[3 * band : 4 * band]),
        ("bottom", grey[-band:], grey[-4 * band : -3 * band]),
    ):
        beats = _amplitude(edge.mean(axis=0), long_mm) - _amplitude(inner.mean(axis=0), long_mm)
        best = max(best, (beats, name))
    return best


def _amplitude(profile: NDArray[Any], long_mm: float) -> float:
    """How much every period of the pitch swings together, levels: the weakest fifth along the mean phase.

    A fringe of light beats at each hole alike; a picture that happens to have some of that frequency does not.
    """
    place = np.arange(len(profile)) / len(profile) * long_mm
    periods = max(2, int(long_mm / PERFORATION_PITCH_MM))
    phasors = []
    for k in range(periods):
        inside = (place >= k * PERFORATION_PITCH_MM) & (place < (k + 1) * PERFORATION_PITCH_MM)
        part, where = profile[inside], place[inside]
        level = part - np.polyval(np.polyfit(where, part, 1), where)
        phasors.append(2 * (level * np.exp(-2j * np.pi * where / PERFORATION_PITCH_MM)).mean())
    values = np.asarray(phasors)
    mean = values.mean()
    if abs(mean) < 1e-9:
        return 0.0
    return float(max(0.0, np.percentile((values * np.conj(mean / abs(mean))).real, 20)))


def leak(image: Image8) -> tuple[float, str]:
    """Warm light that falls off from an edge inwards: its size in 8-bit levels of red over blue, and the edge.

    Light that reaches a colour negative through the back or the edge is orange. Counted is how much the red excess of a
    part of the outermost 3 % stands above that of the strip inside it, where it also falls off steadily.
    """
    import cv2

    small = np.asarray(cv2.resize(image, (192, 128), interpolation=cv2.INTER_AREA), np.float32)
    warm = small[..., 0] - small[..., 2]
    light = small.mean(axis=2)
    best = (0.0, "")
    sides: dict[str, Callable[[Any], Any]] = {
        "left": lambda a: np.rot90(a, -1),
        "top": lambda a: a,
        "right": np.rot90,
        "bottom": lambda a: a[::-1],
    }
    for name, turn in sides.items():
        depth = [np.asarray(turn(warm))[k : k + 4] for k in (0, 6, 14, 26)]
        bright = [np.asarray(turn(light))[k : k + 4] for k in (0, 6, 14, 26)]
        parts = np.array([_by_parts(band) for band in depth])
        lights = np.array([_by_parts(band) for band in bright])
        falls = (np.diff(parts, axis=0) < -4).all(axis=0) & (np.diff(lights, axis=0) < -4).all(axis=0)
        excess = np.where(falls & (lights[0] > 150), parts[0] - parts[2], 0.0)
        best = max(best, (float(excess.max()), name))
    return best


def _by_parts(band: NDArray[Any]) -> NDArray[np.float64]:
    return np.array([part.mean() for part in np.array_split(band, 8, axis=1)])


def rebate(image: Image8, *, dark: float = 22.0, light: float = 245.0) -> dict[str, int]:
    """Widths in pixels of even dark or white borders: film beside the frame, or the mask of the scanner, by side.

    A border ends where a line is no longer even (deviation above 6 levels) and dark or white; at least 3 in a thousand
    of the side count.
    """
    grey, scale = _grey(image, 1500)
    out: dict[str, int] = {}
    for name, view in (("top", grey), ("bottom", grey[::-1]), ("left", grey.T), ("right", grey.T[::-1])):
        depth = 0
        for line in view[: view.shape[0] // 4]:
            inner = line[len(line) // 20 : -max(1, len(line) // 20)]
            even = float(inner.std()) <= 6.0 and (float(inner.mean()) <= dark or float(inner.mean()) >= light)
            if not even:
                break
            depth += 1
        if depth >= max(2, 0.003 * view.shape[0]) and depth < view.shape[0] // 4 and _ends_sharply(view, depth):
            out[name] = round(depth / scale)
    return out


def _ends_sharply(view: NDArray[Any], depth: int) -> bool:
    """Whether the picture begins at once: a night sky darkens slowly, the edge of a gate does not."""
    outside = view[max(0, depth - 2) : depth].mean(axis=0)
    inside = view[depth + 2 : depth + 5].mean(axis=0)
    return float((np.abs(inside - outside) > 20).mean()) > 0.5


def second_edge(image: Image8) -> tuple[float, Box | None]:
    """The share of the short side over which a straight step of one sign runs across the film, and where.

    A second exposure that does not lie exactly on the first leaves the edge of its frame across the picture; so does a
    frame that lies over its neighbour. Steps within 2 % of the border do not count, they are the border. A wall or a
    mast may be as straight: it is a sign only beside a raised black level, which a second exposure leaves too.
    """
    grey, scale = _grey(image, 900)
    turned = grey.shape[0] > grey.shape[1]
    view = np.ascontiguousarray(grey.T) if turned else grey
    rows, columns = view.shape
    k = 5
    left = np.cumsum(view, axis=1)
    step = (left[:, 2 * k :] - 2 * left[:, k:-k] + left[:, : -2 * k]) / k
    pieces = 32
    height = rows // pieces
    median = np.median(step[: height * pieces].reshape(pieces, height, -1), axis=1)
    share = np.maximum((median > 5).mean(axis=0), (median < -5).mean(axis=0))
    margin = round(0.02 * columns)
    share[:margin] = share[-margin:] = 0
    x = int(share.argmax())
    return float(share[x]), _back((x + k, 0, 1, rows), scale, turned) if share[x] > 0 else None
