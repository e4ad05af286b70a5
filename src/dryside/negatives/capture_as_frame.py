"""A capture of one frame of a colour negative whose sides are not seen: its shape and its orange mask tell.

Either there is nothing but the frame, or the frame is as clear as the film around it. Black and white, slides and other
shapes are not taken for a frame this way: nothing would tell them from any picture.
"""

from __future__ import annotations

import numpy as np

from dryside.film.formats import FilmFormat
from dryside.negatives.types import FilmPlane, FloatArray, FrameFound, LightArray, Strip, StripRead

NO_REBATE = "no film is seen around it; the whole capture is taken as one frame"

SIDES_UNSEEN = "hardly any light has reached it: its sides are not seen, and it is taken to lie in the middle"

# A capture of one frame shows about so much film around it (common practice), mm.
_USUAL_MARGIN_MM = {"135": 1.0, "120": 1.5}
_MOST_MARGIN_MM = 2.5
_EXACT_SHAPE = 0.0012  # with film around it a capture hardly has its frame's very shape
_CLEAR = 0.06  # log10 within which film base is alike, light that falls off left out
_CLEAR_SHARE = 80
_MASK = 0.3  # log10 by which clear film of a colour negative is denser in blue than in red
_NEAR = 0.85
_SHAPE_TOLERANCE = 0.03
_LEAST_RED_TO_BLUE = 1.6  # the orange mask leaves more, in the clearest and in the densest places
_LEAST_LIGHT = 0.002
_RIM_LIGHT = 0.7
_CONFIDENCE = 0.3


def looks_like_one_frame(light: LightArray, facts: FilmFormat) -> bool:
    """Whether a capture has a frame's shape, is orange all over as only a colour negative is, and has no clear rim."""
    return is_orange_frame(light, facts) and not _has_clear_rim(light)


def is_orange_frame(light: LightArray, facts: FilmFormat) -> bool:
    """Whether a capture has a frame's shape and is orange all over as only a colour negative is."""
    rows, columns = light.shape[:2]
    if min(rows, columns) < 50 or abs(max(rows, columns) / min(rows, columns) / facts.aspect - 1) > _SHAPE_TOLERANCE:
        return False
    some = np.maximum(light[::5, ::5].reshape(-1, 3), 1e-6)
    darkest, brightest = np.percentile(some[:, 0], [1, 99])
    ratio = np.percentile(some[:, 0] / some[:, 2], 3)
    return bool(ratio > _LEAST_RED_TO_BLUE and darkest > _LEAST_LIGHT * brightest)


def _has_clear_rim(light: LightArray) -> bool:
    """Whether film base runs along the capture's rim: as light as the lightest of it, nearly all round."""
    wide = max(1, round(0.004 * min(light.shape[:2])))
    clearest = np.percentile(light[::3, ::3, 0], 97)
    sides = (light[:wide], light[-wide:], light[:, :wide], light[:, -wide:])
    clear = [float((side[..., 0] > _RIM_LIGHT * clearest).mean()) for side in sides]
    return sorted(clear)[1] > 0.6  # one side may lie on the next frame


def looks_clear(light: LightArray, facts: FilmFormat) -> bool:
    """Whether a capture shows one frame of a colour negative that is as clear as its film nearly all over."""
    rows, columns = light.shape[:2]
    if min(rows, columns) < 50 or facts.film not in _USUAL_MARGIN_MM:
        return False
    shape = max(rows, columns) / min(rows, columns)
    widest = (facts.long_mm + _MOST_MARGIN_MM) / (facts.short_mm + _MOST_MARGIN_MM)
    if not widest / (1 + _SHAPE_TOLERANCE) <= shape <= facts.aspect * (1 + _SHAPE_TOLERANCE):
        return False
    off, middle = departure(light)
    return bool(np.percentile(off, _CLEAR_SHARE) < _CLEAR and middle[0] - middle[2] > _MASK)


def departure(light: LightArray) -> tuple[FloatArray, FloatArray]:
    """How far, log10, a capture's parts lie off a smooth fall-off of light, and the median log10 of each channel."""
    import cv2

    small = cv2.resize(light, (48, 32), interpolation=cv2.INTER_AREA).astype(np.float64)
    values = np.maximum(small, 1e-5 * max(float(small.max()), 1e-9)).reshape(-1, 3)
    y, x = (a.ravel() for a in np.mgrid[-1:1:32j, -1:1:48j])
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1)
    keep = np.ones(len(values), bool)
    off = np.zeros(len(values))
    for _ in range(3):
        kept = terms[keep]
        fit = np.linalg.solve(kept.T @ kept + 1e-9 * np.eye(terms.shape[1]), kept.T @ values[keep])
        smooth = np.maximum(terms @ fit, 1e-3 * values.max())
        off = np.abs(np.log10(values / smooth)).max(axis=1)
        keep = off <= max(3 * float(np.median(off)), 0.02)
    return off, np.asarray(np.log10(np.median(values, axis=0)))


def capture_as_strip(light: LightArray, facts: FilmFormat, *, scale: float, margin_mm: float = 0.0) -> Strip:
    """A strip of which the capture shows one frame, from corner to corner, or with this much film around it."""
    rows, columns = round(light.shape[0] * scale), round(light.shape[1] * scale)
    lies = (columns >= rows) == (facts.along_mm >= facts.across_mm)
    width = facts.film_width_mm or facts.across_mm
    top = (width - facts.across_mm) / 2
    per_mm = max(rows, columns) / facts.long_mm
    left, above = 0.0, 0.0
    if margin_mm:
        per_mm = (rows + columns) / (facts.long_mm + facts.short_mm + 4 * margin_mm)
        along, across = (columns, rows) if lies else (rows, columns)
        left, above = (along / per_mm - facts.along_mm) / 2, (across / per_mm - facts.across_mm) / 2
    x0, y0 = left * per_mm, (above - top) * per_mm
    lying = np.array([[per_mm, 0, x0], [0, per_mm, y0], [0, 0, 1.0]])
    standing = np.array([[0, -per_mm, columns - y0], [per_mm, 0, x0], [0, 0, 1.0]])
    return Strip(
        format=facts.key, plane=FilmPlane(lying if lies else standing, (rows, columns)), x_from_mm=-left,
        x_to_mm=facts.along_mm + left, ends_seen=(False, False), width_mm=width, pixels_per_mm=per_mm,
        tilt_degrees=0.0 if lies else 90.0, scale_source="capture",
    )  # fmt: skip


def whole_frame(strip: Strip, facts: FilmFormat) -> FrameFound:
    """The frame of `capture_as_strip`: the capture's own corners, upright as it stands."""
    rows, columns = strip.plane.capture_size
    corners = np.array([[0.0, 0.0], [columns, 0.0], [columns, rows], [0.0, rows]])
    if strip.tilt_degrees:
        corners = corners[[1, 2, 3, 0]]
    return FrameFound(0, corners, _sides(strip, facts), _CONFIDENCE, warnings=(NO_REBATE,))


def clear_frame(light: LightArray, facts: FilmFormat, *, scale: float) -> StripRead:
    """The frame of a capture that `looks_clear`, in its middle."""
    shape = max(light.shape[:2]) / min(light.shape[:2])
    is_cropped = facts.aspect > 1 and abs(shape / facts.aspect - 1) < _EXACT_SHAPE
    margin = 0.0 if is_cropped else _USUAL_MARGIN_MM[facts.film]
    strip = capture_as_strip(light, facts, scale=scale, margin_mm=margin)
    x0, y0, x1, y1 = sides = _sides(strip, facts)
    corners = strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    return StripRead(strip, (FrameFound(0, corners, sides, _CONFIDENCE / 2, warnings=(SIDES_UNSEEN,)),))


def is_near(one: FrameFound, other: FrameFound) -> bool:
    """Whether two frames are about the same place."""
    import cv2

    first, second = one.corners.astype(np.float32), other.corners.astype(np.float32)
    common, _ = cv2.intersectConvexConvex(first, second)
    return bool(common > _NEAR * max(cv2.contourArea(first), cv2.contourArea(second)))


def _sides(strip: Strip, facts: FilmFormat) -> tuple[float, float, float, float]:
    top = (strip.width_mm - facts.across_mm) / 2
    return 0.0, top, facts.along_mm, top + facts.across_mm
