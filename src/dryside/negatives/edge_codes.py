"""The film-edge code of 135 film: read, checked against the film, and believed only where it agrees along the strip.

The code's two tracks lie outside the perforations, the clock nearer the holes, the data nearer the film edge, one code
every half frame. It has a single parity bit, and a quarter of all codes also pass when read backwards; so a reading
counts only if both tracks are really there, bar by bar, in their order, and if the numbers rise along the strip.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.perforations import EDGE_TO_HOLE_MM, HALF_FRAME_PITCH_MM
from dryside.negatives.film_view import FilmView, lay_flat
from dryside.negatives.types import Band, EdgeCode, FloatArray, Strip

Floats = NDArray[np.floating[Any]]

_BAND_MM = (0.06, EDGE_TO_HOLE_MM - 0.02)  # from the film edge; a little inside both rims
_PIECE_MM = 30.0
_PIXELS_PER_MM = (14.0, 20.0)
_MODULES = 31
_SHORT_MODULES = 23
_LEAST_CORRELATION = 0.6
_AGREE = 0.2  # half frames: 3.8 mm
_SCALES = (1.0, 2.0, 0.5, 1.5, 3.0, 0.7)
_SCALES_FOR_NOTHING = 2  # after so many sizes without one reading the edge has no code


@dataclass(frozen=True)
class Reading:
    """One code as it was read on one edge of a strip whose orientation is not known yet.

    Attributes
    ----------
    text : str
        As the reader gives it.
    lower_edge : bool
        Whether it lies at the strip's lower edge (film y = width) as the strip stands now.
    forward : bool
        Whether it reads from left to right with the film edge below: so it does on film seen from its right side.
    x_mm : (from, to)
        Where it lies, as the strip stands now.
    """

    text: str
    lower_edge: bool
    forward: bool
    x_mm: tuple[float, float]

    @property
    def stock_number(self) -> str:
        """The product part."""
        return self.text.partition("/")[0]

    @property
    def half_frame(self) -> int | None:
        """Twice the frame number, plus 1 for the A; None in the short form."""
        number = self.text.partition("/")[2]
        if not number:
            return None
        return 2 * int(number.removesuffix("A")) + number.endswith("A")

    @property
    def rising(self) -> int:
        """1 if frame numbers rise with film x as the strip stands now, else -1."""
        return 1 if self.lower_edge == self.forward else -1


def read_edge_codes(strip: Strip, band: Band) -> tuple[Reading, ...]:
    """Every code on both edges of a strip that reads and is really there.

    Parameters
    ----------
    strip : Strip
        As found; its orientation need not be known.
    band : callable
        Full-size windows of the capture.

    Returns
    -------
    tuple of Reading
        May still hold a wrong one: see `agreeing`.
    """
    readings: list[Reading] = []
    for lower in (True, False):
        edge = _edge_picture(strip, band, lower=lower)
        if edge is not None:
            readings.extend(_read(edge, strip, lower=lower))
    return tuple(readings)


def agreeing(readings: tuple[Reading, ...]) -> tuple[tuple[Reading, ...], float]:
    """The readings that tell one story, and how far it can be believed.

    One story: one edge, one direction, one product, and numbers that rise by one half frame every 19 mm.
    """
    best: tuple[Reading, ...] = ()
    rival = 0
    for one in readings:
        group = tuple(other for other in readings if _same_story(one, other))
        if len(group) > len(best):
            if best and not set(best) <= set(group):
                rival = max(rival, len(best))
            best = group
        elif not set(group) <= set(best):
            rival = max(rival, len(group))
    if not best or rival >= len(best):
        return (), 0.0
    confidence = (0.0, 0.7, 0.95)[len(best)] if len(best) < 3 else 0.99
    return tuple(sorted(best, key=lambda reading: reading.x_mm)), confidence * (1 - 0.5 * rival / len(best))


def _same_story(one: Reading, other: Reading) -> bool:
    if (one.lower_edge, one.forward, one.stock_number) != (other.lower_edge, other.forward, other.stock_number):
        return False
    if one.half_frame is None or other.half_frame is None:
        return one.half_frame == other.half_frame
    apart = (sum(other.x_mm) - sum(one.x_mm)) / 2 / HALF_FRAME_PITCH_MM * one.rising
    return abs(other.half_frame - one.half_frame - apart) < _AGREE


def as_edge_codes(readings: tuple[Reading, ...], strip: Strip, confidence: float) -> tuple[EdgeCode, ...]:
    """Readings of an oriented strip (they lie on its lower edge) as results, in reading direction."""
    codes = []
    for reading in readings:
        x0, x1 = reading.x_mm
        y0, y1 = strip.width_mm - EDGE_TO_HOLE_MM, strip.width_mm
        corners = strip.plane.capture(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
        codes.append(
            EdgeCode(reading.text, reading.stock_number, reading.half_frame, (x0 + x1) / 2, corners, confidence)
        )
    return tuple(sorted(codes, key=lambda code: code.x_mm))


def stock_number(codes: tuple[EdgeCode, ...]) -> str | None:
    """The product number that most codes carry."""
    return Counter(code.stock_number for code in codes).most_common(1)[0][0] if codes else None


def _edge_picture(strip: Strip, band: Band, *, lower: bool) -> FilmView | None:
    """One edge of the film laid flat, as the strip stands, from full-size windows."""
    per_mm = float(np.clip(strip.pixels_per_mm, *_PIXELS_PER_MM))
    y = (strip.width_mm - _BAND_MM[1], strip.width_mm - _BAND_MM[0]) if lower else _BAND_MM
    starts = np.arange(strip.x_from_mm, strip.x_to_mm, _PIECE_MM)
    pieces = []
    for start in starts:
        stop = min(start + _PIECE_MM, strip.x_to_mm)
        columns = round((stop - start) * per_mm)
        if columns < 1:
            continue
        pieces.append(_piece(strip, band, (start, start + columns / per_mm), y, per_mm))
    if not pieces or not any(piece.inside.any() for piece in pieces):
        return None
    light = np.concatenate([piece.light for piece in pieces], axis=1)
    inside = np.concatenate([piece.inside for piece in pieces], axis=1)
    return FilmView(light, inside, float(starts[0]), y[0], per_mm)


def _piece(strip: Strip, band: Band, x: tuple[float, float], y: tuple[float, float], per_mm: float) -> FilmView:
    rows, columns = strip.plane.capture_size
    outline = strip.plane.capture(np.array([[a, b] for a in np.linspace(*x, 5) for b in y]))
    (left, top), (right, bottom) = np.floor(outline.min(axis=0)) - 2, np.ceil(outline.max(axis=0)) + 2
    x0, x1 = int(np.clip(left, 0, columns - 1)), int(np.clip(right, 1, columns))
    y0, y1 = int(np.clip(top, 0, rows - 1)), int(np.clip(bottom, 1, rows))
    if x1 - x0 < 2 or y1 - y0 < 2:
        blank = (round((y[1] - y[0]) * per_mm), round((x[1] - x[0]) * per_mm))
        return FilmView(np.zeros((*blank, 3), np.float32), np.zeros(blank, bool), x[0], y[0], per_mm)
    window = np.ascontiguousarray(band(y0, y1, x0, x1), dtype=np.float32)
    return lay_flat(window, strip.plane, scale=1, x_mm=x, y_mm=y, pixels_per_mm=per_mm, origin=(x0, y0))


def _bars(edge: FilmView, *, clear_is_light: bool, by_density: bool) -> NDArray[np.float32]:
    """Printed bars as 0 on a ground of 1, whatever the film: shape (rows, columns).

    Blur widens bars in light, too much exposure widens them in the film; so they are read in light or in density.
    """
    import cv2

    light = np.maximum(edge.light, 1e-6)
    window = max(3, round(12 * edge.pixels_per_mm))
    step = max(1, window // 8)
    columns = range(0, light.shape[1], step)
    at = np.array([min(start + step // 2, light.shape[1] - 1) for start in columns], dtype=np.float64)
    ends = np.empty((len(at), 2, 3))
    for k, start in enumerate(columns):
        part = light[:, max(0, start - window // 2) : start + window // 2].reshape(-1, 3)[::3]
        part = part[part[:, 1] > 1e-5] if (part[:, 1] > 1e-5).any() else part
        ends[k] = np.percentile(part, [3, 88] if clear_is_light else [12, 97], axis=0)
    x = np.arange(light.shape[1])
    dark, bright = (
        np.stack([np.interp(x, at, ends[:, side, channel]) for channel in range(3)], axis=-1) for side in (0, 1)
    )
    if by_density:
        light, dark, bright = np.log(light), np.log(np.maximum(dark, 1e-6)), np.log(np.maximum(bright, 1e-6))
    contrast = np.maximum(bright - dark, 0.02)
    share = contrast.mean(axis=0) ** 2  # the channel that shows the print best leads
    bars = ((light - dark) / contrast) @ (share / share.sum())
    if not clear_is_light:
        bars = 1 - bars
    bars[~edge.inside] = 1
    return np.asarray(cv2.GaussianBlur(np.clip(bars, 0, 1.1).astype(np.float32), (0, 0), 0.8), dtype=np.float32)


def _read(edge: FilmView, strip: Strip, *, lower: bool) -> list[Reading]:
    readings: list[Reading] = []
    expected = (strip.x_to_mm - strip.x_from_mm) / HALF_FRAME_PITCH_MM - 1.5
    # The reader is finicky about bar widths in pixels: a code it misses at one size it reads at another.
    for scale in _SCALES:
        for by_density in (strip.clear_is_light, not strip.clear_is_light):
            bars = _bars(edge, clear_is_light=strip.clear_is_light, by_density=by_density)
            for reading in _read_bars(bars, edge, lower=lower, scale=scale):
                if all(abs(reading.x_mm[0] - other.x_mm[0]) > 2 or reading.text != other.text for other in readings):
                    readings.append(reading)
            if len(readings) >= expected:
                return readings
        if not readings and scale == _SCALES[_SCALES_FOR_NOTHING]:
            break  # an edge without any code
    return readings


def _read_bars(bars: NDArray[np.float32], edge: FilmView, *, lower: bool, scale: float = 1.0) -> list[Reading]:
    import cv2
    import zxingcpp

    inner_up = bars if lower else bars[::-1, ::-1]
    # The reader looks for the clock first from the picture's middle row outwards: ground above puts it there.
    ground = np.ones((inner_up.shape[0] + 12, inner_up.shape[1]), np.float32)
    picture = np.concatenate([ground, inner_up, ground[:6]])
    grey = np.ascontiguousarray(np.clip(picture * 200 + 20, 0, 255).astype(np.uint8))
    if scale != 1:
        grey = cv2.resize(
            grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        )
    results = zxingcpp.read_barcodes(
        grey,
        formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.DXFilmEdge),
        try_rotate=False,
        try_downscale=False,
        try_invert=False,
    )
    readings: list[Reading] = []
    for result in results:
        at = result.position
        columns = sorted(x / scale for x in (at.top_left.x, at.top_right.x, at.bottom_left.x, at.bottom_right.x))
        first, last = float(np.mean(columns[:2])), float(np.mean(columns[2:]))
        forward = abs(result.orientation) < 90
        if last - first < 4 * _SHORT_MODULES or not really_there(inner_up, result.text, (first, last), forward=forward):
            continue
        if not lower:
            first, last = bars.shape[1] - last, bars.shape[1] - first
        x0, x1 = (edge.x0_mm + column / edge.pixels_per_mm for column in (first, last))
        readings.append(Reading(result.text, lower, forward, (x0, x1)))
    return readings


def really_there(bars: Floats, text: str, columns: tuple[float, float], *, forward: bool) -> bool:
    """Whether both tracks of a code stand in the picture, the clock above the data, bar by bar.

    Parameters
    ----------
    bars : ndarray of shape (rows, columns)
        0 on bars, 1 between them, the holes' side up.
    text : str
        What the reader says.
    columns : (from, to)
        Where it says so.
    forward : bool
        Whether it reads from left to right.
    """
    data = _bits_of(text)
    clock = "11111" + "01" * ((len(data) - 9) // 2) + "0111"
    best = (-1.0, 0, 0)
    for stretch in (-0.4, -0.2, 0.0, 0.2, 0.4):
        module = (columns[1] - columns[0]) / len(data)
        at = columns[0] + stretch * module + (np.arange(len(data)) + 0.5) * module
        samples = _sampled(bars, at)
        by_row = [_correlations(samples, bits if forward else bits[::-1]) for bits in (clock, data)]
        clock_row, data_row = (int(np.argmax(values)) for values in by_row)
        weaker = min(by_row[0][clock_row], by_row[1][data_row])
        if weaker > best[0]:
            best = (float(weaker), clock_row, data_row)
    return best[0] > _LEAST_CORRELATION and best[1] < best[2]


def _sampled(bars: Floats, columns: Floats) -> FloatArray:
    whole = np.clip(columns.astype(int), 0, bars.shape[1] - 1)
    return np.asarray(bars[:, whole], dtype=np.float64)


def _correlations(samples: FloatArray, bits: str) -> FloatArray:
    """Of each row of samples with a pattern of bars (1 is a bar, so dark)."""
    pattern = np.array([-1.0 if bit == "1" else 1.0 for bit in bits])
    pattern -= pattern.mean()
    centred = samples - samples.mean(axis=1, keepdims=True)
    norm = np.sqrt((centred**2).sum(axis=1) * (pattern**2).sum())
    return np.asarray(centred @ pattern / np.maximum(norm, 1e-9))


def _bits_of(text: str) -> str:
    """The data track that stands for a text."""
    product, _, number = text.partition("/")
    part1, part2 = (int(part) for part in product.split("-"))
    body = f"0{part1:07b}0{part2:04b}"
    if number:
        body += f"{int(number.removesuffix('A')):06b}{int(number.endswith('A'))}0"
    return f"10101{body}{body.count('1') % 2}0101"
