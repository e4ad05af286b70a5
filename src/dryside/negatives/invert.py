"""A roll's captures to positives: measure every capture, make the roll's recipes, convert every frame."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.codecs.open_picture import PICTURE_SUFFIXES
from dryside.negatives.convert import CaptureJob, convert_capture, job_description
from dryside.negatives.dust import refuse_silver
from dryside.negatives.flat import Flat, read_flat
from dryside.negatives.frame_repairs import FOURTH
from dryside.negatives.inverted import (
    CaptureInverted,
    FramePositive,
    InvertOptions,
    Progress,
    RollInverted,
    Step,
    as_document,
)
from dryside.negatives.journal import Journal, job_key, written_names
from dryside.negatives.measure import CaptureMeasured, MeasureOptions, measure_capture
from dryside.negatives.profile import read_profile
from dryside.negatives.roll_plan import plan_roll
from dryside.negatives.warm_up import warm_up
from dryside.negatives.workers import cluster_workers, run_all, thread_workers
from dryside.negatives.write_positive import NoRoom, PositiveFiles

__all__ = [
    "CaptureInverted",
    "FramePositive",
    "InvertOptions",
    "Progress",
    "RollInverted",
    "Step",
    "as_document",
    "capture_files",
    "invert",
]


def capture_files(paths: Sequence[Path], leave_out: Sequence[Path] = ()) -> list[Path]:
    """Files named, and the pictures of folders named, by name; `leave_out` (a flat in the same folder) and
    positives that an earlier run has written into such a folder are left out.

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
        ours = written_names(path)
        inside = [
            one
            for one in sorted(path.iterdir())
            if _is_picture(one) and one.resolve() not in away and not _is_ours(one.name, ours)
        ]
        if not inside:
            raise Refusal(str(path), "no picture in this folder", "Name the captures, or the folder they are in.")
        files += inside
    return list(dict.fromkeys(files))


def _is_ours(name: str, written: set[str]) -> bool:
    """Whether a file in a folder that positives were written to is one of them, or lies beside them."""
    return name in written or (bool(written) and name.endswith((".overlay.jpg", ".dust.png")))


def _is_picture(path: Path) -> bool:
    return path.suffix.lower() in PICTURE_SUFFIXES and not path.name.startswith(".") and path.is_file()


def invert(
    paths: Sequence[Path], options: InvertOptions, out: Path, progress: Progress = lambda step: None
) -> RollInverted:
    """Captures to positives in the folder `out`; what an earlier run of the same work has written is kept.

    Parameters
    ----------
    paths : sequence of Path
        Captures of one roll, in its order (see `capture_files`).
    options : InvertOptions
        What is asked for.
    out : Path
        Folder of the positives; made if need be.
    progress : callable, optional
        Told of every capture that is measured or written.

    Raises
    ------
    Refusal
        If the flat, the profile or the infrared cannot be used or `out` cannot be written; if there is one capture and
        it cannot be used; if the disk is full.
    NotFound
        If there is no film in any capture.
    """
    _check(paths, options)
    if not options.cluster:
        warm_up(options.rendering)
    flat = read_flat(options.flat, assume=options.assume) if options.flat else None
    profile = read_profile(options.profile, options.process) if options.profile else None
    _make_folder(out)
    stop = threading.Event()
    with _workers(options) as pool:
        measured, refused = _measure_all(pool, paths, options, flat, out, stop, progress)
        if not measured:
            raise _nothing_usable(refused)
        plan = plan_roll(measured, options, out, profile)
        outcomes = _convert_all(pool, plan.jobs, options, out, stop, progress)
    written = tuple(one for one, outcome in zip(plan.results, outcomes, strict=True) if outcome is None)
    refused += [outcome for outcome in outcomes if outcome is not None]
    if not written:
        raise _nothing_usable(refused)
    return RollInverted(
        captures=written,
        refused=tuple(refused),
        balance_stops=plan.roll.balance_stops,
        exposure_stops=plan.roll.exposure_stops,
        warnings=plan.roll.warnings,
    )


def _check(paths: Sequence[Path], options: InvertOptions) -> None:
    """What can be refused before any work."""
    infrared = options.dust.infrared
    if not infrared:
        return
    refuse_silver(options.process, f"--ir {infrared}")
    if infrared == FOURTH:
        return
    if not Path(infrared).exists():
        remedy = "Name the infrared file, a folder of them, or 4 for the captures' fourth channel."
        raise Refusal(f"--ir {infrared}", "no such file", remedy)
    if len(paths) > 1 and not Path(infrared).is_dir():
        found = f"one infrared file for {len(paths)} captures"
        raise Refusal(f"--ir {infrared}", found, "Name a folder of infrared files named like the captures.")


def _nothing_usable(refused: Sequence[Refusal]) -> Refusal:
    """One refusal for a run in which no capture could be used: its own words where there is one, else all of them."""
    if len(refused) == 1:
        return refused[0]
    kind = NotFound if all(isinstance(one, NotFound) for one in refused) else Refusal
    words = "; ".join(f"{Path(one.thing).name}: {one.found}" for one in refused)
    return kind(f"{len(refused)} captures", f"none of them can be used ({words})", refused[0].remedy)


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
    out: Path,
    stop: threading.Event,
    progress: Progress,
) -> tuple[list[CaptureMeasured], list[Refusal]]:
    told = MeasureOptions(
        film_format=options.film_format,
        assume=options.assume,
        flat=flat,
        flat_name=str(options.flat or ""),
        whole=options.whole,
        overlay_folder=out if options.overlay else None,
        process=options.process,
    )
    count = 0

    def note(number: int, _: object) -> None:
        nonlocal count
        count += 1
        progress(Step("measured", count, len(paths), paths[number]))

    results = run_all(pool, functools.partial(measure_capture, options=told), paths, stop=stop, done=note)
    measured = [one for one in results if isinstance(one, CaptureMeasured)]
    return measured, [one for one in results if isinstance(one, Refusal)]


def _convert_all(
    pool: Executor,
    jobs: Sequence[CaptureJob],
    options: InvertOptions,
    out: Path,
    stop: threading.Event,
    progress: Progress,
) -> list[Refusal | None]:
    """Write what the journal does not have yet. None for each job that is done, else why it is not."""
    outcomes: list[Refusal | None] = [None] * len(jobs)
    with Journal(out) as journal:
        keys = [[job_key(job.path, job_description(job, frame)) for frame in job.frames] for job in jobs]
        left = [_undone(job, names, journal) for job, names in zip(jobs, keys, strict=True)]
        todo = [number for number, (job, _) in enumerate(left) if job.frames]
        count = len(jobs) - len(todo)

        def note(number: int, outcome: tuple[PositiveFiles, ...] | Refusal) -> None:
            nonlocal count
            if isinstance(outcome, NoRoom):
                raise outcome
            count += 1
            job, names = left[todo[number]]
            if isinstance(outcome, Refusal):
                outcomes[todo[number]] = outcome
            else:
                for name, files in zip(names, outcome, strict=True):
                    journal.add(name, files)
            progress(Step("written", count, len(jobs), job.path))

        threads = 1 if options.cluster else max(1, options.workers // max(1, len(todo)))
        convert = functools.partial(convert_capture, threads=threads, stop=None if options.cluster else stop)
        run_all(pool, convert, [left[number][0] for number in todo], stop=stop, done=note)
    return outcomes


def _undone(job: CaptureJob, names: list[str], journal: Journal) -> tuple[CaptureJob, list[str]]:
    """The job with the frames that are not yet in the journal, and their keys."""
    left = [(frame, name) for frame, name in zip(job.frames, names, strict=True) if not journal.has(name)]
    return replace(job, frames=tuple(frame for frame, _ in left)), [name for _, name in left]
