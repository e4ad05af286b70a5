"""What `invert` is asked for and what it answers: options, results, and the command's document."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryside.film.refusal import Refusal
from dryside.negatives.capture import Assume
from dryside.negatives.development import FrameTones
from dryside.negatives.frame_repairs import DustOptions
from dryside.negatives.rendering import Rendering
from dryside.negatives.write_positive import OutputOptions


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
        Calibration of this stock, light and camera.
    assume : {'auto', 'linear', 'srgb'}
        How files without a profile are encoded.
    whole : bool
        Each capture is one frame and nothing else.
    dust : DustOptions
        How dust is found, if at all.
    overlay : bool
        Write each capture with all that was found drawn over it.
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
    dust: DustOptions = field(default_factory=DustOptions)
    overlay: bool = False
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
    """One frame as it was found and written.

    `tones` tells of its development (not in the document); None where the capture's densities are not the film's.
    """

    index: int
    corners: tuple[tuple[float, float], ...]
    label: str | None
    label_source: str | None
    positive: Path
    base_density: tuple[float, float, float]
    warnings: tuple[str, ...]
    tones: FrameTones | None = None


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
    """All captures that could be used, and what was refused.

    Attributes
    ----------
    captures : tuple of CaptureInverted
        In the order given.
    refused : tuple of Refusal
        One for each capture that could not be used.
    balance_stops : 3 floats
        What the roll's balance takes from red, green and blue.
    exposure_stops : tuple of float
        Exposure of each frame, in order, against the roll's median.
    warnings : tuple of str
        About the roll.
    """

    captures: tuple[CaptureInverted, ...]
    refused: tuple[Refusal, ...]
    balance_stops: tuple[float, float, float] = (0.0, 0.0, 0.0)
    exposure_stops: tuple[float, ...] = ()
    warnings: tuple[str, ...] = ()


def as_document(roll: RollInverted) -> dict[str, Any]:
    """The command's JSON document; what was refused is in it only where something was."""
    document: dict[str, Any] = {"captures": [_capture_document(capture) for capture in roll.captures]}
    if roll.refused:
        document["refused"] = [refusal.as_dict() for refusal in roll.refused]
    return document


def _capture_document(capture: CaptureInverted) -> dict[str, Any]:
    frames = [
        {**{name: value for name, value in vars(frame).items() if name != "tones"}, "positive": str(frame.positive)}
        for frame in capture.frames
    ]
    return {**vars(capture), "path": str(capture.path), "frames": frames}
