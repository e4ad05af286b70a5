"""The loose strip and the book: read the capture, gather what the book knows, and start a roll where none fits."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.frame_pictures import pictures_of_frames, small_rgb8
from dryside.book.frames import add_frames
from dryside.book.journey import RollState
from dryside.book.rolls import RollRow, add_roll
from dryside.book.schema import frames, rolls, stocks
from dryside.film.frame_labels import label_at, normalise_label, parse_label
from dryside.film.refusal import Refusal
from dryside.sleeves.glance import Glance, GlanceCache, glance_at
from dryside.sleeves.loose import BookFrame, BookRoll, LooseFrame, LooseStrip

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from dryside.book.folder import Book

GLANCES = "glances.npz"
"""Kept beside the book's database; can be thrown away."""
_SEEN_PX = 720
_GLANCE_PX = 160


@dataclass(frozen=True)
class Shelf:
    """What the book knows that a strip can be held against."""

    rolls: list[BookRoll]
    frames: list[BookFrame]


def read_loose_strip(path: Path, *, process: str, format: str, flat: Path | None = None) -> LooseStrip:
    """Find and invert the frames of one capture of one strip.

    Raises
    ------
    Refusal
        If the file cannot be used, or there is no film in it.
    """
    from dryside.negatives.invert import InvertOptions, invert
    from dryside.negatives.measure import MeasureOptions, measure_capture
    from dryside.negatives.rendering import PRINT
    from dryside.negatives.write_positive import OutputOptions

    measured = measure_capture(path, MeasureOptions(film_format=format, process=process))
    number = next((strip.stock_number for strip in measured.film.strips if strip.stock_number), None)
    output = OutputOptions(compression="none", jpeg=False, thumbnail=False)
    options = InvertOptions(process, format, PRINT, flat=flat, output=output)
    with tempfile.TemporaryDirectory(prefix="dryside-loose-") as folder:
        made = invert([path], options, Path(folder))
        found = tuple(
            LooseFrame(frame.label, small_rgb8(frame.positive, _SEEN_PX)) for frame in made.captures[0].frames
        )
    return LooseStrip(found, number)


def gather(book: Book, conn: Connection, step: Callable[[], None] = lambda: None) -> Shelf:
    """Every roll and frame of the book, with a glance at each picture.

    Parameters
    ----------
    book, conn : Book, Connection
        To read from.
    step : callable, optional
        Called after each picture.
    """
    from sqlalchemy import select

    columns = (rolls.c.id, rolls.c.code, stocks.c.dx_part1, stocks.c.dx_part2)
    rows = conn.execute(select(*columns).select_from(rolls.outerjoin(stocks)).order_by(rolls.c.code))
    known = [BookRoll(row.id, row.code, _dx(row.dx_part1, row.dx_part2)) for row in rows]
    listed = conn.execute(
        select(frames.c.id, frames.c.roll_id, frames.c.position, frames.c.label).order_by(frames.c.id)
    ).all()
    found: list[BookFrame] = []
    cache = GlanceCache(book.root / GLANCES)
    for start in range(0, len(listed), 500):  # a database takes only so many numbers in one question
        some = listed[start : start + 500]
        pictures = pictures_of_frames(conn, book, [row.id for row in some])
        paths = [pictures[row.id].path if row.id in pictures and pictures[row.id].is_there else None for row in some]
        with ThreadPoolExecutor(2) as pool:
            glances = list(pool.map(lambda path: cache.get(path, _glance) if path else None, paths))
        for row, path, glance in zip(some, paths, glances, strict=True):
            found.append(BookFrame(row.id, row.roll_id, row.position, row.label, path, glance))
            step()
    cache.save()
    return Shelf(known, found)


def look(path: Path) -> NDArray[np.uint8] | None:
    """A picture at the size at which it is compared; None where it cannot be read."""
    try:
        return small_rgb8(path, _SEEN_PX)
    except Refusal:
        return None


def start_roll(
    conn: Connection, strip: LooseStrip, *, process: str, format: str, on: date, at: str | None = None
) -> RollRow:
    """A roll for a strip that belongs to none: its negatives are here, its frames as the edge numbers them.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    strip : LooseStrip
        The strip.
    process, format : str
        Of the film.
    on : date
        The day it was found.
    at : str, optional
        Instant of the event.
    """
    stock = _stock_of(conn, strip.stock_number)
    roll = add_roll(
        conn, film_format=format, process=process, on=on, at=at, state=RollState.NEGATIVES_BACK, stock_id=stock,
        title="found loose", exposures=len(strip.frames),
    )  # fmt: skip
    labels = frame_labels(strip)
    add_frames(conn, [{"roll_id": roll.id, "position": n, "label": label} for n, label in enumerate(labels)])
    return roll


def frame_labels(strip: LooseStrip) -> list[str]:
    """A label for each frame: as its edge says, counted on from its neighbours where that was not read, else from 1."""
    read = [normalise_label(frame.label) if frame.label else None for frame in strip.frames]
    known = next((index for index, label in enumerate(read) if label), None)
    if known is None:
        return [str(number) for number in range(1, len(read) + 1)]
    told = [index for index, label in enumerate(read) if label]
    step = 2
    if len(told) > 1:
        first, last = (parse_label(str(read[index])).half_index for index in (told[0], told[-1]))
        step = round((last - first) / (told[-1] - told[0])) or 2
    start = parse_label(str(read[known])).half_index
    try:
        labels = [label or str(label_at(start + step * (index - known))) for index, label in enumerate(read)]
    except ValueError:  # counted beyond the film's own numbers
        return [str(number) for number in range(1, len(read) + 1)]
    return labels if len(set(labels)) == len(labels) else [str(number) for number in range(1, len(read) + 1)]


def _stock_of(conn: Connection, number: str | None) -> int | None:
    if number is None:
        return None
    part1, _, part2 = number.partition("-")
    row = conn.execute(
        stocks.select()
        .where(stocks.c.dx_part1 == int(part1), stocks.c.dx_part2 == int(part2 or 0))
        .order_by(stocks.c.id)
    ).first()
    return None if row is None else int(row.id)


def _dx(part1: int | None, part2: int | None) -> str | None:
    return None if part1 is None else f"{part1}-{part2 or 0}"


def _glance(path: Path) -> Glance | None:
    try:
        return glance_at(small_rgb8(path, _GLANCE_PX))
    except Refusal:
        return None
