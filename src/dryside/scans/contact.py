"""A roll's contact sheet: which picture stands for which frame, in the strips' order, read at the size of the page."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.film.formats import film_format
from dryside.paper.contact_sheet import ContactFrame, ContactSheet, cell_size, contact_sheet, contact_sheet_png
from dryside.scans.picture_files import small_srgb

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SHEET_PPI = 300  # of the pictures on the page: what a good office printer shows
JPEG_PPI = 200
FRAMES_PER_STRIP = {
    "135": 6,
    "half": 12,
    "panoramic": 3,
    "120-6x4.5": 4,
    "120-6x6": 3,
    "120-6x7": 3,
    "120-6x8": 2,
    "120-6x9": 2,
    "120-6x12": 1,
    "120-6x17": 1,
    "120-6x24": 1,
    "4x5": 2,
}
"""How many frames a strip has where the roll is not cut yet: common practice, as sleeve pages are sold."""


@dataclass(frozen=True)
class FramePicture:
    """A frame of the roll and the file that shows it (None: not there, and `note` says why).

    `half` is `left` or `right` where the file shows two half frames side by side (upper and lower in an upright one).
    """

    label: str
    caption: str = ""
    path: Path | None = None
    note: str = ""
    half: str = ""


@dataclass(frozen=True)
class MadeSheet:
    """A contact sheet as files: PDF/A-2b and JPEG."""

    pdf: bytes
    jpeg: bytes


def strips_of(count: int, key: str) -> list[int]:
    """Lengths of the strips of a roll that is not cut yet, in frames."""
    each = FRAMES_PER_STRIP.get(key, 6)
    return [min(each, count - start) for start in range(0, count, each)]


def make_contact_sheet(
    frames: Sequence[FramePicture],
    *,
    title: str,
    line: str,
    format_key: str,
    strip_lengths: Sequence[int] | None = None,
    page: str = "a4",
    made_on: str | None = None,
    with_jpeg: bool = True,
) -> MadeSheet:
    """Read the pictures at the size they are printed and set the page.

    Parameters
    ----------
    frames : sequence of FramePicture
        In order along the film.
    title, line : str
        The two lines at the head.
    format_key : str
        A key of `film.formats.FORMATS`.
    strip_lengths : sequence of int, optional
        Frames on each strip; what is over goes on strips of the usual length.
    page : str, optional
        `a4` or `letter`.
    made_on : str, optional
        Day written into the file, ISO 8601.
    with_jpeg : bool, optional
        Whether to make the JPEG too.
    """
    film = film_format(format_key)
    lengths = list(strip_lengths or ())
    lengths += strips_of(len(frames) - sum(lengths), format_key)
    aspect = film.along_mm / film.across_mm
    cell = cell_size(columns=max(lengths, default=1), rows=max(len(lengths), 1), aspect=aspect, page=page)
    longest = round(max(cell.width_mm, cell.height_mm) / 25.4 * SHEET_PPI)
    images = _pictures(frames, longest)
    sheet = ContactSheet(
        title=title,
        line=line,
        strips=_rows(frames, lengths, images),
        aspect=aspect,
        film_long_mm=film.along_mm,
        page=page,
        made_on=made_on,
    )
    pdf = contact_sheet(sheet, images)
    jpeg = _as_jpeg(contact_sheet_png(sheet, images, ppi=JPEG_PPI)) if with_jpeg else b""
    return MadeSheet(pdf, jpeg)


def _rows(
    frames: Sequence[FramePicture], lengths: Sequence[int], images: Mapping[str, bytes]
) -> list[list[ContactFrame]]:
    rows, start = [], 0
    for length in lengths:
        row = []
        for place, frame in enumerate(frames[start : start + length], start):
            name = _image_name(place)
            row.append(ContactFrame(frame.label, frame.caption, name if name in images else None, frame.note))
        rows.append(row)
        start += length
    return rows


def _image_name(place: int) -> str:
    return f"frames/{place:03}.jpg"


def _pictures(frames: Sequence[FramePicture], longest: int) -> dict[str, bytes]:
    with ThreadPoolExecutor(2) as pool:
        made = pool.map(lambda frame: _small_jpeg(frame.path, longest, frame.half) if frame.path else None, frames)
        return {_image_name(place): data for place, data in enumerate(made) if data is not None}


def _small_jpeg(path: Path, longest: int, half: str) -> bytes:
    import numpy as np
    import simplejpeg

    whole = small_srgb(path, 2 * longest if half else longest)
    small = np.ascontiguousarray(_half_of(whole, half) if half else whole)
    return simplejpeg.encode_jpeg(small, quality=90, colorsubsampling="444")


def _half_of(picture: NDArray[np.uint8], half: str) -> NDArray[np.uint8]:
    """One of two frames that lie side by side along the longer side."""
    rows, columns = picture.shape[:2]
    first = half == "left"
    if columns >= rows:
        return picture[:, : columns // 2] if first else picture[:, columns - columns // 2 :]
    return picture[: rows // 2] if first else picture[rows - rows // 2 :]


def _as_jpeg(png: bytes) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    with Image.open(io.BytesIO(png)) as page:
        page.convert("RGB").save(out, "JPEG", quality=90, dpi=(JPEG_PPI, JPEG_PPI))
    return out.getvalue()
