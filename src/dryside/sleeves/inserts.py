"""What is printed for a binder: the insert of a page and the label of its spine, gathered from the book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.frame_pictures import FramePicture, pictures_of_frames, small_jpeg
from dryside.book.frames import FrameRow, list_frames
from dryside.book.rolls import RollRow, get_roll, title_of
from dryside.book.schema import cameras, frame_strips, loans, stocks
from dryside.film.formats import FORMATS, film_format
from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import sleeve_page
from dryside.paper.sleeve_insert import InsertFrame, InsertRoll, InsertStrip, SleeveInsert, sleeve_insert
from dryside.paper.spine_label import SpineLabel
from dryside.sleeves.binders import BinderRow, PageRow, StripRow, list_pages, strips_on_page
from dryside.sleeves.whereabouts import qr_text, qr_text_of_binder

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book

_THUMBNAIL_PX = 560  # 36 mm at 390 ppi


@dataclass(frozen=True)
class PageInsert:
    """An insert and the pictures on it, before it is typeset."""

    insert: SleeveInsert
    pictures: Mapping[str, Path]

    def pdf(self) -> bytes:
        """The page as PDF; a picture that cannot be read leaves its place empty, and the place says so."""
        small = _thumbnails(self.pictures)
        strips = tuple(
            replace(strip, frames=tuple(_without_lost(frame, small) for frame in strip.frames))
            for strip in self.insert.strips
        )
        return sleeve_insert(replace(self.insert, strips=strips), small)


def page_insert(
    book: Book,
    conn: Connection,
    binder: BinderRow,
    page: PageRow,
    *,
    made_on: date,
    paper: str = "a4",
    link: str | None = None,
) -> PageInsert:
    """Gather one page's insert.

    Parameters
    ----------
    book, conn : Book, Connection
        To read from.
    binder, page : BinderRow, PageRow
        Which page.
    made_on : date
        Printed on it.
    paper : str, optional
        `a4` or `letter`.
    link : str, optional
        Address of the served book, for a QR that a phone opens; left out: the roll's own text.

    Raises
    ------
    NotFound
        If nothing lies on the page.
    """
    strips = strips_on_page(conn, page.id)
    if not strips:
        raise NotFound(f"page {page.number} of binder {binder.name}", "nothing lies on it")
    rolls = {strip.roll_id: get_roll(conn, strip.roll_id) for strip in strips}
    film = film_format(_frame_size(rolls[strips[0].roll_id]))
    layout = sleeve_page(page.layout, film=film.key)
    frames, pictures = _frames_and_pictures(book, conn, rolls)
    lent = _lent_strips(conn, page.id)
    insert = SleeveInsert(
        binder=binder.name,
        shelf=binder.place or "",
        number=page.number,
        layout=page.layout,
        rows=layout.rows,
        row_mm=layout.row_length_mm,
        film_mm=film.film_width_mm or film.across_mm,
        picture_mm=film.across_mm,
        rolls=tuple(InsertRoll(roll.code, _line(conn, roll), qr_text(roll.code, link)) for roll in rolls.values()),
        strips=tuple(
            _strip(
                strip,
                rolls[strip.roll_id],
                frames[strip.id],
                pictures,
                layout.row_length_mm / layout.frames_per_row,
                lent,
            )
            for strip in strips
        ),
        made_on=made_on,
        paper=paper,
    )
    paths = {picture_name(frame_id): picture.path for frame_id, picture in pictures.items() if picture.is_there}
    return PageInsert(insert, paths)


def inserts_of_binder(
    book: Book, conn: Connection, binder: BinderRow, *, made_on: date, paper: str = "a4", link: str | None = None
) -> list[tuple[PageRow, PageInsert]]:
    """Inserts of all pages on which something lies."""
    found = []
    for page in list_pages(conn, binder.id):
        if strips_on_page(conn, page.id):
            found.append((page, page_insert(book, conn, binder, page, made_on=made_on, paper=paper, link=link)))
    return found


def _frame_size(roll: RollRow) -> str:
    """The roll's frame size; a roll known only as '120' is drawn as 6x6."""
    return roll.format if roll.format in FORMATS else {"120": "120-6x6", "127": "127-4x4"}.get(roll.format, "135")


def _frames_and_pictures(
    book: Book, conn: Connection, rolls: Mapping[int, RollRow]
) -> tuple[dict[int, list[FrameRow]], Mapping[int, FramePicture]]:
    """Frames of each strip in order, and the pictures of all of them."""
    rows = {frame.id: frame for roll_id in rolls for frame in list_frames(conn, roll_id)}
    lying = conn.execute(
        frame_strips.select().where(frame_strips.c.frame_id.in_(list(rows))).order_by(frame_strips.c.place)
    )
    by_strip: dict[int, list[FrameRow]] = {}
    for row in lying:
        by_strip.setdefault(row.strip_id, []).append(rows[row.frame_id])
    ids = [frame.id for found in by_strip.values() for frame in found]
    return by_strip, pictures_of_frames(conn, book, ids)


def _strip(
    strip: StripRow,
    roll: RollRow,
    frames: Sequence[FrameRow],
    pictures: Mapping[int, FramePicture],
    place_mm: float,
    lent: Mapping[int | None, str],
) -> InsertStrip:
    """Pictures along the strip at their rhythm, squeezed or spread to the strip's real length."""
    film = film_format(_frame_size(roll))
    pitch = film.usual_pitch_mm
    length = strip.length_mm or len(frames) * pitch
    margin = max(0.0, (length - (len(frames) - 1) * pitch - film.along_mm) / 2)
    drawn = tuple(
        InsertFrame(
            frame.label,
            margin + place * pitch,
            film.along_mm,
            picture_name(frame.id) if frame.id in pictures and pictures[frame.id].is_there else None,
            "blank" if frame.blank else "no picture yet" if frame.id not in pictures else "picture missing",
        )
        for place, frame in enumerate(frames)
    )
    note = lent.get(strip.id) or lent.get(None) or ""
    return InsertStrip(strip.row or 1, ((strip.place or 1) - 1) * place_mm, length, drawn, note)


def _lent_strips(conn: Connection, page_id: int) -> dict[int | None, str]:
    """Words about each strip that is out; under None for the whole page."""
    rows = conn.execute(loans.select().where(loans.c.back_on.is_(None)).order_by(loans.c.id))
    words = {}
    for row in rows:
        if row.strip_id is not None:
            words[row.strip_id] = f"lent to {row.to_whom} since {row.lent_on}"
        elif row.page_id == page_id:
            words[None] = f"lent to {row.to_whom} since {row.lent_on}"
    return words


def _line(conn: Connection, roll: RollRow) -> str:
    """Own numbers, title, stock, camera, days: what a person knows the roll by."""
    stock = conn.execute(stocks.select().where(stocks.c.id == roll.stock_id)).first() if roll.stock_id else None
    camera = conn.execute(cameras.select().where(cameras.c.id == roll.camera_id)).first() if roll.camera_id else None
    days = " to ".join(dict.fromkeys(day for day in (roll.loaded_on, roll.exposed_on) if day))
    parts = (title_of(conn, roll), stock.name if stock else None, camera.name if camera else None, days)
    return " · ".join(part for part in parts if part)


def picture_name(frame_id: int) -> str:
    """How a frame's picture is called on an insert."""
    return f"frames/{frame_id}.jpg"


def _without_lost(frame: InsertFrame, small: Mapping[str, bytes]) -> InsertFrame:
    if frame.picture is None or frame.picture in small:
        return frame
    return replace(frame, picture=None, note="picture cannot be read")


def _thumbnails(pictures: Mapping[str, Path]) -> dict[str, bytes]:
    def small(path: Path) -> bytes | None:
        try:
            return small_jpeg(path, _THUMBNAIL_PX)
        except Refusal:
            return None

    with ThreadPoolExecutor(2) as pool:
        made = zip(pictures, pool.map(small, pictures.values()), strict=True)
        return {name: data for name, data in made if data is not None}


def spine_of(conn: Connection, binder: BinderRow) -> SpineLabel:
    """What the spine of a binder says of what is in it."""
    found = rolls_in_binder(conn, binder)
    days = [day for roll in found for day in (roll.exposed_on, roll.loaded_on) if day]
    years = " to ".join(dict.fromkeys((min(days)[:4], max(days)[:4]))) if days else ""
    codes = [roll.code for roll in found]
    many = f"{len(codes)} rolls" if len(codes) != 1 else "1 roll"
    span = f"{codes[0]} to {codes[-1]}, {many}" if len(codes) > 1 else codes[0] if codes else ""
    caution = "NITRATE: keep apart, see cautions" if binder.holds == "nitrate" else ""
    return SpineLabel(binder.name, years, span, binder.place or "", qr_text_of_binder(binder.name), caution)


def rolls_in_binder(conn: Connection, binder: BinderRow) -> list[RollRow]:
    """Rolls with a strip in the binder, by code."""
    ids = {strip.roll_id for page in list_pages(conn, binder.id) for strip in strips_on_page(conn, page.id)}
    return sorted((get_roll(conn, roll_id) for roll_id in ids), key=lambda roll: roll.code)
