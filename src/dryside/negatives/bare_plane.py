"""A better plane for film without perforations in sight: from the frames themselves, once they are found.

Their upper and lower sides are straight and parallel on the film; how they run and close in tells tilt and keystone.
Their size and rhythm give the scale, as exactly as cameras keep to them.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from dryside.film.formats import FilmFormat, film_format
from dryside.film.perforations import PITCH_MM
from dryside.negatives import evidence as evidences
from dryside.negatives.evidence import Evidence
from dryside.negatives.frame_sides import top_and_bottom
from dryside.negatives.frames import CUT, frames_by_evidence, view_of
from dryside.negatives.rim_pitch import rim_pitch_mm
from dryside.negatives.strip import tilt_degrees
from dryside.negatives.types import FilmPlane, FloatArray, FrameFound, LightArray, Strip

SCALE_DOUBT = "the scale is taken from the frames themselves, which differ by about a per cent between cameras"

_PARTS_OF_A_FRAME = 3
_SEEN_PLAINLY = 0.45  # more than a faint side has
_HEIGHTS_DIFFER_MM = 0.5


def settled(light: LightArray, strip: Strip, *, scale: float) -> Strip:
    """The strip with tilt, keystone and scale taken from its frames; as it was where they show too little.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        The capture reduced by `scale`.
    strip : Strip
        As `bare_film` finds it.
    scale : float
        Capture pixels to one pixel of `light`.
    """
    view = view_of(light, strip, scale=scale)
    found = evidences.gather(view, strip)
    frames = frames_by_evidence(found, strip)
    if not frames:
        return strip
    facts = film_format(strip.format)
    sides = _sides(found, strip, facts, frames)
    if len(sides) >= 3:
        strip = _straightened(strip, sides)
    pitch = rim_pitch_mm(view, strip.width_mm) if facts.is_perforated else None
    if pitch is not None:
        strip = replace(_grown(strip, pitch / PITCH_MM), scale_source="perforations")
    elif strip.scale_source == "frames":
        strip = _scaled(strip, facts, frames)
    middle = np.array([(strip.x_from_mm + strip.x_to_mm) / 2, strip.width_mm / 2])
    return replace(
        strip, pixels_per_mm=strip.plane.pixels_per_mm(middle), tilt_degrees=tilt_degrees(strip.plane, middle)
    )


def _sides(found: Evidence, strip: Strip, facts: FilmFormat, frames: tuple[FrameFound, ...]) -> FloatArray:
    """Film x, upper side and lower side over parts of the frames where both are seen; shape (parts, 3)."""
    rows = []
    for frame in frames:
        bounds = np.linspace(frame.film_mm[0] + 0.5, frame.film_mm[2] - 0.5, _PARTS_OF_A_FRAME + 1)
        for x0, x1 in pairwise(bounds):
            top, bottom = top_and_bottom(found, strip, facts, (x0, x1))
            if min(top.seen, bottom.seen) > _SEEN_PLAINLY:
                rows.append(((x0 + x1) / 2, top.at, bottom.at))
    sides = np.array(rows).reshape(-1, 3)
    height = sides[:, 2] - sides[:, 1]
    return sides[np.abs(height - np.median(height)) < _HEIGHTS_DIFFER_MM] if len(sides) else sides


def _straightened(strip: Strip, sides: FloatArray) -> Strip:
    """Turned and leaned so that the sides run straight along the film at one distance."""
    x, top, bottom = sides.T
    upper, lower = _line(x, top), _line(x, bottom)
    middle = float(np.median(x))
    height = np.polyval(lower, middle) - np.polyval(upper, middle)
    closing = (lower[0] - upper[0]) / height  # change of scale along x, per mm
    if len(sides) < 6 or np.ptp(x) < 30:
        closing = 0.0  # too short a run to tell from noise
    run = (upper[0] + lower[0]) / 2
    centre = (np.polyval(upper, middle) + np.polyval(lower, middle)) / 2
    # New film (X, Y) to old: a homography with scale 1 / (1 - closing X) around the middle, sheared by the run.
    to_middle = np.array([[1, 0, -middle], [0, 1, -centre], [0, 0, 1.0]])
    lean = np.array([[1, -run, 0], [run, 1, 0], [-closing, 0, 1.0]])
    back = np.array([[1, 0, middle], [0, 1, centre], [0, 0, 1.0]])
    plane = FilmPlane(strip.plane.to_pixels @ back @ lean @ to_middle, strip.plane.capture_size, strip.plane.distortion)
    return replace(strip, plane=plane)


def _line(x: FloatArray, y: FloatArray) -> FloatArray:
    """Straight line through points, those far off left out."""
    keep = np.ones(len(x), bool)
    line = np.polyfit(x, y, 1)
    for _ in range(3):
        off = np.abs(y - np.polyval(line, x))
        keep = off <= max(3 * 1.48 * float(np.median(off)), 0.03)
        line = np.polyfit(x[keep], y[keep], 1)
    return np.asarray(line)


def _scaled(strip: Strip, facts: FilmFormat, frames: tuple[FrameFound, ...]) -> Strip:
    """Scale by the rhythm of perforated film, else by the frames' sizes."""
    whole = [frame for frame in frames if CUT not in frame.warnings]
    height = float(np.median([frame.film_mm[3] - frame.film_mm[1] for frame in frames]))
    larger = height / facts.across_mm
    if whole:
        length = float(np.median([frame.film_mm[2] - frame.film_mm[0] for frame in whole]))
        larger = (length + height) / (facts.along_mm + facts.across_mm)
    steps = np.diff([frame.film_mm[0] for frame in frames])
    if facts.frame_pitch_mm is not None:
        steps = steps[np.abs(steps / larger / facts.frame_pitch_mm - 1) < 0.04]
        if len(steps):
            larger = float(np.mean(steps)) / facts.frame_pitch_mm
    return replace(_grown(strip, larger), warnings=(*strip.warnings, SCALE_DOUBT))


def _grown(strip: Strip, larger: float) -> Strip:
    """The strip with film millimetres that are larger in the capture by a factor; the film's middle stays."""
    middle = strip.width_mm / 2
    grow = np.array([[larger, 0, 0], [0, larger, middle * (1 - larger)], [0, 0, 1.0]])
    plane = FilmPlane(strip.plane.to_pixels @ grow, strip.plane.capture_size, strip.plane.distortion)
    return replace(strip, plane=plane, x_from_mm=strip.x_from_mm / larger, x_to_mm=strip.x_to_mm / larger)
