"""A capture of film, of whatever format, as rows of linear light.

Whatever the file holds, what comes out are 16-bit samples proportional to light: a profile's curves are undone, sRGB is
undone where a file is taken as sRGB, and Exif orientation is applied. No whole picture in floats ever stands in memory;
formats that can be read in pieces are.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.codecs.open_picture import OpenedPicture, keep, open_picture
from dryside.negatives.linear_light import Encoding, Linearise, choose_encoding, lineariser
from dryside.negatives.types import Band, LightArray

LevelArray = NDArray[np.uint16]
Assume = Literal["auto", "linear", "srgb"]
FULL_LEVEL = 65535
BAND_ROWS = 256

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class CaptureFacts:
    """What a capture's file says of itself.

    Attributes
    ----------
    path : Path
        The file.
    kind : str
        'TIFF', 'JPEG', 'PNG', 'HEIF' or 'raw'.
    height, width : int
        Upright size in pixels.
    bits : int
        Of a sample, as stored.
    colours : int
        1 for a grey capture, else 3.
    has_fourth : bool
        Whether there is a fourth channel (infrared, of scanners that write one).
    encoding : {'linear', 'srgb', 'profile'}
        What was undone to come to linear light.
    levels_per_unit : float
        Factor from the file's linear light to 16-bit levels; above all for floats, whose full scale is not fixed.
    camera_matrix : tuple of 3 rows of 3 floats, or None
        From CIE XYZ (D65) to camera colours, as the raw file or its reader's table gives it.
    taken : str
        Date and time of the capture as Exif writes it, '' where none is told.
    """

    path: Path
    kind: str
    height: int
    width: int
    bits: int
    colours: int
    has_fourth: bool
    encoding: Encoding
    levels_per_unit: float
    camera_matrix: tuple[tuple[float, ...], ...] | None = None
    taken: str = ""


@dataclass(frozen=True, eq=False)
class Capture:
    """An open capture: facts, and rows of linear light on request. Used by one thread at a time; close it after use."""

    facts: CaptureFacts
    _picture: OpenedPicture = field(repr=False)
    _linear: Linearise = field(repr=False)

    def __enter__(self) -> Capture:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file and let go of its memory."""
        self._picture.close()

    def rows(self, start: int, stop: int, left: int = 0, right: int | None = None) -> LevelArray:
        """Linear light of whole or partial rows.

        Parameters
        ----------
        start, stop : int
            Rows, `stop` not included.
        left, right : int, optional
            Columns, `right` not included; all of them by default.

        Returns
        -------
        ndarray of shape (stop - start, right - left, 3), uint16, C-contiguous
            Light, 65,535 at the file's full scale. Grey captures have three equal channels.
        """
        stored = self._picture.rows(start, stop)[:, left:right]
        colours = stored[..., :3] if self.facts.colours == 3 else stored[..., :1]
        linear = self._linear(colours)
        if self.facts.colours == 1:
            return np.repeat(linear, 3, axis=2)
        return np.ascontiguousarray(linear)

    @property
    def shareable(self) -> bool:
        """Whether several threads may ask for rows at once."""
        return self._picture.shareable

    def kept(self, threads: int = 1) -> Capture:
        """The same capture with all samples in memory, decoded once; itself where they already are or need no decoding.

        What is in memory is as stored (6 bytes a pixel for 16-bit RGB), and is let go with the returned capture.
        """
        if self._picture.shareable:
            return self
        return replace(self, _picture=keep(self._picture, threads))

    def fourth(self, start: int, stop: int) -> LevelArray:
        """Rows of the fourth channel, shape (stop - start, width), uint16; the caller has checked `has_fourth`."""
        stored = self._picture.rows(start, stop)[..., -1]
        if stored.dtype == np.uint8:
            return np.multiply(stored, 257, dtype=np.uint16)
        return np.asarray(self._linear(stored[..., None]) if stored.dtype.kind == "f" else stored, np.uint16).reshape(
            stored.shape
        )

    def band(self) -> Band:
        """Windows of linear light in floats, in the file's unit: what the finders of strips and codes ask for."""
        per_level = np.float32(1 / self.facts.levels_per_unit)

        def window(y0: int, y1: int, x0: int, x1: int) -> LightArray:
            light = self.rows(y0, y1, x0, x1).astype(np.float32)
            light *= per_level
            return light

        return window


def read_capture(path: Path, *, assume: Assume = "auto") -> Capture:
    """Open a capture.

    Parameters
    ----------
    path : Path
        Camera raw, TIFF, JPEG, PNG, HEIF.
    assume : {'auto', 'linear', 'srgb'}, optional
        How a file without a profile is encoded. By default 16 bits and floats are linear light, 8 bits are sRGB; camera
        raw is linear in any case.

    Returns
    -------
    Capture
        Open; close it after use.

    Raises
    ------
    Refusal
        If the file is none of these, is cut short or damaged, or has a size that nobody's capture has.
    """
    picture = open_picture(path)
    try:
        encoding, curves = choose_encoding(picture, assume)
        scale = _levels_per_unit(picture)
        linear = lineariser(picture.dtype, encoding, curves, scale)
    except BaseException:
        picture.close()
        raise
    facts = CaptureFacts(
        path=path,
        kind=picture.kind,
        height=picture.height,
        width=picture.width,
        bits=picture.dtype.itemsize * 8,
        colours=3 if picture.channels >= 3 else 1,
        has_fourth=picture.channels in (2, 4),
        encoding=encoding,
        levels_per_unit=scale,
        camera_matrix=picture.camera_matrix,
        taken=picture.taken,
    )
    logger.info("%s: %s, %d x %d, %s", path, facts.kind, facts.width, facts.height, facts.encoding)
    return Capture(facts, picture, linear)


def bands(height: int, rows: int = BAND_ROWS) -> Iterator[tuple[int, int]]:
    """(start, stop) of consecutive bands that cover `height` rows."""
    for start in range(0, height, rows):
        yield start, min(height, start + rows)


def reduce_capture(capture: Capture, factor: int, *, rows_of_each: int = 0) -> LightArray:
    """The capture reduced by an integer factor: the mean of each square of pixels.

    Parameters
    ----------
    capture : Capture
        Open.
    factor : int
        At least 1. Rows and columns left over at the right and the bottom are averaged over what is there.

    rows_of_each : int, optional
        Read so many rows of each square only, its uppermost; 0 reads all.

    Returns
    -------
    ndarray of shape (ceil(height / factor), ceil(width / factor), 3), float32
        Linear light in the file's unit: in [0, 1], but for floats that run higher.
    """
    size = capture.facts.height, capture.facts.width
    if 0 < rows_of_each < factor:
        light = np.concatenate(
            [
                _reduce(_part_of(capture.rows, top), (min(rows_of_each, size[0] - top), size[1]), factor)
                for top in range(0, size[0], factor)
            ]
        )
    else:
        light = _reduce(capture.rows, size, factor)
    light *= np.float32(1 / capture.facts.levels_per_unit)
    return light


def _part_of(rows: Callable[[int, int], LevelArray], top: int) -> Callable[[int, int], LevelArray]:
    return lambda start, stop: rows(top + start, top + stop)


def _reduce(rows: Callable[[int, int], LevelArray], size: tuple[int, int], factor: int) -> LightArray:
    import cv2

    height, width = size
    out = np.empty((-(-height // factor), -(-width // factor), 3), np.float32)
    step = max(1, BAND_ROWS // factor) * factor
    whole = width // factor * factor
    for start, stop in bands(height, step):
        levels = rows(start, stop)
        top = start // factor
        full = (stop - start) // factor
        if full and whole:
            part = cv2.resize(levels[: full * factor, :whole], (whole // factor, full), interpolation=cv2.INTER_AREA)
            out[top : top + full, : whole // factor] = part
        if whole < width and full:
            edge = levels[: full * factor, whole:].reshape(full, factor, width - whole, 3)
            out[top : top + full, -1] = edge.mean(axis=(1, 2))
        if full * factor < stop - start:
            out[-1] = _last_row(levels[full * factor :], factor, out.shape[1])
    return out


def _last_row(levels: LevelArray, factor: int, columns: int) -> LightArray:
    """Means of the rows left over at the bottom."""
    mean = levels.mean(axis=0, dtype=np.float32)
    starts = np.arange(columns) * factor
    counts = np.diff(np.append(starts, len(mean)))
    return np.asarray(np.add.reduceat(mean, starts, axis=0) / counts[:, None], np.float32)


def _levels_per_unit(picture: OpenedPicture) -> float:
    """65,535 levels for light of 1; floats that run higher are measured first."""
    if picture.dtype.kind != "f":
        return float(FULL_LEVEL)
    top = 0.0
    for start, stop in bands(picture.height):
        top = max(top, float(np.nanmax(picture.rows(start, stop)[..., :3], initial=0.0)))
    if not np.isfinite(top) or top <= 1.0:
        return float(FULL_LEVEL)
    # Floats above 1 are either light over full scale or plain 16-bit numbers.
    return 1.0 if FULL_LEVEL / 4 < top <= FULL_LEVEL else FULL_LEVEL / top
