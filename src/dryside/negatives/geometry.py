"""The geometry of a capture in one call: strips, frames, codes, labels, which way up.

The other modules hold the steps: `strip` (where the film lies), `frames` (the pictures), `edge_codes` (the numbers),
`orientation` (upright, mirrored), `labels`, `rebate` (where clear film base is) and `overlay` (all of it drawn).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from dryside.film.formats import FilmFormat, film_format
from dryside.negatives import edge_codes
from dryside.negatives.bare_plane import settled
from dryside.negatives.capture_as_frame import (
    capture_as_strip,
    clear_frame,
    is_near,
    is_orange_frame,
    looks_clear,
    whole_frame,
)
from dryside.negatives.frames import find_frames, view_of
from dryside.negatives.labels import label_frames
from dryside.negatives.no_film import what_is_there_instead, why_no_film
from dryside.negatives.orientation import DOUBT, turn_asked_for, turned, turned_frames, turned_readings
from dryside.negatives.rebate_around import MASKED, may_have_mask
from dryside.negatives.strip import find_strips, nothing_of
from dryside.negatives.types import Band, FilmRead, FrameFound, LightArray, Strip, StripRead

# About 1.2 megapixels show a perforation at 10 and more pixels an edge: enough for a twentieth of a pixel, and cheap.
_FINDER_PIXELS = 1_200_000


def finder_reduction(rows: int, columns: int) -> int:
    """By how much to reduce a capture of this size for `read_film`: 4 at 24 MP, 1 below 2.7 megapixels."""
    return max(1, round(math.sqrt(rows * columns / _FINDER_PIXELS)))


def read_film(light: LightArray, *, format: str, scale: float, band: Band, process: str | None = None) -> FilmRead:
    """Find the film in a capture: strips, frames, edge codes and labels.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light, or transmittance after the flat, of the capture reduced by `scale` (mean of the pixels).
    format : str
        Key of `dryside.film.formats.FORMATS`.
    scale : float
        Pixels of the capture to one of `light`; see `finder_reduction`.
    band : callable
        Full-size windows of the same light: `band(y0, y1, x0, x1)`.
    process : str, optional
        How the film was developed, if that is known: `c41`, `ecn2`, `bw`, `e6`.

    Returns
    -------
    FilmRead
        False, with `why`, where no film is found.
    """
    found = find_strips(light, format=format, scale=scale, process=process)
    strips: list[StripRead] = []
    doubts: list[str] = []
    for strip in found.strips:
        one, why = _read_strip(light, strip, scale, band, process)
        if why:
            doubts.append(why)
        else:
            strips.append(one)
    if process in MASKED and not any(one.strip.holes or one.strip.scale_source == "capture" for one in strips):
        strips = _or_clear_frame(strips, light, film_format(format), scale)
    if strips:
        return FilmRead(tuple(strips))
    instead = what_is_there_instead(light)
    if not instead and may_have_mask(process) and is_orange_frame(light, film_format(format)):
        whole = capture_as_strip(light, film_format(format), scale=scale)
        return FilmRead((StripRead(replace(whole, warnings=(DOUBT,)), (whole_frame(whole, film_format(format)),)),))
    return FilmRead((), instead or (*doubts, found.why)[0])


def _or_clear_frame(strips: list[StripRead], light: LightArray, facts: FilmFormat, scale: float) -> list[StripRead]:
    """What was found, or a clear frame in the middle of the capture where that is more likely."""
    if not looks_clear(light, facts) or (not strips and what_is_there_instead(light)):
        return strips
    clear = clear_frame(light, facts, scale=scale)
    found = [frame for one in strips for frame in one.frames]
    return strips if len(found) == 1 and is_near(found[0], clear.frames[0]) else [clear]


def _read_strip(
    light: LightArray, strip: Strip, scale: float, band: Band, process: str | None
) -> tuple[StripRead, str]:
    """What is on a strip, and why it is no film ('' if it is)."""
    if strip.holes:
        return _with_codes(strip, find_frames(view_of(light, strip, scale=scale), strip), band), ""
    if strip.scale_source == "capture":
        return _with_codes(strip, (whole_frame(strip, film_format(strip.format)),), band), ""
    strip = settled(light, strip, scale=scale)
    view = view_of(light, strip, scale=scale)
    frames = find_frames(view, strip)
    if not frames:
        return StripRead(strip, ()), nothing_of(film_format(strip.format))
    brightest = np.maximum(np.percentile(light[::4, ::4].reshape(-1, 3), 99.5, axis=0), 1e-6)
    why = why_no_film(view, strip, frames, brightest=brightest, process=process)
    return _with_codes(strip, frames, band), why


def _with_codes(strip: Strip, frames: tuple[FrameFound, ...], band: Band) -> StripRead:
    """A strip turned and labelled as its edge codes say."""
    readings, confidence = edge_codes.agreeing(edge_codes.read_edge_codes(strip, band)) if strip.holes else ((), 0.0)
    if not readings:
        return StripRead(replace(strip, warnings=(*strip.warnings, DOUBT)), frames)
    along, across = turn_asked_for(readings)
    upright = turned(strip, along=along, across=across)
    frames = turned_frames(frames, strip, along=along, across=across)
    readings = turned_readings(readings, strip, along=along, across=across)
    upright = replace(upright, mirrored=bool(np.linalg.det(upright.plane.to_pixels) < 0), upright_known=True)
    codes = edge_codes.as_edge_codes(readings, upright, confidence)
    return StripRead(upright, label_frames(frames, codes, format=strip.format), codes, edge_codes.stock_number(codes))
