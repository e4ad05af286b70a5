"""The rim of 135 film between holes and edge, laid flat from the capture: its print as bars on plain ground."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import EDGE_TO_HOLE_MM
from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.types import Band, Strip

Floats = NDArray[np.floating[Any]]

_BAND_MM = (0.06, EDGE_TO_HOLE_MM - 0.02)  # from the film edge; a little inside both rims
_PIECE_MM = 30.0
_PIXELS_PER_MM = (14.0, 18.0)
_LEVELS_OVER_MM = 14.0


def edge_picture(strip: Strip, band: Band, *, lower: bool) -> FilmView | None:
    """One rim of a strip, as the strip stands now; None if it lies outside the capture.

    Parameters
    ----------
    strip : Strip
        Where the film lies.
    band : callable
        Full-size windows of the capture; only the rim is asked for, piece by piece.
    lower : bool
        The rim at film y = width, or that at y = 0.
    """
    per_mm = float(np.clip(strip.pixels_per_mm, *_PIXELS_PER_MM))
    y = (strip.width_mm - _BAND_MM[1], strip.width_mm - _BAND_MM[0]) if lower else _BAND_MM
    starts = np.arange(strip.x_from_mm, strip.x_to_mm, _PIECE_MM)
    pieces = []
    for start in starts:
        columns = round((min(start + _PIECE_MM, strip.x_to_mm) - start) * per_mm)
        if columns >= 1:
            pieces.append(_piece(strip, band, (start, start + columns / per_mm), y, per_mm))
    if not pieces or not any(piece.inside.any() for piece in pieces):
        return None
    light = np.concatenate([piece.light for piece in pieces], axis=1)
    inside = np.concatenate([piece.inside for piece in pieces], axis=1)
    return FilmView(light, inside, float(starts[0]), y[0], per_mm)


def _piece(strip: Strip, band: Band, x: tuple[float, float], y: tuple[float, float], per_mm: float) -> FilmView:
    import cv2

    rows, columns = strip.plane.capture_size
    outline = strip.plane.capture(np.array([[a, b] for a in np.linspace(*x, 5) for b in y]))
    (left, top), (right, bottom) = np.floor(outline.min(axis=0)) - 2, np.ceil(outline.max(axis=0)) + 2
    x0, x1 = int(np.clip(left, 0, columns - 1)), int(np.clip(right, 1, columns))
    y0, y1 = int(np.clip(top, 0, rows - 1)), int(np.clip(bottom, 1, rows))
    if right < 1 or bottom < 1 or left > columns - 1 or top > rows - 1:
        blank = (round((y[1] - y[0]) * per_mm), round((x[1] - x[0]) * per_mm))
        return FilmView(np.zeros((*blank, 3), np.float32), np.zeros(blank, bool), x[0], y[0], per_mm)
    window = np.ascontiguousarray(band(y0, y1, x0, x1), dtype=np.float32)
    factor = max(1, int(strip.pixels_per_mm / per_mm))
    if factor > 1:
        size = ((x1 - x0) // factor, (y1 - y0) // factor)
        part = window[: size[1] * factor, : size[0] * factor]
        window = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    return lay_flat(window, strip.plane, scale=factor, x_mm=x, y_mm=y, pixels_per_mm=per_mm, origin=(x0, y0))


def bars(edge: FilmView, *, clear_is_light: bool, by_density: bool) -> NDArray[np.float32]:
    """Print as 0 on a ground of 1, whatever the film: shape (rows, columns).

    Blur widens bars in light, too much exposure widens them in the film; so they are read in light or in density.
    """
    import cv2

    light = np.maximum(edge.light, np.float32(1e-6))
    dark, bright = _levels(light, edge.pixels_per_mm, clear_is_light=clear_is_light)
    if by_density:
        light, dark, bright = np.log(light), np.log(dark), np.log(bright)
    contrast = np.maximum(bright - dark, np.float32(0.02))
    share = contrast.mean(axis=0) ** 2  # the channel that shows the print best leads
    weight = (share / share.sum() / contrast).astype(np.float32)
    found = np.einsum("rck,ck->rc", light, weight) - (dark * weight).sum(axis=-1)
    if not clear_is_light:
        found = 1 - found
    found[~edge.inside] = 1
    clipped = np.clip(found, 0, 1.1).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(clipped, (0, 0), 0.8), dtype=np.float32)


def _levels(light: Floats, per_mm: float, *, clear_is_light: bool) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Light through print and beside it, or beside it and through it, for every column: (columns, 3) each."""
    window = max(3, round(_LEVELS_OVER_MM * per_mm))
    middles = np.arange(0, light.shape[1] + window // 2, max(1, window // 2))
    ends = np.empty((len(middles), 2, 3), np.float32)
    for k, middle in enumerate(middles):
        part = light[1:-1:2, max(0, middle - window // 2) : middle + window // 2 : 2].reshape(-1, 3)
        part = part[part[:, 1] > 2e-6] if (part[:, 1] > 2e-6).any() else part
        order = np.sort(part, axis=0) if len(part) else np.ones((1, 3), np.float32)
        shares = (0.03, 0.88) if clear_is_light else (0.12, 0.97)
        ends[k] = [order[int(share * (len(order) - 1))] for share in shares]
    x = np.arange(light.shape[1])
    dark, bright = (
        np.stack([np.interp(x, middles, ends[:, side, channel]) for channel in range(3)], axis=-1).astype(np.float32)
        for side in (0, 1)
    )
    return np.maximum(dark, 1e-6), np.maximum(bright, 1e-6)
