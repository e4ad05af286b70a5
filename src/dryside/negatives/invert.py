"""A roll's captures to positives: measure every capture, make the roll's recipes, convert every frame."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import dryside
from dryside.film.refusal import Refusal
from dryside.negatives.capture import Assume, read_capture
from dryside.negatives.codecs.open_picture import PICTURE_SUFFIXES
from dryside.negatives.flat import Flat, read_flat
from dryside.negatives.frame_view import frame_view
from dryside.negatives.measure import CaptureMeasured, MeasureOptions, measure_capture
from dryside.negatives.output_profiles import profile_of
from dryside.negatives.positive_bands import positive_bands
from dryside.negatives.recipe import Recipe
from dryside.negatives.rendering import Rendering
from dryside.negatives.roll import RollRecipe, recipe_for_roll
from dryside.negatives.types import FrameFound
from dryside.negatives.write_positive import OutputOptions, PositiveLabels, write_positive
from dryside.negatives.xmp import xmp_packet

Progress = Callable[[str], None]
CHUNK = 1 << 20
MM_PER_INCH = 25.4


@dataclass(frozen=True)
class InvertOptions:
    """What a person asked for.

    Attributes
    ----------
    process : {'c41', 'ecn2', 'bw', 'e6'}
        How the film was developed.
    film_format : str
        Key of `dryside.film.formats.FORMATS`.
    rendering : Rendering
        Scene or print, in an output space.
    flat : Path or None
        Capture of the bare light.
    assume : {'auto', 'linear', 'srgb'}
        How files without a profile are encoded.
    whole : bool
        Each capture is one frame and nothing else.
    output : OutputOptions
        What is written of each frame.
    workers : int
        Threads.
    """

    process: str
    film_format: str
    rendering: Rendering
    flat: Path | None = None
    assume: Assume = "auto"
    whole: bool = False
    output: OutputOptions = field(default_factory=OutputOptions)
    workers: int = 1


@dataclass(frozen=True)
class FramePositive:
    """One frame as it was found and written."""

    index: int
    corners: tuple[tuple[float, float], ...]
    label: str | None
    label_source: str | None
    positive: Path
    base_density: tuple[float, float, float]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class CaptureInverted:
    """One capture with its frames."""

    path: Path
    pixels_per_mm: float | None
    tilt_degrees: float
    mirrored: bool | None
    frames: tuple[FramePositive, ...]


@dataclass(frozen=True)
class RollInverted:
    """All captures that could be used, and what was refused."""

    captures: tuple[CaptureInverted, ...]
    refused: tuple[Refusal, ...]


def capture_files(paths: Sequence[Path], leave_out: Sequence[Path] = ()) -> list[Path]:
    """Files named, and the pictures of folders named, by name; `leave_out` (a flat in the same folder) is left out.

    Raises
    ------
    Refusal
        If a folder holds no picture.
    """
    away = {path.resolve() for path in leave_out}
    files: list[Path] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = sorted(
            one
            for one in path.iterdir()
            if one.suffix.lower() in PICTURE_SUFFIXES and not one.name.startswith(".") and one.is_file()
        )
        inside = [one for one in inside if one.resolve() not in away]
        if not inside:
            raise Refusal(str(path), "no picture in this folder", "Name the captures, or the folder they are in.")
        files += inside
    return list(dict.fromkeys(files))


def invert(
    paths: Sequence[Path], options: InvertOptions, out: Path, progress: Progress = lambda text: None
) -> RollInverted:
    """Captures to positives in the folder `out`.

    Raises
    ------
    Refusal
        If the flat cannot be used or `out` cannot be written, or if there is one capture and it cannot be used.
    """
    flat = read_flat(options.flat, assume=options.assume) if options.flat else None
    out.mkdir(parents=True, exist_ok=True)
    measured, refused = _measure_all(paths, options, flat, progress)
    if refused and len(paths) == 1:
        raise refused[0]
    samples = [one for capture in measured for one in capture.samples]
    roll = recipe_for_roll(samples, process=options.process, rendering=options.rendering)
    inverted = []
    first = 0
    for capture in measured:
        inverted.append(_convert_capture(capture, roll, first, options, out))
        first += len(capture.frames)
        progress(str(capture.facts.path))
    return RollInverted(tuple(inverted), tuple(refused))


def _measure_all(
    paths: Sequence[Path], options: InvertOptions, flat: Flat | None, progress: Progress
) -> tuple[list[CaptureMeasured], list[Refusal]]:
    told = MeasureOptions(options.film_format, options.assume, flat, str(options.flat or ""), options.whole)
    measured, refused = [], []
    for path in paths:
        try:
            measured.append(measure_capture(path, told))
        except Refusal as refusal:
            refused.append(refusal)
        progress(str(path))
    return measured, refused


def _convert_capture(
    measured: CaptureMeasured, roll: RollRecipe, first: int, options: InvertOptions, out: Path
) -> CaptureInverted:
    path = measured.facts.path
    checksum = file_checksum(path)
    frames = []
    with read_capture(path, assume=options.assume) as capture:
        for k, frame in enumerate(measured.frames):
            recipe = roll.recipes[first + k]
            view = frame_view(frame.corners)
            stem = out / f"{path.stem}-{frame.label or f'frame{frame.index + 1:02d}'}"
            files = write_positive(
                positive_bands(capture, measured.flat, recipe, view),
                size=(view.rows, view.columns),
                stem=stem,
                options=options.output,
                labels=_labels(measured, recipe, frame, checksum, options),
            )
            warnings = (*measured.warnings, *frame.warnings, *roll.frame_warnings[first + k])
            frames.append(_result(frame, files.tiff, roll.base_density[first + k], warnings))
    strip = measured.strip
    return CaptureInverted(
        path=path,
        pixels_per_mm=None if strip is None else strip.pixels_per_mm,
        tilt_degrees=0.0 if strip is None else strip.tilt_degrees,
        mirrored=None if strip is None else strip.mirrored,
        frames=tuple(frames),
    )


def _result(
    frame: FrameFound, positive: Path, base: tuple[float, float, float], warnings: tuple[str, ...]
) -> FramePositive:
    corners = tuple((float(x), float(y)) for x, y in frame.corners)
    return FramePositive(frame.index, corners, frame.label, frame.label_source, positive, base, warnings)


def _labels(
    measured: CaptureMeasured, recipe: Recipe, frame: FrameFound, checksum: str, options: InvertOptions
) -> PositiveLabels:
    software = f"Dryside {dryside.__version__}"
    strip = measured.strip
    way = {
        "source": measured.facts.path.name,
        "source_sha256": checksum,
        "version": dryside.__version__,
        "process": options.process,
        "format": options.film_format,
        "encoding": measured.facts.encoding,
        "light": measured.flat.source,
        "corners": frame.corners.tolist(),
        "label": frame.label,
        "recipe": recipe.as_dict(),
    }
    xmp = xmp_packet(software=software, captured=measured.facts.taken, process=options.process, way=way)
    ppi = None if strip is None else round(strip.pixels_per_mm * MM_PER_INCH, 3)
    return PositiveLabels(profile_of(options.rendering), xmp, software, ppi)


def file_checksum(path: Path) -> str:
    """SHA-256 of a file."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def as_document(roll: RollInverted) -> dict[str, Any]:
    """The command's JSON document."""
    captures = []
    for capture in roll.captures:
        one = asdict(capture)
        one["path"] = str(capture.path)
        one["frames"] = [{**asdict(frame), "positive": str(frame.positive)} for frame in capture.frames]
        captures.append(one)
    document: dict[str, Any] = {"captures": captures}
    if roll.refused:
        document["refused"] = [refusal.as_dict() for refusal in roll.refused]
    return document
