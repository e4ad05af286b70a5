"""A roll's captures to positives: measure every capture, make the roll's recipes, convert every frame."""

from __future__ import annotations

import functools
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import dryside
from dryside.film.refusal import Refusal
from dryside.negatives.capture import Assume
from dryside.negatives.codecs.open_picture import PICTURE_SUFFIXES
from dryside.negatives.convert import CaptureJob, FrameJob, convert_capture, job_description
from dryside.negatives.flat import Flat, read_flat
from dryside.negatives.journal import Journal, job_key
from dryside.negatives.measure import CaptureMeasured, MeasureOptions, measure_capture
from dryside.negatives.output_profiles import profile_of
from dryside.negatives.profile import read_profile
from dryside.negatives.recipe import Recipe
from dryside.negatives.rendering import Rendering
from dryside.negatives.roll import RollRecipe, recipe_for_roll
from dryside.negatives.types import FrameFound
from dryside.negatives.workers import cluster_workers, run_all, thread_workers
from dryside.negatives.write_positive import OutputOptions, PositiveFiles, PositiveLabels
from dryside.negatives.xmp import xmp_packet

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
    profile : Path or None
        What `dryside calibrate` made of this stock, light and camera.
    assume : {'auto', 'linear', 'srgb'}
        How files without a profile are encoded.
    whole : bool
        Each capture is one frame and nothing else.
    output : OutputOptions
        What is written of each frame.
    workers : int
        Threads.
    cluster : str
        Address of a Dask scheduler whose workers do the work instead; '' for none.
    """

    process: str
    film_format: str
    rendering: Rendering
    flat: Path | None = None
    profile: Path | None = None
    assume: Assume = "auto"
    whole: bool = False
    output: OutputOptions = field(default_factory=OutputOptions)
    workers: int = 1
    cluster: str = ""


@dataclass(frozen=True)
class Step:
    """How far a batch is: `done` of `total` captures are `part` ('measured' or 'written')."""

    part: str
    done: int
    total: int
    path: Path


Progress = Callable[[Step], None]


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
        inside = [one for one in sorted(path.iterdir()) if _is_picture(one) and one.resolve() not in away]
        if not inside:
            raise Refusal(str(path), "no picture in this folder", "Name the captures, or the folder they are in.")
        files += inside
    return list(dict.fromkeys(files))


def _is_picture(path: Path) -> bool:
    return path.suffix.lower() in PICTURE_SUFFIXES and not path.name.startswith(".") and path.is_file()


def invert(
    paths: Sequence[Path], options: InvertOptions, out: Path, progress: Progress = lambda step: None
) -> RollInverted:
    """Captures to positives in the folder `out`; what an earlier run of the same work has written is kept.

    Raises
    ------
    Refusal
        If the flat cannot be used or `out` cannot be written, or if there is one capture and it cannot be used.
    """
    flat = read_flat(options.flat, assume=options.assume) if options.flat else None
    _make_folder(out)
    stop = threading.Event()
    with _workers(options) as pool:
        measured, refused = _measure_all(pool, paths, options, flat, stop, progress)
        if refused and len(paths) == 1:
            raise refused[0]
        jobs, results = plan_roll(measured, options, out)
        refused += _convert_all(pool, jobs, options, out, stop, progress)
    failed = {refusal.thing for refusal in refused}
    return RollInverted(tuple(one for one in results if str(one.path) not in failed), tuple(refused))


def _make_folder(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(str(out), f"cannot be made ({error.strerror})", "Name another folder with --out.") from error


@contextmanager
def _workers(options: InvertOptions) -> Iterator[Executor]:
    with cluster_workers(options.cluster) if options.cluster else thread_workers(options.workers) as pool:
        yield pool


def _measure_all(
    pool: Executor,
    paths: Sequence[Path],
    options: InvertOptions,
    flat: Flat | None,
    stop: threading.Event,
    progress: Progress,
) -> tuple[list[CaptureMeasured], list[Refusal]]:
    told = MeasureOptions(options.film_format, options.assume, flat, str(options.flat or ""), options.whole)
    count = 0

    def note(number: int, _: object) -> None:
        nonlocal count
        count += 1
        progress(Step("measured", count, len(paths), paths[number]))

    results = run_all(pool, functools.partial(measure_capture, options=told), paths, stop=stop, done=note)
    measured = [one for one in results if isinstance(one, CaptureMeasured)]
    return measured, [one for one in results if isinstance(one, Refusal)]


def plan_roll(
    measured: Sequence[CaptureMeasured], options: InvertOptions, out: Path
) -> tuple[list[CaptureJob], list[CaptureInverted]]:
    """The jobs that write a roll's frames, and the results they will have, capture by capture."""
    samples = [one for capture in measured for one in capture.samples]
    profile = read_profile(options.profile, options.process) if options.profile else None
    roll = recipe_for_roll(samples, process=options.process, rendering=options.rendering, profile=profile)
    jobs, results = [], []
    first = 0
    for capture, name in zip(measured, _stems([one.facts.path for one in measured]), strict=True):
        recipes = roll.recipes[first : first + len(capture.frames)]
        frames = tuple(
            FrameJob(
                frame.corners,
                recipe,
                out / _frame_name(name, frame),
                _labels(capture, recipe, frame, options),
            )
            for frame, recipe in zip(capture.frames, recipes, strict=True)
        )
        jobs.append(CaptureJob(capture.facts.path, options.assume, capture.flat, frames, options.output))
        results.append(_capture_result(capture, frames, roll, first))
        first += len(frames)
    return jobs, results


def _stems(paths: Sequence[Path]) -> list[str]:
    """A name for each capture's positives: its own, with its folder's where two captures share one."""
    plain = [path.stem for path in paths]
    names = [
        stem if plain.count(stem) == 1 else f"{path.parent.name}-{stem}"
        for stem, path in zip(plain, paths, strict=True)
    ]
    return [name if names.count(name) == 1 else f"{name}-{number + 1}" for number, name in enumerate(names)]


def _frame_name(stem: str, frame: FrameFound) -> str:
    """`CAPTURE-21`, or `CAPTURE-frame03` where the frame has no number."""
    return f"{stem}-{frame.label}" if frame.label else f"{stem}-frame{frame.index + 1:02d}"


def _capture_result(
    measured: CaptureMeasured, frames: Sequence[FrameJob], roll: RollRecipe, first: int
) -> CaptureInverted:
    strip = measured.strip
    return CaptureInverted(
        path=measured.facts.path,
        pixels_per_mm=None if strip is None else strip.pixels_per_mm,
        tilt_degrees=0.0 if strip is None else strip.tilt_degrees,
        mirrored=None if strip is None else strip.mirrored,
        frames=tuple(
            FramePositive(
                index=found.index,
                corners=tuple((float(x), float(y)) for x, y in found.corners),
                label=found.label,
                label_source=found.label_source,
                positive=job.stem.with_name(job.stem.name + ".tif"),
                base_density=roll.base_density[first + k],
                warnings=(*measured.warnings, *found.warnings, *roll.frame_warnings[first + k]),
            )
            for k, (found, job) in enumerate(zip(measured.frames, frames, strict=True))
        ),
    )


def _labels(measured: CaptureMeasured, recipe: Recipe, frame: FrameFound, options: InvertOptions) -> PositiveLabels:
    software = f"Dryside {dryside.__version__}"
    strip = measured.strip
    way = {
        "source": measured.facts.path.name,
        "source_crc32": measured.checksum,
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


def _convert_all(
    pool: Executor,
    jobs: Sequence[CaptureJob],
    options: InvertOptions,
    out: Path,
    stop: threading.Event,
    progress: Progress,
) -> list[Refusal]:
    """Write what the journal does not have yet; what could not be written comes back."""
    with Journal(out) as journal:
        keys = [[job_key(job.path, job_description(job, frame)) for frame in job.frames] for job in jobs]
        waiting = [_undone(job, names, journal) for job, names in zip(jobs, keys, strict=True)]
        todo = [(job, names) for job, names in waiting if job.frames]
        count = len(jobs) - len(todo)

        def note(number: int, outcome: tuple[PositiveFiles, ...] | Refusal) -> None:
            nonlocal count
            count += 1
            job, names = todo[number]
            if not isinstance(outcome, Refusal):
                for name, files in zip(names, outcome, strict=True):
                    journal.add(name, files)
            progress(Step("written", count, len(jobs), job.path))

        threads = 1 if options.cluster else max(1, options.workers // max(1, len(todo)))
        convert = functools.partial(convert_capture, threads=threads, stop=None if options.cluster else stop)
        results = run_all(pool, convert, [job for job, _ in todo], stop=stop, done=note)
    return [one for one in results if isinstance(one, Refusal)]


def _undone(job: CaptureJob, names: list[str], journal: Journal) -> tuple[CaptureJob, list[str]]:
    """The job with the frames that are not yet in the journal, and their keys."""
    left = [(frame, name) for frame, name in zip(job.frames, names, strict=True) if not journal.has(name)]
    frames = tuple(frame for frame, _ in left)
    return CaptureJob(job.path, job.assume, job.flat, frames, job.output), [name for _, name in left]


def as_document(roll: RollInverted) -> dict[str, Any]:
    """The command's JSON document."""
    document: dict[str, Any] = {"captures": [_capture_document(capture) for capture in roll.captures]}
    if roll.refused:
        document["refused"] = [refusal.as_dict() for refusal in roll.refused]
    return document


def _capture_document(capture: CaptureInverted) -> dict[str, Any]:
    frames = [{**vars(frame), "positive": str(frame.positive)} for frame in capture.frames]
    return {**vars(capture), "path": str(capture.path), "frames": frames}
