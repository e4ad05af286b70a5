"""Dust taken out of one frame of a capture: where its infrared comes from, what is mended, the mask that is kept."""

from __future__ import annotations

import contextlib
import math
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.capture import Capture, read_capture
from dryside.negatives.flat import Flat
from dryside.negatives.frame_view import FrameView, window_of
from dryside.negatives.repairs import Levels, Repairs, Through, repairs_by_infrared, repairs_by_sight

FOURTH = "4"


@dataclass(frozen=True)
class DustOptions:
    """How dust is found.

    Attributes
    ----------
    infrared : str
        '4' for the capture's fourth channel, else the path of a file of the capture's size, or of a folder with a file
        named like the capture.
    by_sight : bool
        Without infrared: small bright specks and lines along the film of the positive.
    """

    infrared: str = ""
    by_sight: bool = False

    def __bool__(self) -> bool:
        return bool(self.infrared) or self.by_sight


def frame_repairs(capture: Capture, flat: Flat, view: FrameView, options: DustOptions) -> tuple[Repairs, Window]:
    """Mended pixels of a frame, and the window of the capture that was looked at.

    Raises
    ------
    Refusal
        If the infrared is not there, has another size, or follows the picture.
    """
    window = _window(capture, view)

    def through(levels: NDArray[np.uint16], top: int, left: int) -> NDArray[np.float32]:
        light = flat.rows(top, top + levels.shape[0], left, left + levels.shape[1]) * capture.facts.levels_per_unit
        return np.asarray(np.maximum(levels, 0.5) / light, dtype=np.float32)

    if not options.infrared:
        return repairs_by_sight(window, capture.rows, through), window
    if options.infrared == FOURTH:
        return _by_fourth(capture, window, through), window
    path = _infrared_file(Path(options.infrared), capture.facts.path)
    with read_capture(path, assume="linear") as infrared:
        facts = infrared.facts
        if (facts.height, facts.width) != (capture.facts.height, capture.facts.width):
            found = (
                f"the infrared is {facts.width} x {facts.height} pixels, the capture "
                f"{capture.facts.width} x {capture.facts.height}"
            )
            raise Refusal(str(path), found, "Give the infrared picture of the same scan.")
        return repairs_by_infrared(window, capture.rows, through, infrared.rows, thing=str(path)), window


def _infrared_file(named: Path, capture: Path) -> Path:
    """The file named, or the one of the capture's name in the folder named."""
    if not named.is_dir():
        return named
    found = sorted(path for path in named.iterdir() if path.stem == capture.stem)
    if not found:
        raise Refusal(str(named), f"no infrared file named like {capture.name}", "Name it like its capture.")
    return found[0]


Window = tuple[int, int, int, int]


def _window(capture: Capture, view: FrameView) -> Window:
    """Whole pixels around a frame: top, bottom, left, right."""
    low_y, high_y, low_x, high_x = window_of(view, 0, view.rows)
    facts = capture.facts
    if view.turned:
        low_y, high_y, low_x, high_x = low_x, high_x, low_y, high_y
    return (
        max(math.floor(low_y), 0),
        min(math.ceil(high_y) + 1, facts.height),
        max(math.floor(low_x), 0),
        min(math.ceil(high_x) + 1, facts.width),
    )


def _by_fourth(capture: Capture, window: Window, through: Through) -> Repairs:
    name = str(capture.facts.path)
    if not capture.facts.has_fourth:
        raise Refusal(name, "it has no fourth channel", "Scan with infrared, or name the infrared file with --ir.")

    def infrared(top: int, bottom: int, left: int, right: int) -> NDArray[np.uint16]:
        return capture.fourth(top, bottom)[:, left:right]

    levels: Levels = capture.rows
    return repairs_by_infrared(window, levels, through, infrared, thing=f"{name}, channel 4")


def write_mask(repairs: Repairs, window: Window, path: Path) -> None:
    """The mask of a frame's window as a PNG of two tones, mended pixels white; written whole or not at all.

    Raises
    ------
    Refusal
        If it cannot be written.
    """
    from PIL import Image

    top, bottom, left, right = window
    mask = np.zeros((bottom - top, right - left), np.uint8)
    mask[repairs.rows - top, repairs.columns - left] = 255
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                Image.fromarray(mask).convert("1", dither=Image.Dither.NONE).save(file, format="PNG", optimize=False)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as error:
        raise Refusal(str(path), f"it cannot be written ({error.strerror})", "Name another place.") from error
