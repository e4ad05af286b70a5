"""The two tracks of an edge code in a flat picture of the film's rim: found by the clock, read module by module.

The library's reader walks single rows and needs clean edges; here the clock's pattern is known, so it is searched for
as a whole, at every length a module may have, and every data module is the mean over its area.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.dx import LONG_MODULES, SHORT_MODULES, EdgeCode, clock_track, decode_edge
from dryside.negatives.types import FloatArray

Floats = NDArray[np.floating[Any]]

_MODULES_MM = np.arange(0.37, 0.60, 0.0125)
_ROW_GROUPS = 10
_LEAST_CLOCK = 0.72
_LEAST_CORRELATION = 0.6
_LEAST_MARGIN = 0.12


@dataclass(frozen=True)
class TrackReading:
    """A code in a picture of a rim with the holes' side up.

    Attributes
    ----------
    code : EdgeCode
        What it says.
    columns : (from, to)
        Where it lies, in pixels.
    forward : bool
        Whether it reads from left to right.
    """

    code: EdgeCode
    columns: tuple[float, float]
    forward: bool


def read_tracks(bars: Floats, per_mm: float, *, modules_mm: tuple[float, ...] = ()) -> list[TrackReading]:
    """All codes in a picture of a rim.

    Parameters
    ----------
    bars : ndarray of shape (rows, columns), float32
        0 on bars, 1 between them, the holes' side up (`edge_picture.bars`).
    per_mm : float
        Pixels to a millimetre.
    modules_mm : tuple of float, optional
        Lengths of a module to look for; all that occur if left out.
    """
    profiles = _grouped_rows(bars)
    found: list[TrackReading] = []
    for score, left, module, forward, modules in _clocks(profiles, per_mm, modules_mm or tuple(_MODULES_MM)):
        if any(_common(reading.columns, (left, left + modules * module)) > 0.3 for reading in found):
            continue
        reading = _decoded(profiles, left, module, modules, forward=forward)
        if reading is not None:
            found.append(reading)
        del score
    return sorted(found, key=lambda reading: reading.columns)


def _grouped_rows(bars: Floats) -> NDArray[np.float32]:
    """Means of neighbouring rows, from the holes' side outwards."""
    groups = np.array_split(np.asarray(bars, dtype=np.float32), min(_ROW_GROUPS, len(bars)))
    return np.stack([group.mean(axis=0) for group in groups])


def _clocks(
    profiles: NDArray[np.float32], per_mm: float, modules_mm: tuple[float, ...]
) -> list[tuple[float, float, float, bool, int]]:
    """Where a clock may be: how sure, left column, pixels to a module, whether forward, modules; the surest first."""
    import cv2

    inner = np.ascontiguousarray(profiles[: max(1, len(profiles) * 7 // 10)])
    places: list[tuple[float, float, float, bool, int]] = []
    for modules in (LONG_MODULES, SHORT_MODULES):
        for module_mm in modules_mm:
            module = module_mm * per_mm
            template = _drawn(clock_track(modules), module)
            if template.shape[1] >= inner.shape[1]:
                continue
            for forward in (True, False):
                shape = template if forward else np.ascontiguousarray(template[:, ::-1])
                match = np.asarray(cv2.matchTemplate(inner, shape, cv2.TM_CCOEFF_NORMED)).max(axis=0)
                places += [
                    (float(match[k]), float(k), module, forward, modules)
                    for k in _local_peaks(match, max(3, int(module)))
                ]
    return sorted(places, reverse=True)


def _local_peaks(match: Floats, reach: int) -> list[int]:
    padded = np.pad(match, reach, mode="edge")
    highest = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=-1)
    return np.flatnonzero((match >= highest) & (match > _LEAST_CLOCK)).tolist()


def _drawn(bits: str, module: float) -> NDArray[np.float32]:
    """A track as one row of pixels, 0 on bars, soft where a module ends between pixels."""
    edges = np.clip(np.arange(round(len(bits) * module) + 1) / module, 0, len(bits))
    total = np.concatenate([[0.0], np.cumsum([1.0 - int(bit) for bit in bits])])
    integral = np.interp(edges, np.arange(len(bits) + 1), total)
    return np.asarray((np.diff(integral) * module)[None], dtype=np.float32)


def _common(one: tuple[float, float], other: tuple[float, float]) -> float:
    """How much of the shorter of two stretches lies in the other."""
    shared = min(one[1], other[1]) - max(one[0], other[0])
    return max(0.0, shared) / min(one[1] - one[0], other[1] - other[0])


def _decoded(profiles: Floats, left: float, module: float, modules: int, *, forward: bool) -> TrackReading | None:
    """The code beside a clock, if its bars are clear and its layout and parity hold."""
    clock = _signs(clock_track(modules), forward=forward)
    value, left, module, row = max(
        _clock_fit(profiles, clock, left + shift * module, module * stretch)
        for shift in (-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6)
        for stretch in (0.985, 0.9925, 1.0, 1.0075, 1.015)
    )
    if value < _LEAST_CLOCK:
        return None
    best: tuple[float, EdgeCode | None] = (_LEAST_MARGIN, None)
    for start in range(row + 1, len(profiles)):
        for stop in range(start + 1, min(start + 5, len(profiles) + 1)):
            samples = _module_means(profiles[start:stop].mean(axis=0)[None], left, module, modules)[0]
            low, high = np.percentile(samples, [15, 85])
            middle = (low + high) / 2
            margin = float(np.abs(samples - middle).min() / max(high - low, 0.15))
            if margin <= best[0]:
                continue
            bits = "".join("1" if sample < middle else "0" for sample in samples)
            code = decode_edge(bits if forward else bits[::-1])
            if code is not None:
                best = (margin, code)
    if best[1] is None:
        return None
    return TrackReading(best[1], (left, left + modules * module), forward)


def _clock_fit(profiles: Floats, clock: FloatArray, left: float, module: float) -> tuple[float, float, float, int]:
    samples = _module_means(profiles, left, module, len(clock))
    fits = _correlations(samples, clock)
    row = int(np.argmax(fits))
    return float(fits[row]), left, module, row


def _module_means(profiles: Floats, left: float, module: float, modules: int) -> FloatArray:
    """Mean over the middle of each module, shape (rows, modules)."""
    at = left + (np.arange(modules)[:, None] + np.linspace(0.3, 0.7, 5)) * module - 0.5
    whole = np.clip(np.round(at).astype(int), 0, profiles.shape[1] - 1)
    return np.asarray(profiles[:, whole].mean(axis=-1), dtype=np.float64)


def _signs(bits: str, *, forward: bool) -> FloatArray:
    """A pattern of bars to correlate with: below 0 on bars."""
    pattern = np.array([-1.0 if bit == "1" else 1.0 for bit in (bits if forward else bits[::-1])])
    return np.asarray(pattern - pattern.mean())


def _correlations(samples: Floats, pattern: FloatArray) -> FloatArray:
    centred = samples - samples.mean(axis=1, keepdims=True)
    norm = np.sqrt((centred**2).sum(axis=1) * (pattern**2).sum())
    return np.asarray(centred @ pattern / np.maximum(norm, 1e-9))


def really_there(bars: Floats, code: EdgeCode, columns: tuple[float, float], *, forward: bool) -> bool:
    """Whether both tracks of a code stand in the picture, the clock above the data, bar by bar.

    Parameters
    ----------
    bars : ndarray of shape (rows, columns)
        0 on bars, 1 between them, the holes' side up.
    code : EdgeCode
        What a reader says.
    columns : (from, to)
        Where it says so.
    forward : bool
        Whether it reads from left to right.
    """
    profiles = _grouped_rows(bars)
    best = (-1.0, 0, 0)
    modules = len(code.data_track)
    module = (columns[1] - columns[0]) / modules
    for shift in (-0.4, -0.2, 0.0, 0.2, 0.4):
        samples = _module_means(profiles, columns[0] + shift * module, module, modules)
        rows = [_correlations(samples, _signs(bits, forward=forward)) for bits in (code.clock_track, code.data_track)]
        clock_row, data_row = (int(np.argmax(values)) for values in rows)
        weaker = min(rows[0][clock_row], rows[1][data_row])
        if weaker > best[0]:
            best = (float(weaker), clock_row, data_row)
    return best[0] > _LEAST_CORRELATION and best[1] < best[2]
