"""What the files of one group show of the roll they are: labels, shape, colour, edge codes, stickers, days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from dryside.book.files import original_path
from dryside.book.folder import Book
from dryside.book.schema import orders, stocks
from dryside.scans.dividing import FileSeen
from dryside.scans.looks import Look
from dryside.scans.mine import Delivered, HandedIn, shows_sticker
from dryside.scans.phone_log import SURE_FROM, ShotLog
from dryside.scans.picture_files import read_rgb8
from dryside.scans.placing import RollPlaced
from dryside.scans.rolls_waited import RollLog
from dryside.scans.taking_in import Taken, thumbnail_path
from dryside.scans.tones import levels, neutral_of
from dryside.scans.which_roll import GroupSeen

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

_LABEL_PX = 1600
_EDGE_PX = 3000
_HOUR_S = 3600.0


def group_seen(files: Sequence[Taken], words: tuple[str, ...], looks: Mapping[str, Look], book: Book) -> GroupSeen:
    """What `which_roll` weighs of a group of files."""
    views = [looks[one.sha256] for one in files]
    aspects = sorted(view.aspect for view in views)
    pictures = [view for view in views if not view.is_blank] or views
    return GroupSeen(
        words=words,
        count=len(files),
        aspect=aspects[len(aspects) // 2],
        is_grey=sum(view.is_grey for view in pictures) * 4 >= len(pictures) * 3,
        labels=_labels_in(book, files),
    )


def files_seen(
    files: Sequence[Taken], looks: Mapping[str, Look], book: Book, *, phone: ShotLog | None, waited: Sequence[RollLog]
) -> list[FileSeen]:
    """What `dividing` weighs of each file of a run."""
    rolls = _rolls_by_shot(phone, waited) if phone is not None else {}
    return [_file_seen(one, looks[one.sha256], book, rolls.get(one.name)) for one in files]


def _file_seen(one: Taken, look: Look, book: Book, roll: str | None) -> FileSeen:
    import zxingcpp

    small = read_rgb8(thumbnail_path(book, one.sha256))
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    black, _ = levels(small)
    return FileSeen(
        aspect=look.aspect,
        size=(max(one.width, one.height), min(one.width, one.height)),
        is_grey=look.is_grey,
        is_blank=look.is_blank,
        tone=(*neutral_of(small), black),
        scanned_s=datetime.fromisoformat(one.scanned_at).timestamp() if one.scanned_at else None,
        has_label=any(one.valid for one in zxingcpp.read_barcodes(small, formats=formats)),
        roll=roll,
    )


def _rolls_by_shot(phone: ShotLog, waited: Sequence[RollLog]) -> dict[str, str]:
    """By scan, the one roll in whose time its phone shot was made."""
    out: dict[str, str] = {}
    for name, shot in phone.seen().items():
        codes = [log.waited.code for log in waited if shot.utc is not None and _is_in_time(shot.utc, log)]
        if len(codes) == 1 and shot.confidence >= SURE_FROM:
            out[name] = codes[0]
    return out


def _is_in_time(utc: float, log: RollLog) -> bool:
    taken = [frame.taken_utc for frame in log.frames if frame.taken_utc is not None]
    return bool(taken) and min(taken) - _HOUR_S <= utc <= max(taken) + _HOUR_S


def rolls_of_shots(files: Sequence[Taken], phone: ShotLog, waited: Sequence[RollLog]) -> tuple[str, ...]:
    """Codes of the rolls in whose time most of the phone shots were made that show what these files show."""
    names = {one.name for one in files}
    times = [shot.utc for name, shot in phone.seen().items() if name in names and shot.utc is not None]
    out = []
    for log in waited:
        inside = [utc for utc in times if _is_in_time(utc, log)]
        if len(inside) >= 3 and len(inside) * 2 > len(times):
            out.append(log.waited.code)
    return tuple(out)


def _labels_in(book: Book, files: Sequence[Taken]) -> tuple[str, ...]:
    """Texts of QR codes in the first and last pictures, where a label is photographed with the film."""
    import zxingcpp

    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    texts = []
    for one in _ends(files):
        image = read_rgb8(original_path(book, one.sha256), longest=_LABEL_PX)
        texts += [found.text for found in zxingcpp.read_barcodes(image, formats=formats)]
    return tuple(dict.fromkeys(texts))


def _ends(files: Sequence[Taken]) -> list[Taken]:
    return list(files) if len(files) <= 3 else [*files[:2], files[-1]]


def delivered(
    conn: Connection,
    book: Book,
    placed: RollPlaced,
    files: Sequence[Taken],
    seen: GroupSeen,
    log: RollLog,
    phone: ShotLog | None,
) -> tuple[Delivered, HandedIn]:
    """What `mine` holds together: what came, and what was handed in."""
    from sqlalchemy import select

    names = {one.name for one in files}
    matched = (
        [pair for pair in phone.matching.pairs if pair.scan in names and pair.confidence >= SURE_FROM] if phone else []
    )
    days = [one.scanned_at[:10] for one in files if one.scanned_at]
    came = Delivered(
        group=seen,
        labels=tuple(frame.label for frame in log.frames if not frame.blank),
        missing=placed.missing,
        blank=sum(scan.is_blank for scan in placed.scans),
        scanned_on=min(days, default=None),
        edge_stocks=_edge_stocks(book, files),
        shots_tried=len(phone.matching.shots) if phone else 0,
        shots_matched=sum(pair.reference is not None for pair in matched),
        stickers=tuple(one.name for one in _ends(files) if shows_sticker(read_rgb8(thumbnail_path(book, one.sha256)))),
    )
    dropped = conn.execute(select(orders.c.dropped_on).where(orders.c.id == log.order_id)).scalar()
    stock = conn.execute(stocks.select().where(stocks.c.id == log.roll.stock_id)).first()
    return came, HandedIn(log.waited, dropped, (stock.dx_part1, stock.dx_part2) if stock else (None, None))


def _edge_stocks(book: Book, files: Sequence[Taken]) -> tuple[tuple[int, int], ...]:
    """DX numbers on the rebate of scans that show it: read inverted, since a positive has light bars on dark."""
    found: list[tuple[int, int]] = []
    for one in _ends(files):
        if max(one.width, one.height) / max(1, min(one.width, one.height)) > 1.45:
            continue  # a 3:2 picture shows no perforations beside its frame
        found += edge_numbers(read_rgb8(original_path(book, one.sha256), longest=_EDGE_PX))
    return tuple(found)


def edge_numbers(image: NDArray[np.uint8]) -> list[tuple[int, int]]:
    """DX numbers (part 1, part 2) of the film edge codes in a positive picture, those with a frame number only.

    Shorter codes and single readings are too easily wrong ones: a quarter of the codes also read backwards.
    """
    import zxingcpp

    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.DXFilmEdge)
    out = []
    for code in zxingcpp.read_barcodes(np.ascontiguousarray(255 - image), formats=formats):
        number, _, frame = code.text.partition("/")
        parts = number.split("-")
        if frame and len(parts) == 2 and all(part.isdigit() for part in parts):
            out.append((int(parts[0]), int(parts[1])))
    return out
