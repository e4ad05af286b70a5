"""One capture's frames to files: the part of the work that is done per capture, on any thread or machine."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryside.negatives.capture import Assume, Capture, LevelArray, read_capture
from dryside.negatives.flat import Flat
from dryside.negatives.frame_repairs import DustOptions, frame_repairs, write_mask
from dryside.negatives.frame_view import frame_view
from dryside.negatives.positive_bands import positive_bands
from dryside.negatives.recipe import Recipe
from dryside.negatives.reduce_bands import reduce_bands, reduced_size
from dryside.negatives.repairs import NOTHING
from dryside.negatives.types import FloatArray
from dryside.negatives.write_positive import OutputOptions, PositiveFiles, PositiveLabels, write_positive

# A capture of several frames is decoded once and kept, unless it is larger than this.
MOST_KEPT_PIXELS = 200_000_000


class Stopped(Exception):
    """The work was asked to stop; what was begun is undone."""


@dataclass(frozen=True, eq=False)
class FrameJob:
    """A frame to be written.

    Attributes
    ----------
    corners : ndarray of shape (4, 2)
        Top-left, top-right, bottom-right, bottom-left, capture pixels.
    recipe : Recipe
        Its numbers.
    stem : Path
        Where to, without suffix.
    labels : PositiveLabels
        What the files say of themselves.
    """

    corners: FloatArray
    recipe: Recipe
    stem: Path
    labels: PositiveLabels


@dataclass(frozen=True, eq=False)
class CaptureJob:
    """Frames of one capture to be written.

    Attributes
    ----------
    path : Path
        The capture.
    assume : {'auto', 'linear', 'srgb'}
        How it is encoded where it has no profile.
    flat : Flat
        Bare light.
    frames : tuple of FrameJob
        What to write.
    output : OutputOptions
        In which form.
    dust : DustOptions
        How dust is found, if at all.
    """

    path: Path
    assume: Assume
    flat: Flat
    frames: tuple[FrameJob, ...]
    output: OutputOptions
    dust: DustOptions = field(default_factory=DustOptions)


def convert_capture(
    job: CaptureJob, *, threads: int = 1, stop: threading.Event | None = None
) -> tuple[PositiveFiles, ...]:
    """Write all frames of a job.

    Parameters
    ----------
    job : CaptureJob
        What to do.
    threads : int, optional
        Frames worked on at once.
    stop : threading.Event, optional
        Once set, the work ends soon, with `Stopped`, and leaves nothing half-written.

    Raises
    ------
    Refusal
        If the capture cannot be read or a file cannot be written.
    Stopped
        If `stop` was set.
    """
    with read_capture(job.path, assume=job.assume) as opened:
        small = opened.facts.height * opened.facts.width <= MOST_KEPT_PIXELS
        capture = opened.kept(threads) if len(job.frames) > 1 and small else opened
        workers = min(threads, len(job.frames)) if capture.shareable else 1
        if workers <= 1:
            return tuple(_convert_frame(capture, job, frame, stop) for frame in job.frames)
        with ThreadPoolExecutor(workers) as pool:
            return tuple(pool.map(lambda frame: _convert_frame(capture, job, frame, stop), job.frames))


def _convert_frame(capture: Capture, job: CaptureJob, frame: FrameJob, stop: threading.Event | None) -> PositiveFiles:
    view = frame_view(frame.corners)
    repairs = NOTHING
    if job.dust:
        repairs, window = frame_repairs(capture, job.flat, view, job.dust)
        write_mask(repairs, window, frame.stem.with_name(f"{frame.stem.name}.dust.png"))
    bands = _until(positive_bands(capture, job.flat, frame.recipe, view, repairs), stop)
    full = (view.rows, view.columns)
    size = reduced_size(full, job.output.longest)
    return write_positive(
        bands if size == full else reduce_bands(bands, full, size),
        size=size,
        stem=frame.stem,
        options=job.output,
        labels=frame.labels,
    )


def _until(bands: Iterator[LevelArray], stop: threading.Event | None) -> Iterator[LevelArray]:
    """The bands, ended by `Stopped` once `stop` is set."""
    for band in bands:
        if stop is not None and stop.is_set():
            raise Stopped
        yield band


def job_description(job: CaptureJob, frame: FrameJob) -> Mapping[str, Any]:
    """All that the bytes of a frame's files depend on, besides the capture itself."""
    return {
        "named": frame.stem.name,
        "assume": job.assume,
        "light": [job.flat.source, job.flat.cell, job.flat.digest],
        "corners": frame.corners.tolist(),
        "recipe": frame.recipe.as_dict(),
        "output": vars(job.output),
        "dust": vars(job.dust),
        "software": frame.labels.software,
        "xmp": frame.labels.xmp.decode(),
    }
