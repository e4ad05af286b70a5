"""One capture measured: light, strips, frames, labels, film base, and the samples a roll's balance is made from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.base import FilmBase, NoBase, measure_base
from dryside.negatives.capture import FULL_LEVEL, Assume, Capture, CaptureFacts, read_capture, reduce_capture
from dryside.negatives.codecs.jpeg_file import encode_jpeg
from dryside.negatives.drying_marks import MARK_COLUMNS, MARK_ROWS, drying_warning
from dryside.negatives.file_checksum import file_checksum
from dryside.negatives.flat import (
    CLIPPED_LEVEL,
    Flat,
    check_flat_belongs,
    full_scale_light,
    light_around_film,
    transmittance,
)
from dryside.negatives.frame_view import snap_corners
from dryside.negatives.geometry import finder_reduction, read_film
from dryside.negatives.leaks import with_leak_warnings
from dryside.negatives.no_film import remedy_for
from dryside.negatives.output_profiles import icc_profile
from dryside.negatives.overlay import draw_overlay
from dryside.negatives.rebate import rebate_samples
from dryside.negatives.roll import FrameSamples
from dryside.negatives.types import Band, FilmRead, FloatArray, FrameFound, LightArray, Strip
from dryside.negatives.write_positive import whole_file

SAMPLE_COLUMNS, SAMPLE_ROWS = 96, 64
# Samples keep this part of the frame's sides away from them: soft gates and neighbours are not the picture.
SAMPLE_INSET = 0.03
OVERLAY_QUALITY = 90
# Where only tones are asked for, one row in so many is read: noise averages out over the rest.
SPARSE = 4
DARKEST_CAPTURE = 0.004
DARKEST_LIGHT = 1e-4
MOST_BASE_CLIPPED = 0.5


@dataclass(frozen=True)
class MeasureOptions:
    """What was told about the captures.

    Attributes
    ----------
    film_format : str
        Key of `dryside.film.formats.FORMATS`.
    assume : {'auto', 'linear', 'srgb'}
        How a file without a profile is encoded.
    flat : Flat or None
        Bare light of the session.
    flat_name : str
        The flat as the person named it.
    whole : bool
        The capture shows one frame and nothing else: nothing is looked for.
    overlay_folder : Path or None
        Where the capture is written with all that was found drawn over it, as NAME.overlay.jpg.
    process : str or None
        How the film was developed, if that is known: `c41`, `ecn2`, `bw`, `e6`.
    """

    film_format: str
    assume: Assume = "auto"
    flat: Flat | None = None
    flat_name: str = ""
    whole: bool = False
    overlay_folder: Path | None = None
    process: str | None = None


@dataclass(frozen=True, eq=False)
class CaptureMeasured:
    """What was found in one capture.

    Attributes
    ----------
    facts : CaptureFacts
        Of the file.
    film : FilmRead
        Strips, frames, labels. Empty with `MeasureOptions.whole`.
    frames : tuple of FrameFound
        Frames of all strips, in order.
    flat : Flat
        Bare light.
    base : FilmBase or NoBase
        Film base as this capture shows it.
    samples : tuple of FrameSamples
        One a frame.
    warnings : tuple of str
        About the capture.
    checksum : str
        CRC-32 of the file.
    """

    facts: CaptureFacts
    film: FilmRead
    frames: tuple[FrameFound, ...]
    flat: Flat
    base: FilmBase | NoBase
    samples: tuple[FrameSamples, ...]
    warnings: tuple[str, ...]
    checksum: str

    @property
    def strip(self) -> Strip | None:
        """The first strip; None where none was looked for."""
        return self.film.strips[0].strip if self.film.strips else None


def measure_capture(path: Path, options: MeasureOptions) -> CaptureMeasured:
    """Read a capture once, reduced, and find all that is needed to invert its frames.

    Raises
    ------
    Refusal
        If the file cannot be used, the flat does not belong to it, or there is no film in it.
    """
    with read_capture(path, assume=options.assume) as capture:
        if options.flat is not None:
            check_flat_belongs(options.flat, capture.facts, options.flat_name)
        return _measure(capture, options)


def _measure(capture: Capture, options: MeasureOptions) -> CaptureMeasured:
    facts = capture.facts
    if options.whole:
        return _measure_whole(capture, options)
    factor = finder_reduction(facts.height, facts.width)
    light = reduce_capture(capture, factor)
    if float(light.max()) < DARKEST_CAPTURE:
        found = f"black: the brightest place has {float(light.max()):.2%} of full scale"
        raise Refusal(str(facts.path), found, "Capture the film on a light table, exposed for its clear parts.")
    seen = light if options.flat is None else transmittance(light, options.flat, factor)
    film = _find(capture, seen, factor, options)
    if options.overlay_folder is not None:
        _write_overlay(light, film, factor, options.overlay_folder / f"{facts.path.stem}.overlay.jpg")
    frames = tuple(_snapped(frame) for frame in film.frames)
    flat = options.flat or light_around_film(light, film, factor=factor, size=(facts.height, facts.width))
    through = seen if options.flat is not None else transmittance(light, flat, factor)
    _refuse_clipped(light, film, factor, facts)
    base = _base(through, film, factor)
    if isinstance(base, FilmBase):
        frames = _with_leaks(frames, through, film, base, factor)
    frames = tuple(_with_drying_marks(frame, through, factor) for frame in frames)
    samples = tuple(
        FrameSamples(frame_samples(through, frame.corners / factor), base if isinstance(base, FilmBase) else None)
        for frame in frames
    )
    doubt = _doubt(film, base)
    warnings = (*doubt, *film.warnings, *flat.warnings, *(w for read in film.strips for w in read.strip.warnings))
    checksum = file_checksum(facts.path)
    return CaptureMeasured(facts, film, frames, flat, base, samples, warnings, checksum)


def _measure_whole(capture: Capture, options: MeasureOptions) -> CaptureMeasured:
    """A capture that shows one frame and nothing else: only its tones are looked at, in some of its rows."""
    facts = capture.facts
    size = (facts.height, facts.width)
    flat = options.flat or full_scale_light(size)
    factor = max(1, min(facts.height // SAMPLE_ROWS, facts.width // SAMPLE_COLUMNS))
    light = reduce_capture(capture, factor, rows_of_each=max(1, factor // SPARSE))
    frame = _whole_frame(facts)
    samples = FrameSamples(frame_samples(transmittance(light, flat, factor), frame.corners / factor), None)
    no_base = NoBase("no rebate is in the capture")
    checksum = file_checksum(facts.path)
    return CaptureMeasured(facts, FilmRead(), (frame,), flat, no_base, (samples,), flat.warnings, checksum)


def _find(capture: Capture, seen: LightArray, factor: int, options: MeasureOptions) -> FilmRead:
    film = read_film(
        seen, format=options.film_format, scale=float(factor), band=_band(capture, options.flat),
        process=options.process,
    )  # fmt: skip
    if not film or not film.frames:
        why = film.why or "film was found, but no frame on it"
        raise Refusal(str(capture.facts.path), why, remedy_for(why))
    return film


def _doubt(film: FilmRead, base: FilmBase | NoBase) -> tuple[str, ...]:
    """Said where nothing but the outline of pictures tells that this is film."""
    if base or any(read.strip.scale_source != "frames" for read in film.strips):
        return ()
    return ("Neither perforations nor clear film are seen: make sure that this is film.",)


def _band(capture: Capture, flat: Flat | None) -> Band:
    """Full-size windows of what the finder sees: light, or transmittance where there is a flat."""
    light = capture.band()
    if flat is None:
        return light
    return lambda y0, y1, x0, x1: np.asarray(light(y0, y1, x0, x1) / flat.rows(y0, y1, x0, x1), np.float32)


def _write_overlay(light: LightArray, film: FilmRead, factor: int, path: Path) -> None:
    picture = draw_overlay(light, film, scale=float(factor))
    with whole_file(path) as part:
        part.write_bytes(b"".join(encode_jpeg(picture, OVERLAY_QUALITY, icc_profile("sRGB", "srgb"), b"")))


def _snapped(frame: FrameFound) -> FrameFound:
    return replace(frame, corners=snap_corners(frame.corners))


def _whole_frame(facts: CaptureFacts) -> FrameFound:
    w, h = float(facts.width), float(facts.height)
    corners = np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])
    return FrameFound(index=0, corners=corners, film_mm=(0.0, 0.0, 0.0, 0.0), confidence=1.0)


def _refuse_clipped(light: LightArray, film: FilmRead, factor: int, facts: CaptureFacts) -> None:
    """Refuse a capture whose clear film is at full scale: shadows are lost, and no base can be measured."""
    samples = [rebate_samples(light, read, scale=float(factor)) for read in film.strips if read.strip.clear_is_light]
    clear = np.concatenate(samples) if samples else np.zeros((0, 3), np.float32)
    if not len(clear):
        return
    full = FULL_LEVEL / facts.levels_per_unit
    clipped = (clear >= CLIPPED_LEVEL * full).mean(axis=0)
    worst = int(np.argmax(clipped))
    if clipped[worst] > MOST_BASE_CLIPPED:
        found = f"clipped: clear film is at full scale in {('red', 'green', 'blue')[worst]}"
        raise Refusal(str(facts.path), found, "Capture it again with a shorter exposure.")


def _with_leaks(
    frames: tuple[FrameFound, ...], through: LightArray, film: FilmRead, base: FilmBase, factor: int
) -> tuple[FrameFound, ...]:
    """The frames of all strips, warned where light has leaked onto the film beside them."""
    told: list[FrameFound] = []
    for read in film.strips:
        own = frames[len(told) : len(told) + len(read.frames)]
        told += with_leak_warnings(own, through, read, base, scale=float(factor))
    return tuple(told)


def _with_drying_marks(frame: FrameFound, through: LightArray, factor: int) -> FrameFound:
    """The frame, warned where drops dried on it; only where the reduced capture shows enough of it."""
    corners = frame.corners / factor
    if np.linalg.norm(corners[1] - corners[0]) < MARK_COLUMNS:
        return frame
    light = frame_samples(through, corners, columns=MARK_COLUMNS, rows=MARK_ROWS)
    notes = drying_warning(-np.log10(np.maximum(light, DARKEST_LIGHT)))
    return replace(frame, warnings=(*frame.warnings, *notes)) if notes else frame


def _base(through: LightArray, film: FilmRead, factor: int) -> FilmBase | NoBase:
    samples = [rebate_samples(through, read, scale=float(factor)) for read in film.strips]
    if not samples:
        return NoBase("no rebate is in the capture")
    return measure_base(np.concatenate(samples))


def frame_samples(
    through: LightArray, corners: FloatArray, *, columns: int = SAMPLE_COLUMNS, rows: int = SAMPLE_ROWS
) -> NDArray[np.float32]:
    """Means of a frame's transmittance, `rows` x `columns`, a little inside its corners.

    Parameters
    ----------
    through : ndarray of shape (rows, columns, 3), float32
        Transmittance of the reduced capture.
    corners : ndarray of shape (4, 2)
        The frame's corners in its pixels.
    columns, rows : int
        How many samples.
    """
    import cv2

    centre = corners.mean(axis=0)
    inside = centre + (corners - centre) * (1 - 2 * SAMPLE_INSET)
    side = max(np.linalg.norm(inside[1] - inside[0]), np.linalg.norm(inside[3] - inside[0]))
    finer = max(1, int(np.ceil(side / columns)))
    wide, high = columns * finer, rows * finer
    square = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    matrix = cv2.getPerspectiveTransform((inside - 0.5).astype(np.float32), square - np.float32(0.5))
    straight = cv2.warpPerspective(
        through, matrix, (wide, high), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(cv2.resize(straight, (columns, rows), interpolation=cv2.INTER_AREA))
