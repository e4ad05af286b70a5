"""Where a strip of film ends: cut through before the capture ends, with bare light or blackness beyond."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.types import LightArray, Strip

Floats = NDArray[np.floating[Any]]

_PER_MM = 4.0
_RIM_MM = 0.5
_BARE = 0.82  # of the light in the holes; film base is well below it in at least one channel
_BLACK = 0.02
_RUN_MM = 0.5


def with_ends(strip: Strip, light: LightArray, *, scale: float) -> Strip:
    """The strip shortened to where its film ends, if the capture shows it, and whether its rebate is clear or black.

    Parameters
    ----------
    strip : Strip
        With holes; as long as the capture shows its place.
    light : ndarray of shape (rows, columns, 3), float32
        The capture reduced by `scale`.
    scale : float
        Capture pixels to one pixel of `light`.
    """
    view = lay_flat(
        light, strip.plane, scale=scale, x_mm=(strip.x_from_mm, strip.x_to_mm),
        y_mm=(_RIM_MM, strip.width_mm - _RIM_MM), pixels_per_mm=_PER_MM,
    )  # fmt: skip
    bare = np.maximum(bare_light(view, strip), 1e-6)
    strip = replace(strip, clear_is_light=_rebate_is_clear(view, strip, bare))
    film = _is_film(view, strip, bare)
    x = view.x_mm
    first, last = (strip.pitch_mm * pick(hole.index for hole in strip.holes) for pick in (min, max))
    start = _end(film, x, first, -1)
    stop = _end(film, x, last, 1)
    if not strip.clear_is_light:
        # Black film on black: the holes are all that shows it; it is cut between the last and the next.
        start, stop = _end_by_holes(strip, first, last, start, stop)
    return replace(
        strip,
        x_from_mm=strip.x_from_mm if start is None else start,
        x_to_mm=strip.x_to_mm if stop is None else stop,
        ends_seen=(start is not None, stop is not None),
    )


def bare_light(view: FilmView, strip: Strip) -> Floats:
    """Median light in the holes, shape (3,)."""
    colours = []
    for hole in strip.holes:
        column = view.columns(hole.index * strip.pitch_mm - 0.5, hole.index * strip.pitch_mm + 0.5)
        y = strip.plane.film(np.array([hole.x, hole.y]))[1]
        part = view.light[view.rows(y - 0.7, y + 0.7), column].reshape(-1, 3)
        if len(part):
            colours.append(np.median(part, axis=0))
    return np.median(colours, axis=0) if colours else np.percentile(view.light.reshape(-1, 3), 99, axis=0)


def _rebate_is_clear(view: FilmView, strip: Strip, bare: Floats) -> bool:
    """Negatives are clearest beside the holes, slides black: less than a twelfth of the light gets through anywhere."""
    colours = []
    for hole in strip.holes:
        y = strip.plane.film(np.array([hole.x, hole.y]))[1]
        x = (hole.index + 0.5) * strip.pitch_mm
        rows, columns = view.rows(y - 0.9, y + 0.9), view.columns(x - 0.8, x + 0.8)
        if view.inside[rows, columns].any():
            colours.append(np.median(view.light[rows, columns].reshape(-1, 3), axis=0))
    return not colours or bool((np.median(colours, axis=0) / bare).max() > 10**-1.1)


def _is_film(view: FilmView, strip: Strip, bare: Floats) -> NDArray[np.bool_]:
    """For each column whether there is film in it."""
    ratio = view.light / bare.astype(np.float32)
    known = np.maximum(view.inside.sum(axis=0), 1)
    clear = ((ratio.min(axis=-1) > _BARE) & view.inside).sum(axis=0) / known
    black = ((ratio.max(axis=-1) < _BLACK) & view.inside).sum(axis=0) / known
    return np.asarray((clear < 0.9) & (black < (0.97 if strip.clear_is_light else 1.1)))


def _end(film: NDArray[np.bool_], x: Floats, from_mm: float, sense: int) -> float | None:
    """The first place beyond `from_mm`, going in `sense`, where there is no film for a while."""
    run = max(1, round(_RUN_MM * _PER_MM))
    order = np.flatnonzero(x * sense >= (from_mm * sense + 0.9))[::sense]
    missing = 0
    for count, k in enumerate(order):
        missing = 0 if film[k] else missing + 1
        if missing == run:
            edge = order[count - run + 1]
            return float(x[edge] - sense * 0.5 / _PER_MM)
    return None


def _end_by_holes(
    strip: Strip, first: float, last: float, start: float | None, stop: float | None
) -> tuple[float | None, float | None]:
    if start is None and first - strip.pitch_mm - 1.6 > strip.x_from_mm:
        start = first - strip.pitch_mm / 2
    if stop is None and last + strip.pitch_mm + 1.6 < strip.x_to_mm:
        stop = last + strip.pitch_mm / 2
    return start, stop
