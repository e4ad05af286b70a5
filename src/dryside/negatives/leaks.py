"""Light that leaked onto film: seen beside the frames, where film should be as clear as its base.

A picture alone does not tell: a bright sky is dense too. The strips of film between the perforations, and the gaps
between frames, were never exposed in the camera; where several neighbours are denser than base all over, not only where
something is printed, light came in another way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.base import FilmBase
from dryside.negatives.film_view import sample
from dryside.negatives.rebate import rebate_patches
from dryside.negatives.types import FrameFound, LightArray, StripRead

Floats = NDArray[np.float64]

# A patch counts as fogged where even its clearest third is denser than base by this (log10), and by so many of the
# base's own spreads.
_LEAST_FOG = 0.08
_LEAST_SPREADS = 6.0
_CLEAREST_PART = 0.33
_GRID = 6
# Fogged patches no further apart belong to one leak, and one alone is none: dirt, a splice, a pen.
_NEIGHBOURS_MM = 7.5
_FEWEST_PATCHES = 2
# A leak reaches a frame from this far beside it.
_REACH_MM = 3.0


def with_leak_warnings(
    frames: Sequence[FrameFound], through: LightArray, read: StripRead, base: FilmBase, *, scale: float
) -> tuple[FrameFound, ...]:
    """The frames of a strip of negatives, those warned beside which the film is fogged.

    Parameters
    ----------
    frames : sequence of FrameFound
        Of this strip.
    through : ndarray of shape (rows, columns, 3), float32
        Transmittance of the capture reduced by `scale`.
    read : StripRead
        The strip.
    base : FilmBase
        Of the capture.
    scale : float
        Capture pixels to one pixel of `through`.
    """
    if not read.strip.clear_is_light:
        return tuple(frames)
    place, fog = fog_of_patches(through, read, base, scale=scale)
    leaks = fogged_stretches(place, fog, max(_LEAST_FOG, _LEAST_SPREADS * base.spread))
    return tuple(_warned(frame, leaks) for frame in frames)


def fog_of_patches(through: LightArray, read: StripRead, base: FilmBase, *, scale: float) -> tuple[Floats, Floats]:
    """Where patches of unexposed film lie along the film (mm), and how much denser than base their clearest part is.

    Parameters as in `with_leak_warnings`; arrays of shape (patches,). Density is log10, the mean of the channels.
    """
    boxes = np.array(rebate_patches(read.strip, read.frames)).reshape(-1, 4)
    if not len(boxes):
        return np.empty(0), np.empty(0)
    part = (np.arange(_GRID) + 0.5) / _GRID
    x = boxes[:, :1] + part * (boxes[:, 2:3] - boxes[:, :1])
    y = boxes[:, 1:2] + part * (boxes[:, 3:] - boxes[:, 1:2])
    points = np.stack(np.broadcast_arrays(x[:, None, :], y[:, :, None]), axis=-1).reshape(len(boxes), -1, 2)
    pixels = read.strip.plane.capture(points)
    channels = [
        sample(np.ascontiguousarray(through[..., channel]), pixels, scale=scale, outside=np.nan) for channel in range(3)
    ]
    light = np.stack(channels, axis=-1).astype(float)
    whole = np.isfinite(light).all(axis=(1, 2)) & (light > 0).all(axis=(1, 2))
    over = (-np.log10(light[whole]) - np.asarray(base.density)).mean(axis=-1)
    return x[whole].mean(axis=1), np.quantile(over, _CLEAREST_PART, axis=1)


def fogged_stretches(place_mm: Floats, fog: Floats, least: float) -> list[tuple[float, float, float]]:
    """Stretches of film that light reached: from, to (mm) and the densest of it; in order."""
    order = np.argsort(place_mm)
    places, density = place_mm[order][fog[order] > least], fog[order][fog[order] > least]
    found, start = [], 0
    for index in range(1, len(places) + 1):
        if index < len(places) and places[index] - places[index - 1] <= _NEIGHBOURS_MM:
            continue
        if index - start >= _FEWEST_PATCHES:
            found.append((float(places[start]), float(places[index - 1]), float(density[start:index].max())))
        start = index
    return found


def _warned(frame: FrameFound, leaks: list[tuple[float, float, float]]) -> FrameFound:
    x0, _, x1, _ = frame.film_mm
    beside = [fog for start, stop, fog in leaks if start - _REACH_MM < x1 and stop + _REACH_MM > x0]
    if not beside:
        return frame
    note = f"Light has leaked in: the film beside this frame is up to {max(beside):.2f} denser than clear film."
    return replace(frame, warnings=(*frame.warnings, note))
