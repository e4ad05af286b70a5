"""Positives to disk: a 16-bit TIFF, a JPEG and a thumbnail, whole or not at all."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.capture import LevelArray
from dryside.negatives.codecs.jpeg_file import encode_jpeg
from dryside.negatives.codecs.tiff_strips import Compression, encode_strip, write_tiff

THUMBNAIL_SIDE = 512
THUMBNAIL_QUALITY = 85
# Above this a JPEG beside the TIFF is reduced by a whole number: it is for looking, and is encoded from memory.
MOST_JPEG_PIXELS = 120_000_000


class NoRoom(Refusal):
    """The disk is full: nothing more can be written, whatever comes next."""


@dataclass(frozen=True)
class OutputOptions:
    """What is written of a positive.

    Attributes
    ----------
    compression : {'deflate', 'zstd', 'none'}
        Of the TIFF.
    jpeg, thumbnail : bool
        Whether these are written beside it.
    jpeg_quality : int
        1 to 100.
    longest : int
        Long side in pixels that larger positives are reduced to; 0 keeps their size.
    """

    compression: Compression = "deflate"
    jpeg: bool = True
    thumbnail: bool = True
    jpeg_quality: int = 95
    longest: int = 0


@dataclass(frozen=True)
class PositiveLabels:
    """What the files say of themselves.

    Attributes
    ----------
    profile : bytes
        ICC profile of the samples.
    xmp : bytes
        XMP packet: when it was captured, and the way it was made.
    software : str
        Name and version of this program.
    resolution_ppi : float or None
        Pixels to an inch of film.
    """

    profile: bytes
    xmp: bytes
    software: str
    resolution_ppi: float | None = None


@dataclass(frozen=True)
class PositiveFiles:
    """Where the files are; None for what was not asked for."""

    tiff: Path
    jpeg: Path | None
    thumbnail: Path | None


def write_positive(
    bands: Iterable[LevelArray],
    *,
    size: tuple[int, int],
    stem: Path,
    options: OutputOptions,
    labels: PositiveLabels,
) -> PositiveFiles:
    """Write `stem`.tif, `stem`.jpg and `stem`.thumb.jpg from bands of rows.

    Parameters
    ----------
    bands : iterable of ndarray of shape (rows, columns, 3), uint16
        Each of `tiff_strips.ROWS_PER_STRIP` rows but the last; overwritten.
    size : (rows, columns)
        Of the whole.
    stem : Path
        Folder and name without suffix.
    options, labels
        What is written, and what the files say of themselves.

    Raises
    ------
    Refusal
        If the disk is full or cannot be written; then nothing half-written is left.
    """
    tiff = stem.with_name(stem.name + ".tif")
    jpeg = stem.with_name(stem.name + ".jpg") if options.jpeg else None
    thumbnail = stem.with_name(stem.name + ".thumb.jpg") if options.thumbnail else None
    eight = EightBit(size) if jpeg or thumbnail else None
    with whole_file(tiff) as part:
        write_tiff(
            part,
            _strips(bands, eight, options.compression),
            shape=size,
            compression=options.compression,
            profile=labels.profile,
            xmp=labels.xmp,
            software=labels.software,
            resolution_ppi=labels.resolution_ppi,
        )
        if eight is not None:
            _write_small(eight, jpeg, thumbnail, options, labels)
    return PositiveFiles(tiff, jpeg, thumbnail)


def _strips(bands: Iterable[LevelArray], eight: EightBit | None, compression: Compression) -> Iterator[bytes]:
    for band in bands:
        if eight is not None:
            eight.add(band)
        yield encode_strip(band, compression)


def _write_small(
    eight: EightBit, jpeg: Path | None, thumbnail: Path | None, options: OutputOptions, labels: PositiveLabels
) -> None:
    if jpeg is not None:
        with whole_file(jpeg) as part:
            _write_parts(part, encode_jpeg(eight.picture, options.jpeg_quality, labels.profile, labels.xmp))
    if thumbnail is not None:
        with whole_file(thumbnail) as part:
            _write_parts(part, encode_jpeg(eight.thumbnail(), THUMBNAIL_QUALITY, labels.profile, b""))


def _write_parts(path: Path, parts: Iterable[bytes | memoryview]) -> None:
    with path.open("wb") as file:
        file.writelines(parts)


class EightBit:
    """The 8-bit picture that JPEG and thumbnail are made of, filled band by band."""

    def __init__(self, size: tuple[int, int]) -> None:
        rows, columns = size
        self._factor = 1
        while (rows // self._factor) * (columns // self._factor) > MOST_JPEG_PIXELS:
            self._factor *= 2  # divides ROWS_PER_STRIP, so that bands end where squares of pixels do
        self.picture: NDArray[np.uint8] = np.empty(
            (max(1, rows // self._factor), max(1, columns // self._factor), 3), np.uint8
        )
        self._filled = 0

    def add(self, band: LevelArray) -> None:
        """Take in the next rows."""
        import cv2

        f = self._factor
        if f > 1:
            rows, columns = len(band) // f, band.shape[1] // f
            if not rows:
                return
            band = np.asarray(
                cv2.resize(band[: rows * f, : columns * f], (columns, rows), interpolation=cv2.INTER_AREA), np.uint16
            )
        place = self.picture[self._filled : self._filled + len(band)]
        cv2.convertScaleAbs(band, dst=place, alpha=1 / 257)
        self._filled += len(band)

    def thumbnail(self) -> NDArray[np.uint8]:
        """The picture at most `THUMBNAIL_SIDE` pixels long: by whole squares first, then to size."""
        rows, columns = self.picture.shape[:2]
        longest = max(rows, columns)
        if longest <= THUMBNAIL_SIDE:
            return self.picture
        size = (max(1, columns * THUMBNAIL_SIDE // longest), max(1, rows * THUMBNAIL_SIDE // longest))
        whole = max(1, longest // (2 * THUMBNAIL_SIDE))
        small = self.picture[: rows // whole * whole, : columns // whole * whole]
        if whole > 1:
            small = _averaged(small, (columns // whole, rows // whole))
        return _averaged(small, size)


def _averaged(picture: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    import cv2

    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary file beside `path` that takes its place when the block ends well, and vanishes when it does not.

    Raises
    ------
    Refusal
        If the disk is full or the folder cannot be written.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        yield part
        _to_disk(part)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise _refused(path, error) from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _refused(path: Path, error: OSError) -> Refusal:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        found = f"no room left to write it ({error.strerror}); nothing half-written was left"
        return NoRoom(str(path), found, "Free some space and run the same command again: it goes on where it stopped.")
    return Refusal(str(path), f"cannot be written ({error.strerror})", "Name another folder with --out.")
