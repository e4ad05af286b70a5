"""The contact sheet of a roll in the book: its frames, captions, strips and line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import original_path, put_file, put_paper
from dryside.book.folder import Book
from dryside.book.frame_pictures import FramePicture as ShownPicture
from dryside.book.frame_pictures import pictures_of_frames
from dryside.book.frames import FrameRow, list_frames
from dryside.book.rolls import RollRow, find_roll, title_of
from dryside.book.schema import cameras, files, labs, order_lines, orders, scans, stocks, strips
from dryside.film.formats import FORMATS
from dryside.film.refusal import NotFound
from dryside.scans.contact import FramePicture, make_contact_sheet
from dryside.scans.taking_in import thumbnail_name

if TYPE_CHECKING:
    from sqlalchemy import Connection


def contact_sheet_of_roll(
    book: Book, roll: str, *, page: str = "a4", out: Path | None = None, made_on: str | None = None
) -> tuple[Path, Path]:
    """Make a roll's contact sheet as PDF/A and JPEG.

    Parameters
    ----------
    book : Book
        The book.
    roll : str
        Code or second name.
    page : str, optional
        `a4` or `letter`.
    out : Path, optional
        The PDF's name; the JPEG lies beside it. Left out: the book's paper/.
    made_on : str, optional
        Day, ISO 8601.

    Returns
    -------
    tuple of Path
        The PDF and the JPEG.

    Raises
    ------
    NotFound
        If there is no such roll, or it has no frames.
    """
    with book.read() as conn:
        row = find_roll(conn, roll)
        frames = list_frames(conn, row.id)
        if not frames:
            raise NotFound(f"roll {row.code}", "it has no frames yet", "Log them, or receive its scans.")
        found = pictures_of_frames(conn, book, [frame.id for frame in frames])
        thumbnails = _thumbnails(conn, book, frames)
        halves = _halves(conn, book, row)
        line = roll_line(conn, row, frames)
        lengths = _strip_lengths(conn, row, frames)
        title = title_of(conn, row)
    pictures = [
        _frame_picture(frame, *_shown(halves.get(frame.label), found.get(frame.id), thumbnails.get(frame.id)))
        for frame in frames
    ]
    made = make_contact_sheet(
        pictures,
        title=f"{row.code}  {title}".strip(),
        line=line,
        format_key=row.format if row.format in FORMATS else "135",
        strip_lengths=lengths,
        page=page,
        made_on=made_on,
    )
    if out is None:
        return put_paper(book, f"contact-{row.code}.pdf", made.pdf), put_paper(
            book, f"contact-{row.code}.jpg", made.jpeg
        )
    out.parent.mkdir(parents=True, exist_ok=True)
    return put_file(out.parent, out.name, made.pdf), put_file(out.parent, out.with_suffix(".jpg").name, made.jpeg)


def _thumbnails(conn: Connection, book: Book, frames: list[FrameRow]) -> dict[int, Path]:
    """The thumbnail of each frame's newest scan, where it is made: large enough for a sheet, and quick to read."""
    from sqlalchemy import select

    rows = conn.execute(
        select(scans.c.frame_id, files.c.sha256)
        .join(files, files.c.id == scans.c.file_id)
        .where(scans.c.frame_id.in_([frame.id for frame in frames]))
        .order_by(scans.c.id)
    )
    paths = {row.frame_id: book.pictures / thumbnail_name(row.sha256) for row in rows}
    return {frame_id: path for frame_id, path in paths.items() if path.is_file()}


def _halves(conn: Connection, book: Book, roll: RollRow) -> dict[str, tuple[Path, str]]:
    """By label, the file that shows a half frame beside another, and on which side it lies there."""
    from sqlalchemy import select

    rows = conn.execute(
        select(scans.c.reasons, files.c.sha256)
        .join(files, files.c.id == scans.c.file_id)
        .where(scans.c.roll_id == roll.id, scans.c.frame_id.is_not(None))
        .order_by(scans.c.id)
    )
    out: dict[str, tuple[Path, str]] = {}
    for row in rows:
        labels = [(row.reasons or {}).get(name) for name in ("frame", "also")]
        if all(labels):
            path = original_path(book, row.sha256)
            out |= {str(label): (path, side) for label, side in zip(labels, ("left", "right"), strict=True)}
    return out


def _frame_picture(frame: FrameRow, path: Path | None, half: str) -> FramePicture:
    return FramePicture(frame.label, caption_of(frame), path, "blank" if frame.blank else "no picture", half)


def _shown(
    half: tuple[Path, str] | None, shown: ShownPicture | None, thumbnail: Path | None
) -> tuple[Path | None, str]:
    """The file for a frame, and the half of it where it shows two; a positive wins over both."""
    if half is not None and (shown is None or shown.origin == "scan"):
        return half
    return _path_of(shown, thumbnail), ""


def _path_of(shown: ShownPicture | None, thumbnail: Path | None) -> Path | None:
    """What is read for the sheet: a scan's thumbnail rather than the scan; a positive itself."""
    if shown is None or not shown.is_there:
        return None
    return thumbnail if shown.origin == "scan" and thumbnail is not None else shown.path


def caption_of(frame: FrameRow) -> str:
    """What stands under a frame: caption, exposure, day."""
    exposure = " ".join(part for part in (frame.shutter, f"f/{frame.aperture:g}" if frame.aperture else None) if part)
    day = (frame.taken_at or "")[:10]
    return " · ".join(part for part in (frame.caption, exposure, day) if part)


def roll_line(conn: Connection, roll: RollRow, frames: list[FrameRow]) -> str:
    """The roll's line: stock, exposure index and push, camera, days, lab and order."""
    from sqlalchemy import select

    def named(table: Any, row_id: int | None) -> Any:
        return conn.execute(table.select().where(table.c.id == row_id)).first() if row_id is not None else None

    stock, camera = named(stocks, roll.stock_id), named(cameras, roll.camera_id)
    film = stock.name if stock else None
    if film and roll.exposure_index and roll.exposure_index != stock.iso:
        film = f"{film} at EI {roll.exposure_index}"
    if film and roll.push_stops:
        film = f"{film}, {'push' if roll.push_stops > 0 else 'pull'} {roll.push_stops:+g}"
    days = sorted({frame.taken_at[:10] for frame in frames if frame.taken_at})
    span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else None
    order = conn.execute(
        select(labs.c.name, orders.c.number)
        .join(orders, orders.c.lab_id == labs.c.id)
        .join(order_lines, order_lines.c.order_id == orders.c.id)
        .where(order_lines.c.roll_id == roll.id)
        .order_by(orders.c.id.desc())
    ).first()
    lab = f"{order.name}, {order.number}" if order else None
    return " · ".join(part for part in (film, roll.format, camera.name if camera else None, span, lab) if part)


def _strip_lengths(conn: Connection, roll: RollRow, frames: list[FrameRow]) -> list[int] | None:
    """Frames on each strip as the roll was cut; None while it is not."""
    rows = conn.execute(strips.select().where(strips.c.roll_id == roll.id).order_by(strips.c.number)).all()
    if not rows:
        return None
    positions = [frame.position for frame in frames]
    counts = [sum(row.first_position <= position <= row.last_position for position in positions) for row in rows]
    return [count for count in counts if count]
