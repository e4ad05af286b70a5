"""Turning what was found so that the film's numbers read upright: which end first, which edge up, which side seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryside.negatives.edge_codes import Reading
from dryside.negatives.types import FilmPlane, FrameFound, Hole, Strip

DOUBT = "no edge code was read: which way up the film lies, and whether it is mirrored, is taken as it stands"


def turned(strip: Strip, *, along: bool, across: bool) -> Strip:
    """The same strip with its film axes turned round along the film, across it, or both."""
    if not along and not across:
        return strip
    total = strip.pitch_mm * max((hole.index for hole in strip.holes), default=0) if along else 0.0
    to_old = np.array([
        [-1.0 if along else 1.0, 0, total],
        [0, -1.0 if across else 1.0, strip.width_mm if across else 0.0],
        [0, 0, 1.0],
    ])  # fmt: skip
    plane = FilmPlane(strip.plane.to_pixels @ to_old, strip.plane.capture_size, strip.plane.distortion)
    last = max((hole.index for hole in strip.holes), default=0)
    holes = tuple(
        Hole(
            1 - hole.row if across else hole.row,
            last - hole.index if along else hole.index,
            hole.x,
            hole.y,
            hole.residual_px,
        )
        for hole in strip.holes
    )
    ends = (total - strip.x_to_mm, total - strip.x_from_mm) if along else (strip.x_from_mm, strip.x_to_mm)
    return replace(
        strip, plane=plane, holes=tuple(sorted(holes, key=lambda hole: (hole.row, hole.index))),
        x_from_mm=ends[0], x_to_mm=ends[1], ends_seen=strip.ends_seen[::-1] if along else strip.ends_seen,
    )  # fmt: skip


def turned_frames(frames: tuple[FrameFound, ...], strip: Strip, *, along: bool, across: bool) -> tuple[FrameFound, ...]:
    """Frames of `strip` after `turned(strip, ...)`: numbered from the other end, corners renamed."""
    if not along and not across:
        return frames
    total = strip.pitch_mm * max((hole.index for hole in strip.holes), default=0)
    order = np.array([0, 1, 2, 3])
    if along:
        order = order[[1, 0, 3, 2]]
    if across:
        order = order[[3, 2, 1, 0]]
    found: list[FrameFound] = []
    for frame in frames[::-1] if along else frames:
        x0, y0, x1, y1 = frame.film_mm
        x0, x1 = (total - x1, total - x0) if along else (x0, x1)
        y0, y1 = (strip.width_mm - y1, strip.width_mm - y0) if across else (y0, y1)
        found.append(replace(frame, index=len(found), corners=frame.corners[order], film_mm=(x0, y0, x1, y1)))
    return tuple(found)


def turned_readings(readings: tuple[Reading, ...], strip: Strip, *, along: bool, across: bool) -> tuple[Reading, ...]:
    """Readings on `strip` after `turned(strip, ...)`."""
    total = strip.pitch_mm * max((hole.index for hole in strip.holes), default=0)
    found: list[Reading] = []
    for reading in readings:
        x0, x1 = reading.x_mm
        x_mm = (total - x1, total - x0) if along else (x0, x1)
        found.append(replace(reading, x_mm=x_mm, lower_edge=reading.lower_edge != across))
    return tuple(found)


def turn_asked_for(readings: tuple[Reading, ...]) -> tuple[bool, bool]:
    """How a strip must be turned (along, across) so that its agreeing readings stand upright on the lower edge.

    The codes lie along the lower edge and rise in reading direction; a strip on which both cannot be had without
    turning one axis alone is seen mirrored.
    """
    first = readings[0]
    return first.rising < 0, not first.lower_edge
