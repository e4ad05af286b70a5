"""Inspect the scans of a roll or a folder: files read, measures taken, what phone shots say, a page for the lab."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import original_path
from dryside.book.folder import Book
from dryside.book.rolls import find_roll
from dryside.book.rows import update
from dryside.book.schema import files, frames, labs, order_lines, orders, scans
from dryside.film.formats import FORMATS, FilmFormat
from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.likeness import Likeness
from dryside.paper.inspection_report import InspectionReport, ReportedScan, inspection_report
from dryside.scans.inspection import (
    GOOD,
    LOOK,
    POOR,
    Asked,
    Finding,
    Inspected,
    Thresholds,
    inspect_image,
    inspect_roll,
)
from dryside.scans.parcel import open_parcel
from dryside.scans.picture_files import SUFFIXES, media_type, read_rgb8
from dryside.scans.promised import promised_long_edge_px

if TYPE_CHECKING:
    from sqlalchemy import Connection

WORKERS = 2
_MARKED_PX = 640
_MOST_SHOWN = 6
_RED = (214, 40, 40)


@dataclass(frozen=True)
class Inspection:
    """A set of scans that was inspected.

    Attributes
    ----------
    title : str
        The roll's code, or the folder.
    scans : tuple of Inspected
        In the order of the delivery.
    lab, order : str or None
        Where to ask.
    ask_before : str or None
        Day after which the lab discards the negatives.
    asides : tuple of dict
        Files that could not be read.
    """

    title: str
    scans: tuple[Inspected, ...]
    lab: str | None = None
    order: str | None = None
    ask_before: str | None = None
    asides: tuple[dict[str, str], ...] = ()

    @property
    def poor(self) -> tuple[Inspected, ...]:
        """Scans with a reason to ask for them again."""
        return tuple(scan for scan in self.scans if scan.verdict == POOR)

    @property
    def reminder(self) -> str | None:
        """What to do and by when; None where all is well."""
        if not self.poor:
            return None
        day = f" before {self.ask_before}, when the negatives are discarded" if self.ask_before else ""
        return f"Ask {self.lab or 'the lab'} for a rescan of {len(self.poor)} pictures{day}."

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        counts = {verdict: sum(scan.verdict == verdict for scan in self.scans) for verdict in (GOOD, LOOK, POOR)}
        return {
            "title": self.title, "lab": self.lab, "order": self.order, "ask_before": self.ask_before,
            "reminder": self.reminder, "counts": counts, "scans": [scan.as_dict() for scan in self.scans],
            "put_aside": list(self.asides),
        }  # fmt: skip


@dataclass(frozen=True)
class _Item:
    name: str
    path: Path
    row_id: int | None = None
    frame: str | None = None


def inspect_folder(
    folder: Path,
    *,
    film: FilmFormat,
    thresholds: Thresholds,
    promised_px: int | None = None,
    is_negative: bool = True,
    likenesses: Mapping[str, Sequence[Likeness]] | None = None,
    step: Callable[[str], None] | None = None,
) -> Inspection:
    """Inspect the pictures of a folder; no book is needed.

    Parameters
    ----------
    folder : Path
        Pictures of one roll.
    film : FilmFormat
        What the frames are.
    thresholds : mapping
        From `read_thresholds`.
    promised_px : int, optional
        Pixels on the long side that the tier promised.
    is_negative : bool, optional
        False for slides.
    likenesses : mapping of str to sequence of Likeness, optional
        By scan name, how it lies in the phone shots that show the same, from `matching`.
    step : callable, optional
        Called with each name that is done.

    Raises
    ------
    NotFound
        If the folder is not there or holds no picture.
    """
    if not folder.is_dir():
        raise NotFound(str(folder), "there is no such folder", "Name the folder with the scans.")
    entries = [entry for entry in open_parcel([folder]).entries if media_type(entry.source) in SUFFIXES]
    if not entries:
        raise NotFound(str(folder), "no picture is in it", "Name the folder with the scans.")
    items = [_Item(entry.name, entry.source) for entry in entries]
    found, asides = _inspect(items, Asked(film, promised_px, is_negative), thresholds, likenesses or {}, step)
    return Inspection(folder.name, tuple(found), asides=asides)


def inspect_book_roll(
    book: Book,
    roll: str,
    *,
    thresholds: Thresholds,
    promised_px: int | None = None,
    likenesses: Mapping[str, Sequence[Likeness]] | None = None,
    step: Callable[[str], None] | None = None,
) -> Inspection:
    """Inspect a roll's scans and write the findings into the book; parameters as `inspect_folder`.

    Raises
    ------
    NotFound
        If there is no such roll, or it has no scan.
    """
    with book.read() as conn:
        row = find_roll(conn, roll)
        items = _items(conn, book, row.id)
        lab, order, until = _where_to_ask(conn, row.id)
        promised_px = promised_px or promised_long_edge_px(conn, row.id)
    if not items:
        raise NotFound(f"roll {row.code}", "it has no scans yet", "Receive them first: dryside receive.")
    film = FORMATS.get(row.format, FORMATS["135"])
    asked = Asked(film, promised_px, row.process != "e6" or row.cross_process)
    found, asides = _inspect(items, asked, thresholds, likenesses or {}, step)
    by_name = {scan.name: scan for scan in found}
    with book.write() as conn:
        for item in items:
            if item.row_id is not None and item.name in by_name:
                update(conn, scans, item.row_id, {"inspection": by_name[item.name].as_dict()})
    return Inspection(row.code, tuple(found), lab, order, until, asides)


def scan_files(book: Book, roll: str) -> dict[str, Path]:
    """The files of a roll's scans by their names as delivered.

    Raises
    ------
    NotFound
        If there is no such roll.
    """
    with book.read() as conn:
        return {item.name: item.path for item in _items(conn, book, find_roll(conn, roll).id)}


def _items(conn: Connection, book: Book, roll_id: int) -> list[_Item]:
    from sqlalchemy import select

    rows = conn.execute(
        select(scans.c.id, scans.c.name, files.c.sha256, frames.c.label)
        .join(files, files.c.id == scans.c.file_id)
        .outerjoin(frames, frames.c.id == scans.c.frame_id)
        .where(scans.c.roll_id == roll_id, scans.c.origin == "lab")
        .order_by(scans.c.delivery_id, scans.c.sequence)
    )
    return [_Item(row.name, original_path(book, row.sha256), row.id, row.label) for row in rows]


def _where_to_ask(conn: Connection, roll_id: int) -> tuple[str | None, str | None, str | None]:
    """The lab, the order and the day until which the negatives are kept, of the roll's latest order."""
    from sqlalchemy import select

    row = conn.execute(
        select(labs.c.name, orders.c.number, orders.c.negatives_until, orders.c.negatives_fetched_on)
        .join(orders, orders.c.lab_id == labs.c.id)
        .join(order_lines, order_lines.c.order_id == orders.c.id)
        .where(order_lines.c.roll_id == roll_id)
        .order_by(orders.c.id.desc())
    ).first()
    if row is None:
        return None, None, None
    return row.name, row.number, None if row.negatives_fetched_on else row.negatives_until


def _inspect(
    items: Sequence[_Item],
    asked: Asked,
    thresholds: Thresholds,
    likenesses: Mapping[str, Sequence[Likeness]],
    step: Callable[[str], None] | None,
) -> tuple[list[Inspected], tuple[dict[str, str], ...]]:
    def one(item: _Item) -> Inspected | Refusal:
        try:
            image = read_rgb8(item.path)
            found = inspect_image(image, name=item.name, asked=asked, thresholds=thresholds, file=item.path)
        except Refusal as refusal:
            return refusal
        if step is not None:
            step(item.name)
        return replace(found, findings=(*found.findings, *_against_shots(likenesses.get(item.name, ()))))

    with ThreadPoolExecutor(WORKERS) as pool:
        results = list(pool.map(one, items))
    asides = tuple(
        {**r.as_dict(), "name": i.name} for i, r in zip(items, results, strict=True) if isinstance(r, Refusal)
    )
    return inspect_roll([r for r in results if isinstance(r, Inspected)], thresholds), asides


def _against_shots(likenesses: Sequence[Likeness]) -> list[Finding]:
    """What phone shots of the same view say: which way up the scan is, mirrored, two exposures in one."""
    out = []
    if likenesses:
        turn = quarter_turn(likenesses[0])
        if turn:
            says = f"turned by {turn * 90} degrees against the phone shot"
            out.append(Finding("wrong_way_up", turn, LOOK, says, "the lab's operator cannot know what is up"))
        if likenesses[0].mirrored:
            says = "mirrored against the phone shot"
            out.append(Finding("mirrored", 1, POOR, says, "the film lay with the wrong side to the lens"))
    if len(likenesses) > 1:
        out.append(
            Finding("double_exposure", len(likenesses), LOOK, f"{len(likenesses)} phone shots lie in it", "two views")
        )
    return out


def quarter_turn(likeness: Likeness) -> int:
    """By how many quarter turns clockwise a scan is turned against the picture it lies in, 0 to 3.

    A mirrored scan is turned back first.
    """
    import math

    (x0, y0), (x1, y1) = likeness.corners[0], likeness.corners[1]
    # Where the scan's upper side points in the upright picture tells how far it must be turned back.
    angle = math.degrees(math.atan2(y1 - y0, x1 - x0))
    return round(-angle / 90) % 4


def report_pdf(
    inspection: Inspection, paths: Mapping[str, Path], *, page: str = "a4", made_on: str | None = None
) -> bytes:
    """One page to show the lab: what is wrong with which scan, and where.

    Parameters
    ----------
    inspection : Inspection
        What was found.
    paths : mapping of str to Path
        The files by scan name, for the pictures of the worst.
    page : str, optional
        `a4` or `letter`.
    made_on : str, optional
        Day, ISO 8601.
    """
    rank = {POOR: 0, LOOK: 1, GOOD: 2}
    worst = sorted((s for s in inspection.scans if s.verdict != GOOD), key=lambda s: rank[s.verdict])
    images = {}
    shown = []
    for k, scan in enumerate(worst):
        bad = sorted((f for f in scan.findings if f.verdict != GOOD), key=lambda f: rank[f.verdict])
        picture = f"marked-{k}.jpg" if k < _MOST_SHOWN and scan.name in paths else None
        if picture:
            images[picture] = marked_jpeg(paths[scan.name], [box for f in bad for box in f.boxes])
        shown.append(ReportedScan(scan.name, scan.verdict, tuple(f.says for f in bad), picture))
    report = InspectionReport(
        title=inspection.title,
        lab=inspection.lab,
        order=inspection.order,
        request=inspection.reminder,
        total=len(inspection.scans),
        scans=tuple(shown),
        page=page,
        made_on=made_on,
    )
    return inspection_report(report, images)


def marked_jpeg(path: Path, boxes: Sequence[tuple[int, int, int, int]]) -> bytes:
    """A small picture with the places marked."""
    import cv2
    import numpy as np
    import simplejpeg

    whole = read_rgb8(path)
    scale = min(1.0, _MARKED_PX / max(whole.shape[:2]))
    small = np.array(cv2.resize(whole, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    for x, y, w, h in boxes[:40]:
        margin = 5
        corner = (round(x * scale) - margin, round(y * scale) - margin)
        cv2.rectangle(small, corner, (round((x + w) * scale) + margin, round((y + h) * scale) + margin), _RED, 2)
    return simplejpeg.encode_jpeg(small, quality=85)
