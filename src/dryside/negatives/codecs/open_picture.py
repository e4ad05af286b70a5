"""Open a picture file of any kind that captures come in, told apart by its first bytes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.codecs.tiff_strips import COLOUR_FILTERS, TiffRows

RAW_SUFFIXES = frozenset(
    f".{name}"
    for name in (
        *("3fr", "arw", "cr2", "cr3", "crw", "dcr", "dng", "erf", "fff", "iiq", "k25", "kdc", "mef", "mos", "mrw"),
        *("nef", "nrw", "orf", "pef", "raf", "raw", "rw2", "rwl", "sr2", "srf", "srw", "x3f"),
    )
)
PICTURE_SUFFIXES = RAW_SUFFIXES | {".tif", ".tiff", ".jpg", ".jpeg", ".png", ".heic", ".heif", ".avif"}
# A stitched panorama of a whole 120 strip stays well below; a file that claims more is broken or means harm.
MOST_PIXELS = 1_200_000_000
# Formats that can only be decoded whole are held to what fits in memory as 8 or 16 bits.
MOST_PIXELS_WHOLE = 600_000_000
LEAST_SIDE = 16
KEEP_ROWS = 1024
TIFF_MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

Rows = Callable[[int, int], NDArray[Any]]


@dataclass(frozen=True, eq=False)
class OpenedPicture:
    """Upright rows of a picture file, samples as stored.

    Attributes
    ----------
    path : Path
        The file.
    kind : str
        'TIFF', 'JPEG', 'PNG', 'HEIF' or 'raw'.
    height, width, channels : int
        Upright size.
    dtype : numpy.dtype
        Of the samples.
    rows : callable
        `rows(start, stop)`: shape (stop - start, width, channels).
    close : callable
        Lets go of file and memory.
    linear : bool
        True where samples are linear light whatever a profile says (camera raw).
    profile : bytes or None
        ICC profile.
    camera_matrix : rows of floats or None
        CIE XYZ to camera colours.
    taken : str
        Exif date and time.
    shareable : bool
        Whether several threads may ask for rows at once.
    """

    path: Path
    kind: str
    height: int
    width: int
    channels: int
    dtype: np.dtype[Any]
    rows: Rows = field(repr=False)
    close: Callable[[], None] = field(repr=False, default=lambda: None)
    linear: bool = False
    profile: bytes | None = field(repr=False, default=None)
    camera_matrix: tuple[tuple[float, ...], ...] | None = None
    taken: str = ""
    shareable: bool = False


def open_picture(path: Path) -> OpenedPicture:
    """Open `path`; the caller closes it.

    Raises
    ------
    Refusal
        If there is no such file, it is empty, of no known kind, damaged, too small or impossibly large.
    """
    head = _head(path)
    try:
        opened = _opener(path, head)(path)
    except (MemoryError, RecursionError) as error:
        raise Refusal(str(path), "too large for this machine's memory") from error
    if min(opened.height, opened.width) < LEAST_SIDE:
        opened.close()
        found = f"{opened.width} x {opened.height} pixels; no film can be seen in that"
        raise Refusal(str(path), found, "Name a capture of the film.")
    return opened


def _head(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise Refusal(str(path), "a folder, where a picture is needed")
        with path.open("rb") as file:
            head = file.read(32)
    except FileNotFoundError as error:
        raise Refusal(str(path), "no such file") from error
    except OSError as error:
        raise Refusal(str(path), f"cannot be read ({error.strerror})") from error
    if not head:
        raise Refusal(str(path), "empty: 0 bytes", "Copy it again from the camera or the card.")
    return head


def _opener(path: Path, head: bytes) -> Callable[[Path], OpenedPicture]:
    """What opens a file that begins with `head`."""
    if path.suffix.lower() in RAW_SUFFIXES:
        return _open_raw
    if head.startswith(TIFF_MAGIC):
        return _open_tiff
    if head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")):
        return _open_whole
    if head[4:8] == b"ftyp" and head[8:12] in (b"heic", b"heix", b"hevc", b"hevx", b"mif1", b"msf1", b"avif"):
        return _open_whole
    remedy = "Camera raw, TIFF, JPEG, PNG and HEIF are read."
    raise Refusal(str(path), "not a picture of a kind that is read here", remedy)


def check_size(path: Path, height: int, width: int, *, most: int = MOST_PIXELS) -> None:
    """Refuse a picture whose header claims more than `most` pixels, before anything is decoded."""
    if height * width > most:
        found = f"claims {width:,} x {height:,} pixels, more than the {most // 1_000_000} million that are taken"
        raise Refusal(str(path), found, "Save it as a smaller picture, or in parts.")


def _open_tiff(path: Path) -> OpenedPicture:
    tiff = TiffRows(path)
    try:
        check_size(path, tiff.height, tiff.width)
        if tiff.photometric == COLOUR_FILTERS:
            tiff.close()
            return _open_raw(path)
        rows, height, width = upright_rows(tiff.rows, tiff.height, tiff.width, tiff.orientation)
    except BaseException:
        tiff.close()
        raise
    return OpenedPicture(
        path=path,
        kind="TIFF",
        height=height,
        width=width,
        channels=tiff.channels,
        dtype=tiff.dtype,
        rows=rows,
        close=tiff.close,
        profile=tiff.profile,
        taken=tiff.date_time,
        shareable=tiff.shareable or tiff.orientation > 4,
    )


def keep(picture: OpenedPicture, threads: int) -> OpenedPicture:
    """The same picture decoded whole and held in memory."""
    samples = np.empty((picture.height, picture.width, picture.channels), picture.dtype)
    for start in range(0, picture.height, KEEP_ROWS):
        stop = min(start + KEEP_ROWS, picture.height)
        samples[start:stop] = picture.rows(start, stop)
    return replace(picture, rows=lambda start, stop: samples[start:stop], shareable=True)


def upright_rows(rows: Rows, height: int, width: int, orientation: int) -> tuple[Rows, int, int]:
    """Rows as Exif orientation (1 to 8) wants them seen, and the upright height and width.

    A quarter turn needs the whole picture; the rest is done row by row.
    """
    if orientation in (5, 6, 7, 8):
        turned = turn_upright(rows(0, height), orientation)
        return (lambda start, stop: turned[start:stop]), width, height
    if orientation == 2:
        return (lambda start, stop: rows(start, stop)[:, ::-1]), height, width
    if orientation == 3:
        return (lambda start, stop: rows(height - stop, height - start)[::-1, ::-1]), height, width
    if orientation == 4:
        return (lambda start, stop: rows(height - stop, height - start)[::-1]), height, width
    return rows, height, width


def turn_upright(picture: NDArray[Any], orientation: int) -> NDArray[Any]:
    """A whole picture of shape (rows, columns, ...) turned as Exif orientation wants it seen."""
    if orientation in (5, 6, 7, 8):
        picture = picture.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        picture = picture[::-1]
    if orientation in (2, 3, 6, 7):
        picture = picture[:, ::-1]
    return np.ascontiguousarray(picture)


def _held(path: Path, kind: str, picture: NDArray[Any], **more: Any) -> OpenedPicture:
    """A picture that was decoded whole."""
    if picture.ndim == 2:
        picture = picture[..., None]
    place = [picture]

    def rows(start: int, stop: int) -> NDArray[Any]:
        return place[0][start:stop]

    height, width, channels = picture.shape
    return OpenedPicture(path, kind, height, width, channels, picture.dtype, rows, place.clear, shareable=True, **more)


def _open_whole(path: Path) -> OpenedPicture:
    """JPEG, PNG and HEIF: header by Pillow, samples by the codec that keeps all their bits."""
    from dryside.negatives.codecs.whole_pictures import decode_whole

    whole = decode_whole(path, lambda height, width: check_size(path, height, width, most=MOST_PIXELS_WHOLE))
    picture = turn_upright(whole.picture, whole.orientation) if whole.orientation != 1 else whole.picture
    return _held(path, whole.kind, picture, profile=whole.profile, taken=whole.taken)


def _open_raw(path: Path) -> OpenedPicture:
    """Camera raw."""
    from dryside.negatives.codecs.camera_raw import decode_raw

    raw = decode_raw(path, lambda height, width: check_size(path, height, width, most=MOST_PIXELS_WHOLE))
    return _held(path, "raw", raw.picture, linear=True, camera_matrix=raw.camera_matrix, taken=raw.taken)
