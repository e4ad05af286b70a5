"""A piece of exposed and developed film: what light it met, and where everything on it lies."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator import marks
from dryside.demo.simulator.emulsions import COLOUR_NEGATIVE, Emulsion
from dryside.demo.simulator.shapes import Canvas, f32, soft_coverage
from dryside.film.formats import FORMATS, FilmFormat
from dryside.film.frame_labels import FrameLabel, labels_along
from dryside.film.perforations import (
    EDGE_TO_HOLE_MM,
    HOLE_ACROSS_MM,
    HOLE_ALONG_MM,
    HOLE_CENTRE_FROM_EDGE_MM,
    HOLE_CORNER_RADIUS_MM,
    PITCH_MM,
)

Array = NDArray[Any]


@dataclass(frozen=True, eq=False)
class ExposedFrame:
    """One picture on the film.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3)
        Scene-linear light, 0.18 = grey card; stretched to the gate, its top at the film's upper edge.
    x_mm : float
        Left side of the frame, from the strip's left end.
    stops : float, optional
        Exposure against the meter.
    label : str or None, optional
        The number a person would give it.
    """

    picture: Array
    x_mm: float
    stops: float = 0.0
    label: str | None = None


@dataclass(frozen=True)
class Fog:
    """Light that leaked in: `exposure` from x0 to x1 (mm from the strip's left end), falling off over `soft_mm`."""

    x0_mm: float
    x1_mm: float
    exposure: float
    soft_mm: float = 3.0


@dataclass(frozen=True, eq=False)
class FilmStrip:
    """A strip of developed film.

    Parameters
    ----------
    frames : tuple of ExposedFrame
        Left to right; they may overlap.
    length_mm : float
        From cut to cut.
    format : str, optional
        Key of `dryside.film.formats.FORMATS`.
    emulsion : callable, optional
        Scene-linear exposure to transmittance; see `emulsions`.
    gate_mm : (along, across), optional
        What the camera's gate measures; the format's frame if left out.
    gate_offset_mm : float, optional
        How far the gate sits below the film's middle.
    stock_number : str or None, optional
        Product number in the edge code (`36-2`); None prints no codes.
    number_x_mm : float, optional
        Where the printed number `first_half_frame` stands; its code follows it, then every 19 mm the next.
    first_half_frame : int, optional
        Twice the first number, plus 1 for A.
    words : str, optional
        Printed along the upper edge now and then.
    hole_phase_mm : float, optional
        Centre of the first perforation from the strip's left end.
    pitch_mm, hole_mm, hole_radius_mm : optional
        Perforations.
    fogs : tuple of Fog, optional
        Light leaks, light-struck ends.
    mark_exposure : float, optional
        Strength of what is printed.
    gate_softness_mm : float, optional
        How softly the gate's edge falls on the film (standard deviation).
    code_style : CodeStyle, optional
        Where the code's tracks lie.
    """

    frames: tuple[ExposedFrame, ...]
    length_mm: float
    format: str = "135"
    emulsion: Emulsion = COLOUR_NEGATIVE
    gate_mm: tuple[float, float] | None = None
    gate_offset_mm: float = 0.0
    stock_number: str | None = "36-2"
    number_x_mm: float = 6.0
    first_half_frame: int = 2
    words: str = "DRYSIDE 200"
    hole_phase_mm: float = 1.7
    pitch_mm: float = PITCH_MM
    hole_mm: tuple[float, float] = (HOLE_ALONG_MM, HOLE_ACROSS_MM)
    hole_radius_mm: float = HOLE_CORNER_RADIUS_MM
    fogs: tuple[Fog, ...] = ()
    mark_exposure: float = 2.5
    gate_softness_mm: float = 0.03
    code_style: marks.CodeStyle = field(default_factory=marks.CodeStyle)

    @property
    def film_format(self) -> FilmFormat:
        """The format's facts."""
        return FORMATS[self.format]

    @property
    def width_mm(self) -> float:
        """Of the film; a sheet's short side."""
        return self.film_format.film_width_mm or 100.0

    @property
    def gate(self) -> tuple[float, float]:
        """The gate in mm, along and across."""
        return self.gate_mm or (self.film_format.along_mm, self.film_format.across_mm)

    def rectangle(self, frame: ExposedFrame) -> tuple[float, float, float, float]:
        """Sides of a frame on the film: x0, y0, x1, y1 in mm from the strip's top-left corner."""
        along, across = self.gate
        top = (self.width_mm - across) / 2 + self.gate_offset_mm
        return frame.x_mm, top, frame.x_mm + along, top + across

    def base_transmittance(self) -> Array:
        """Transmittance of unexposed film, shape (3,)."""
        return np.asarray(self.emulsion(np.zeros((1, 1, 3), np.float32)))[0, 0]


def hole_centres(strip: FilmStrip) -> Array:
    """Centres of all holes, mm from the strip's top-left corner, shape (holes, 2); empty where the film has none."""
    if not strip.film_format.is_perforated:
        return np.zeros((0, 2))
    x = np.arange(strip.hole_phase_mm, strip.length_mm + 2, strip.pitch_mm)
    rows = (HOLE_CENTRE_FROM_EDGE_MM, strip.width_mm - HOLE_CENTRE_FROM_EDGE_MM)
    return np.array([(one, row) for row in rows for one in x])


def material(strip: FilmStrip, pixels_per_mm: float) -> Array:
    """Where there is film: 1 on it, 0 in the holes; a canvas over the strip."""
    canvas = Canvas.blank(strip.length_mm, strip.width_mm, pixels_per_mm)
    for x, y in hole_centres(strip):
        canvas.add_hole(x, y, strip.hole_mm, strip.hole_radius_mm)
    return 1 - canvas.values


def printed_codes(strip: FilmStrip) -> list[tuple[float, float, int]]:
    """Every edge code of the strip: first and last mm, half-frame number. Codes may be cut by the strip's ends."""
    if strip.stock_number is None or not strip.film_format.is_perforated:
        return []
    first = int(np.floor(-strip.number_x_mm / marks.HALF_PITCH_MM)) - 1
    last = int(np.ceil((strip.length_mm - strip.number_x_mm) / marks.HALF_PITCH_MM)) + 1
    codes = []
    for step in range(first, last + 1):
        half_frame = strip.first_half_frame + step
        if 0 <= half_frame < 128:
            x = strip.number_x_mm + step * marks.HALF_PITCH_MM + marks.CODE_AFTER_NUMBER_MM
            codes.append((x, x + 31 * strip.code_style.module_mm, half_frame))
    return codes


def exposure(strip: FilmStrip, pixels_per_mm: float) -> Array:
    """All light the film met, scene-linear, shape (rows, columns, 3)."""
    canvas = Canvas.blank(strip.length_mm, strip.width_mm, pixels_per_mm)
    light = np.zeros((*canvas.values.shape, 3), np.float32)
    for frame in strip.frames:
        _expose_frame(light, strip, frame, pixels_per_mm)
    _print_marks(canvas, strip)
    light += (strip.mark_exposure * np.minimum(canvas.values, 1))[..., None] * f32([1.0, 0.75, 0.6])
    for fog in strip.fogs:
        x = np.arange(light.shape[1]) / pixels_per_mm
        away = np.maximum(np.maximum(fog.x0_mm - x, x - fog.x1_mm), 0)
        light += (fog.exposure * np.exp(-((away / fog.soft_mm) ** 2))).astype(np.float32)[None, :, None]
    return light


def _expose_frame(light: Array, strip: FilmStrip, frame: ExposedFrame, scale: float) -> None:
    import cv2

    x0, y0, x1, y1 = (side * scale for side in strip.rectangle(frame))
    rows, columns = light.shape[:2]
    left, right = int(np.floor(x0)) - 3, int(np.ceil(x1)) + 3
    top, bottom = int(np.floor(y0)) - 3, int(np.ceil(y1)) + 3
    shrink = frame.picture.shape[1] > right - left
    picture = cv2.resize(
        np.ascontiguousarray(frame.picture, dtype=np.float32),
        (right - left, bottom - top),
        interpolation=cv2.INTER_AREA if shrink else cv2.INTER_LINEAR,
    )
    soft = strip.gate_softness_mm * scale
    along = soft_coverage(x0 - left, x1 - left, right - left, soft)
    down = soft_coverage(y0 - top, y1 - top, bottom - top, soft)
    lit = picture * (down[:, None] * along * np.float32(2.0**frame.stops))[..., None]
    r0, r1, c0, c1 = max(0, top), min(rows, bottom), max(0, left), min(columns, right)
    if r0 < r1 and c0 < c1:
        light[r0:r1, c0:c1] += lit[r0 - top : r1 - top, c0 - left : c1 - left]


def _print_marks(canvas: Canvas, strip: FilmStrip) -> None:
    if not strip.film_format.is_perforated:
        _print_roll_film_marks(canvas, strip)
        return
    beside_edge = EDGE_TO_HOLE_MM / 2
    for x0, _, half_frame in printed_codes(strip):
        marks.print_code(canvas, x0, marks.data_bits(strip.stock_number or "", half_frame), strip.code_style)
    steps = range(-1, int(strip.length_mm / marks.HALF_PITCH_MM) + 2)
    for step in steps:
        number = strip.first_half_frame + step
        x = strip.number_x_mm + step * marks.HALF_PITCH_MM
        if number >= 0:
            text = marks.frame_number(number)
            marks.print_words(canvas, x, strip.width_mm - beside_edge, text)
            marks.print_words(canvas, x, beside_edge, text)
        if step % 2:
            marks.print_words(canvas, x + 9, beside_edge, strip.words, height_mm=1.0)


def _print_roll_film_marks(canvas: Canvas, strip: FilmStrip) -> None:
    for step in range(int(strip.length_mm / 45) + 1):
        x = strip.number_x_mm + step * 45.0
        marks.print_words(canvas, x, 1.3, strip.words, height_mm=1.0)
        marks.print_words(canvas, x + 20, strip.width_mm - 1.3, str(strip.first_half_frame // 2 + step), height_mm=1.3)


def lay_out(
    pictures: list[Array],
    *,
    format: str = "135",
    first_x_mm: float = 4.0,
    gaps_mm: list[float] | None = None,
    stops: list[float] | None = None,
    first_number: int = 1,
    gate_mm: tuple[float, float] | None = None,
    tail_mm: float = 4.0,
    **details: Any,
) -> FilmStrip:
    """A strip with its pictures one after the other, numbered, each under its own printed number.

    Parameters
    ----------
    pictures : list of ndarray
        Scene-linear.
    format : str, optional
        Key of `FORMATS`.
    first_x_mm, tail_mm : float, optional
        Film before the first and after the last frame.
    gaps_mm : list of float, optional
        Film between frames; below 0 they overlap. The format's own gap if left out.
    stops : list of float, optional
        Exposure of each frame.
    first_number : int, optional
        Number of the first frame.
    gate_mm : (along, across), optional
        The camera's gate.
    **details
        Any field of `FilmStrip`.
    """
    facts = FORMATS[format]
    along = (gate_mm or (facts.along_mm, facts.across_mm))[0]
    gaps = gaps_mm if gaps_mm is not None else [facts.along_mm + facts.gap_mm - along] * (len(pictures) - 1)
    exposures = stops or [0.0] * len(pictures)
    step = 1 if format == "half" else 2
    labels = [marks.frame_number(2 * first_number + step * index) for index in range(len(pictures))]
    if facts.film == "135" and facts.frame_pitch_mm is None:
        labels = [str(one) for one in labels_along(FrameLabel(first_number), len(pictures), format_key=format)]
    frames, x = [], first_x_mm
    for index, picture in enumerate(pictures):
        frames.append(ExposedFrame(picture=picture, x_mm=x, stops=exposures[index], label=labels[index]))
        x += along + (gaps[index] if index < len(gaps) else 0.0)
    length = max(x + tail_mm, along / 4)
    facts_of_strip: dict[str, Any] = {"number_x_mm": first_x_mm + 8.0, "first_half_frame": 2 * first_number}
    return FilmStrip(
        frames=tuple(frames), length_mm=length, format=format, gate_mm=gate_mm, **(facts_of_strip | details)
    )
