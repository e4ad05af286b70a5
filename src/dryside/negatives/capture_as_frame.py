"""A capture that is nothing but one frame of a colour negative: no film around it, its shape and its mask tell.

Black and white, slides and other shapes are not taken for a frame this way: nothing would tell them from any picture.
"""

from __future__ import annotations

import numpy as np

from dryside.film.formats import FilmFormat
from dryside.negatives.types import FilmPlane, FrameFound, LightArray, Strip

NO_REBATE = "no film is seen around it; the whole capture is taken as one frame"

_SHAPE_TOLERANCE = 0.03
_LEAST_RED_TO_BLUE = 1.6  # the orange mask leaves more, in the clearest and in the densest places
_LEAST_LIGHT = 0.002
_RIM_LIGHT = 0.7
_CONFIDENCE = 0.3


def looks_like_one_frame(light: LightArray, facts: FilmFormat) -> bool:
    """Whether a capture has a frame's shape, is orange all over as only a colour negative is, and has no clear rim."""
    rows, columns = light.shape[:2]
    if min(rows, columns) < 50 or abs(max(rows, columns) / min(rows, columns) / facts.aspect - 1) > _SHAPE_TOLERANCE:
        return False
    some = np.maximum(light[::5, ::5].reshape(-1, 3), 1e-6)
    darkest, brightest = np.percentile(some[:, 0], [1, 99])
    ratio = np.percentile(some[:, 0] / some[:, 2], 3)
    orange = ratio > _LEAST_RED_TO_BLUE and darkest > _LEAST_LIGHT * brightest
    return bool(orange and not _has_clear_rim(light))


def _has_clear_rim(light: LightArray) -> bool:
    """Whether film base runs along the capture's rim: as light as the lightest of it, nearly all round."""
    wide = max(1, round(0.004 * min(light.shape[:2])))
    clearest = np.percentile(light[::3, ::3, 0], 97)
    sides = (light[:wide], light[-wide:], light[:, :wide], light[:, -wide:])
    clear = [float((side[..., 0] > _RIM_LIGHT * clearest).mean()) for side in sides]
    return sorted(clear)[1] > 0.6  # one side may lie on the next frame


def capture_as_strip(light: LightArray, facts: FilmFormat, *, scale: float) -> Strip:
    """A strip of which the capture shows one frame, from corner to corner."""
    rows, columns = round(light.shape[0] * scale), round(light.shape[1] * scale)
    lies = (columns >= rows) == (facts.along_mm >= facts.across_mm)
    width = facts.film_width_mm or facts.across_mm
    top = (width - facts.across_mm) / 2
    per_mm = max(rows, columns) / facts.long_mm
    lying = np.array([[per_mm, 0, 0], [0, per_mm, -top * per_mm], [0, 0, 1.0]])
    standing = np.array([[0, -per_mm, columns + top * per_mm], [per_mm, 0, 0], [0, 0, 1.0]])
    return Strip(
        format=facts.key, plane=FilmPlane(lying if lies else standing, (rows, columns)), x_from_mm=0.0,
        x_to_mm=facts.along_mm, ends_seen=(False, False), width_mm=width, pixels_per_mm=per_mm,
        tilt_degrees=0.0 if lies else 90.0, scale_source="capture",
    )  # fmt: skip


def whole_frame(strip: Strip, facts: FilmFormat) -> FrameFound:
    """The frame of `capture_as_strip`: the capture's own corners, upright as it stands."""
    rows, columns = strip.plane.capture_size
    corners = np.array([[0.0, 0.0], [columns, 0.0], [columns, rows], [0.0, rows]])
    if strip.tilt_degrees:
        corners = corners[[1, 2, 3, 0]]
    top = (strip.width_mm - facts.across_mm) / 2
    sides = (0.0, top, facts.along_mm, top + facts.across_mm)
    return FrameFound(0, corners, sides, _CONFIDENCE, warnings=(NO_REBATE,))
