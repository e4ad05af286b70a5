"""An index print of a roll: all its frames on one 4R, as PDF for a printer at home and as JPEG for a lab."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.frame_pictures import pictures_of_frames, small_jpeg
from dryside.book.frames import list_frames
from dryside.book.rolls import title_of
from dryside.film.formats import FORMATS, film_format
from dryside.film.printsizes import PrintSize
from dryside.film.refusal import NotFound, Refusal
from dryside.paper.index_print import IndexFrame, IndexPrint, index_grid, index_print, index_print_png

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book
    from dryside.book.rolls import RollRow

PPI = 300


@dataclass(frozen=True)
class IndexMade:
    """The index print as PDF and JPEG, and the frames that no picture shows."""

    pdf: bytes
    jpeg: bytes
    without: tuple[str, ...]


def index_of_roll(
    book: Book, conn: Connection, roll: RollRow, size: PrintSize, *, made_on: date, line: str = ""
) -> IndexMade:
    """Gather a roll's pictures and set the print.

    Raises
    ------
    NotFound
        If the roll has no frames, or none of them has a picture.
    """
    frames = list_frames(conn, roll.id)
    pictures = pictures_of_frames(conn, book, [frame.id for frame in frames])
    if not frames or not pictures:
        found = "no frames are logged" if not frames else "none of its frames has a picture yet"
        raise NotFound(f"roll {roll.code}", found, "Receive its scans, or invert its captures, first.")
    film = film_format(roll.format) if roll.format in FORMATS else film_format("135")
    aspect = film.along_mm / film.across_mm
    grid = index_grid(len(frames), aspect, size.long_mm, size.short_mm)
    longest = max(64, round(max(grid.width_mm, grid.height_mm) / 25.4 * PPI))
    images = _small(
        {f"frames/{frame.id}.jpg": pictures[frame.id].path for frame in frames if frame.id in pictures}, longest
    )
    index = IndexPrint(
        title=f"{roll.code}  {title_of(conn, roll)}".strip(),
        line=line,
        width_mm=size.long_mm,
        height_mm=size.short_mm,
        aspect=aspect,
        frames=tuple(
            IndexFrame(
                frame.label,
                name if (name := f"frames/{frame.id}.jpg") in images else None,
                "blank" if frame.blank else "",
            )
            for frame in frames
        ),
        made_on=made_on,
    )
    without = tuple(frame.label for frame in frames if f"frames/{frame.id}.jpg" not in images and not frame.blank)
    return IndexMade(index_print(index, images), _as_jpeg(index_print_png(index, images, ppi=PPI)), without)


def _small(paths: dict[str, Path], longest: int) -> dict[str, bytes]:
    def one(path: Path) -> bytes | None:
        try:
            return small_jpeg(path, longest)
        except Refusal:
            return None

    with ThreadPoolExecutor(2) as pool:
        made = zip(paths, pool.map(one, paths.values()), strict=True)
        return {name: data for name, data in made if data is not None}


def _as_jpeg(png: bytes) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    with Image.open(io.BytesIO(png)) as page:
        page.convert("RGB").save(out, "JPEG", quality=93, subsampling=0, dpi=(PPI, PPI))
    return out.getvalue()
