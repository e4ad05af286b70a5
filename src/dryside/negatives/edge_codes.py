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

from dryside.film.dx import SHORT_MODULES, parse_edge_code
from dryside.film.dx import EdgeCode as DxEdgeCode
from dryside.film.frame_labels import label_of_edge_number
from dryside.film.perforations import EDGE_TO_HOLE_MM, HALF_FRAME_PITCH_MM
from dryside.negatives.code_tracks import read_tracks, really_there
from dryside.negatives.edge_picture import bars, edge_picture
from dryside.negatives.film_view import FilmView
from dryside.negatives.types import Band, EdgeCode, Strip

Floats = NDArray[np.floating[Any]]

_AGREE = 0.2  # half frames: 3.8 mm


@dataclass(frozen=True)
class Reading:
    """One code as it was read on one edge of a strip whose orientation is not known yet.

    Attributes
    ----------
    code : dryside.film.dx.EdgeCode
        What it says.
    lower_edge : bool
        Whether it lies at the strip's lower edge (film y = width) as the strip stands now.
    forward : bool
        Whether it reads from left to right with the film edge below: so it does on film seen from its right side.
    x_mm : (from, to)
        Where it lies, as the strip stands now.
    """

    code: DxEdgeCode
    lower_edge: bool
    forward: bool
    x_mm: tuple[float, float]

    @property
    def half_frame(self) -> int | None:
        """Place on the film in half frames from label 0 (00 and X lie before it); None in the short form."""
        if self.code.frame is None:
            return None
        return label_of_edge_number(self.code.frame, self.code.half).half_index

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
    edges = {lower: edge_picture(strip, band, lower=lower) for lower in (True, False)}
    seen = {lower: edge for lower, edge in edges.items() if edge is not None}
    first = {lower: _read_edge(edge, strip, lower=lower, thoroughly=False) for lower, edge in seen.items()}
    most = max((len(readings) for readings in first.values()), default=0)
    readings: list[Reading] = []
    for lower, edge in seen.items():
        # Only one edge carries codes: more work is spent there, or on both where neither has shown one yet.
        more = len(first[lower]) == most < _wanted(strip)
        readings += _read_edge(edge, strip, lower=lower, thoroughly=True) if more else first[lower]
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
    if (one.lower_edge, one.forward, one.code.dx_number) != (other.lower_edge, other.forward, other.code.dx_number):
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
            EdgeCode(reading.code.text, reading.code.dx_number, reading.half_frame, (x0 + x1) / 2, corners, confidence)
        )
    return tuple(sorted(codes, key=lambda code: code.x_mm))


def stock_number(codes: tuple[EdgeCode, ...]) -> str | None:
    """The product number that most codes carry."""
    return Counter(code.stock_number for code in codes).most_common(1)[0][0] if codes else None


def _wanted(strip: Strip) -> float:
    """How many whole codes a strip has at least."""
    return (strip.x_to_mm - strip.x_from_mm) / HALF_FRAME_PITCH_MM - 1.5


def _read_edge(edge: FilmView, strip: Strip, *, lower: bool, thoroughly: bool) -> list[Reading]:
    """Codes on one rim: by the library's reader, and, if asked for and some are still missing, by their known clock."""
    readings: list[Reading] = []
    wanted = _wanted(strip)
    for by_density in (strip.clear_is_light, not strip.clear_is_light):
        flat = bars(edge, clear_is_light=strip.clear_is_light, by_density=by_density)
        inner_up = flat if lower else np.ascontiguousarray(flat[::-1, ::-1])
        found = _by_library(inner_up)
        if thoroughly and len(readings) + len(found) < wanted:
            lengths = {round((x1 - x0) / len(code.data_track) / edge.pixels_per_mm, 3) for code, (x0, x1), _ in found}
            near = tuple(length + off for length in lengths for off in (-0.008, 0.0, 0.008))
            tracks = read_tracks(inner_up, edge.pixels_per_mm, modules_mm=near)
            found += [(track.code, track.columns, track.forward) for track in tracks]
        for code, columns, forward in found:
            x_mm = _film_x(edge, columns, lower=lower)
            if all(abs(x_mm[0] - other.x_mm[0]) > 2 or code != other.code for other in readings):
                readings.append(Reading(code, lower, forward, x_mm))
        if not thoroughly or len(readings) >= wanted:
            break
    return readings


def _film_x(edge: FilmView, columns: tuple[float, float], *, lower: bool) -> tuple[float, float]:
    first, last = columns
    if not lower:
        width = edge.light.shape[1]
        first, last = width - last, width - first
    return edge.x0_mm + first / edge.pixels_per_mm, edge.x0_mm + last / edge.pixels_per_mm


def _by_library(inner_up: NDArray[np.float32]) -> list[tuple[DxEdgeCode, tuple[float, float], bool]]:
    """What the bar code library reads in a rim with the holes' side up, and what is really there of it."""
    import zxingcpp

    # The reader looks for the clock first from the picture's middle row outwards: ground above puts it there.
    ground = np.ones((inner_up.shape[0] + 12, inner_up.shape[1]), np.float32)
    picture = np.concatenate([ground, inner_up, ground[:6]])
    grey = np.ascontiguousarray(np.clip(picture * 200 + 20, 0, 255).astype(np.uint8))
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.DXFilmEdge)
    results = zxingcpp.read_barcodes(grey, formats=formats, try_rotate=False, try_downscale=False, try_invert=False)
    found = []
    for result in results:
        at = result.position
        columns = sorted((at.top_left.x, at.top_right.x, at.bottom_left.x, at.bottom_right.x))
        first, last = float(np.mean(columns[:2])), float(np.mean(columns[2:]))
        forward = abs(result.orientation) < 90
        code = parse_edge_code(result.text)
        if last - first > 4 * SHORT_MODULES and really_there(inner_up, code, (first, last), forward=forward):
            found.append((code, (first, last), forward))
    return found
