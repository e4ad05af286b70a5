"""Receive a lab's delivery: files kept, rolls and frames found, all of it written in one transaction, doubts asked."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.events import add_event
from dryside.book.files import KeptFile, find_file, original_path, record_file
from dryside.book.folder import Book
from dryside.book.instants import now
from dryside.book.journey import MOVES, RollState
from dryside.book.rolls import move_roll
from dryside.book.rows import insert, update
from dryside.book.schema import deliveries, orders, scans
from dryside.film.refusal import Refusal
from dryside.scans.looks import Look, look_at
from dryside.scans.numbering import group_names
from dryside.scans.parcel import Aside, open_parcel
from dryside.scans.picture_files import read_rgb8
from dryside.scans.placing import PlacedScan, RollPlaced, place_group, write_frames
from dryside.scans.rolls_waited import RollLog, find_order_id, rolls_waited
from dryside.scans.shot_times import ShotSeen
from dryside.scans.taking_in import Taken, TakenIn, take_in, thumbnail_path
from dryside.scans.which_roll import GroupSeen, RollGuess, assign_rolls

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Delivery:
    """What a delivery came to; `as_dict` is what the command prints and the book keeps as the report.

    Attributes
    ----------
    delivery_id : int or None
        Row in the book; None where nothing new came.
    name : str
        What was handed in.
    rolls : tuple of RollPlaced
        One per group of files.
    asides : tuple of Aside
        What was not taken, each with its reason.
    known : tuple of str
        Names of pictures that the book had already.
    resumed : int
        Files that an earlier, interrupted run had taken.
    """

    delivery_id: int | None
    name: str
    rolls: tuple[RollPlaced, ...]
    asides: tuple[Aside, ...]
    known: tuple[str, ...]
    resumed: int

    @property
    def new(self) -> int:
        """How many pictures were added."""
        return sum(len(roll.scans) for roll in self.rolls)

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "delivery": self.delivery_id,
            "name": self.name,
            "new": self.new,
            "already_here": list(self.known),
            "resumed": self.resumed,
            "put_aside": [aside.as_dict() for aside in self.asides],
            "rolls": [roll.as_dict() for roll in self.rolls],
        }


def receive(
    book: Book,
    paths: Sequence[Path],
    *,
    order: str | None = None,
    rolls: Sequence[str] = (),
    shots: Mapping[str, ShotSeen] | None = None,
    at: str | None = None,
    who: str | None = None,
    step: Callable[[str], None] | None = None,
) -> Delivery:
    """Take in a delivery. The same delivery again adds nothing.

    Parameters
    ----------
    book : Book
        The book.
    paths : sequence of Path
        Zips, folders, picture files, in any mixture: all of one delivery.
    order : str, optional
        Our order number or the lab's receipt number.
    rolls : sequence of str, optional
        The roll or rolls it is of, where the person knows.
    shots : mapping of str to ShotSeen, optional
        Phone shots that show the same as a scan, by the scan's name, from `matching`.
    at : str, optional
        Instant of receiving, ISO 8601 with offset; left out: now.
    who : str, optional
        For the events.
    step : callable, optional
        Called with a name as each file is done.

    Returns
    -------
    Delivery
        Everything that was found, also of doubts; the questions can be answered by `decide`.

    Raises
    ------
    Refusal
        If no picture at all could be taken; NotFound for paths, orders and rolls that are not there.
    """
    parcel = open_parcel(paths)
    with book.read() as conn:  # refuse a wrong order or roll before anything is copied
        order_id = find_order_id(conn, order) if order else None
        rolls_waited(conn, order_id=order_id, rolls=tuple(rolls))
    taken, journal = take_in(book, parcel.entries, step=step)
    asides = (*parcel.asides, *taken.asides)
    name = ", ".join(path.name for path in paths)
    if not taken.taken:
        journal.unlink(missing_ok=True)
        raise _nothing_taken(name, asides)
    looks = {one.sha256: look_at(read_rgb8(thumbnail_path(book, one.sha256))) for one in taken.taken}
    with book.write() as conn:
        delivery = _write(conn, book, name, replace(taken, asides=asides), looks,
                          _Context(order_id, tuple(rolls), dict(shots or {}), at or now(), who))  # fmt: skip
    journal.unlink(missing_ok=True)
    return delivery


@dataclass(frozen=True)
class _Context:
    order_id: int | None
    rolls: tuple[str, ...]
    shots: dict[str, ShotSeen]
    at: str
    who: str | None


def _nothing_taken(name: str, asides: Sequence[Aside]) -> Refusal:
    first = next(iter(asides), None)
    why = f"no picture in it could be taken: {first.name}: {first.found}" if first else "no picture is in it"
    more = f" (and {len(asides) - 1} more)" if len(asides) > 1 else ""
    return Refusal(name, why + more, first.remedy if first else "JPEG, TIFF, PNG and HEIC are taken.")


def _write(
    conn: Connection, book: Book, name: str, taken: TakenIn, looks: Mapping[str, Look], context: _Context
) -> Delivery:
    """All rows of the delivery, in the transaction under way."""
    fresh, known = _unknown_here(conn, taken.taken)
    if not fresh:
        return Delivery(None, name, (), taken.asides, known, taken.resumed)
    waited = rolls_waited(conn, order_id=context.order_id, rolls=context.rolls)
    groups = [
        _Group([fresh[i] for i in group.members], group.words) for group in group_names([one.name for one in fresh])
    ]
    seen = [_group_seen(group, looks, book, context) for group in groups]
    guesses = _guesses(seen, waited, context)
    delivery_id = insert(conn, deliveries, {
        "order_id": context.order_id or _order_of(guesses, waited), "name": name, "sha256": _delivery_digest(fresh),
        "received_at": context.at, "report": None,
    })  # fmt: skip
    placed, sequence = [], 0
    for group, guess in zip(groups, guesses, strict=True):
        log = next((one for one in waited if one.waited.code == guess.code), None)
        roll = place_group(group.files, looks, guess, log if guess.sure else None, context.shots)
        roll = _keep_group(conn, book, roll, group.files, delivery_id, sequence, log if guess.sure else None)
        sequence += len(group.files)
        if log is not None and guess.sure:
            _came_back(conn, log, context, delivery_id, len(roll.scans))
        placed.append(roll)
    delivery = Delivery(delivery_id, name, tuple(placed), taken.asides, known, taken.resumed)
    update(conn, deliveries, delivery_id, {"report": {**delivery.as_dict(), "resumed": 0}})
    return delivery


@dataclass(frozen=True)
class _Group:
    files: list[Taken]
    words: tuple[str, ...]


def _unknown_here(conn: Connection, taken: Sequence[Taken]) -> tuple[list[Taken], tuple[str, ...]]:
    """Pictures that are no scan in the book yet, each digest once; and the names of the others."""
    from sqlalchemy import select

    fresh: dict[str, Taken] = {}
    known = []
    for one in taken:
        row = find_file(conn, one.sha256)
        is_scan = row is not None and conn.execute(select(scans.c.id).where(scans.c.file_id == row.id)).first()
        if is_scan or one.sha256 in fresh:
            known.append(one.name)
        else:
            fresh[one.sha256] = one
    return list(fresh.values()), tuple(known)


def _delivery_digest(files: Sequence[Taken]) -> str:
    return hashlib.sha256("\n".join(sorted(one.sha256 for one in files)).encode()).hexdigest()


def _group_seen(group: _Group, looks: Mapping[str, Look], book: Book, context: _Context) -> GroupSeen:
    views = [looks[one.sha256] for one in group.files]
    aspects = sorted(view.aspect for view in views)
    shots = tuple({shot.roll for one in group.files if (shot := context.shots.get(one.name)) and shot.roll})
    return GroupSeen(
        words=group.words,
        count=len(group.files),
        aspect=aspects[len(aspects) // 2],
        is_grey=sum(view.is_grey for view in views) * 4 >= len(views) * 3,
        labels=_labels_in(book, group.files),
        shots=shots,
    )


def _labels_in(book: Book, files: Sequence[Taken]) -> tuple[str, ...]:
    """Texts of QR codes in the first and last pictures, where a label is photographed with the film."""
    import zxingcpp

    texts = []
    ends = [*files[:2], *files[-1:]] if len(files) > 2 else files
    for one in ends:
        image = read_rgb8(original_path(book, one.sha256), longest=1600)
        texts += [
            found.text
            for found in zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
        ]
    return tuple(dict.fromkeys(texts))


def _guesses(seen: Sequence[GroupSeen], waited: Sequence[RollLog], context: _Context) -> list[RollGuess]:
    """The rolls of the groups; with one named roll and one group there is nothing to guess."""
    if len(context.rolls) == 1 and len(seen) == 1:
        seen = [replace(seen[0], by_hand=waited[0].waited.code)]
    return assign_rolls(seen, [one.waited for one in waited])


def _order_of(guesses: Sequence[RollGuess], waited: Sequence[RollLog]) -> int | None:
    """The one order that all sure rolls travel in."""
    sure = {guess.code for guess in guesses if guess.sure}
    ids = {one.order_id for one in waited if one.waited.code in sure}
    return ids.pop() if len(ids) == 1 else None


def _keep_group(
    conn: Connection, book: Book, roll: RollPlaced, files: Sequence[Taken], delivery_id: int, first: int,
    log: RollLog | None,
) -> RollPlaced:  # fmt: skip
    """Rows of the files, the frames that the delivery adds to the log, and the scans."""
    frame_ids = write_frames(conn, roll, log) if log is not None else {}
    for k, (one, scan) in enumerate(zip(files, roll.scans, strict=True)):
        kept = KeptFile(one.sha256, one.size, original_path(book, one.sha256), was_new=True)
        detail = {"ppi": one.ppi, "bits": one.bits, "orientation": one.orientation}
        row = record_file(conn, kept, kind="scan", name=one.name, media_type=one.media_type, detail=detail)
        upright = one.orientation >= 5
        insert(conn, scans, {
            "file_id": row.id, "delivery_id": delivery_id, "roll_id": log.roll.id if log else None,
            "frame_id": frame_ids.get(scan.frame) if scan.frame and scan.sure else None,
            "sequence": first + k, "origin": "lab", "name": one.name,
            "width": one.height if upright else one.width, "height": one.width if upright else one.height,
            "state": _state(scan, log), "confidence": scan.confidence,
            "reasons": scan.reasons_dict(roll.guess, at=k), "picture": None,
        })  # fmt: skip
    return roll


def _state(scan: PlacedScan, log: RollLog | None) -> str:
    if log is None or not scan.sure:
        return "asked"
    return "sure" if scan.frame is not None else "none"


def _came_back(conn: Connection, log: RollLog, context: _Context, delivery_id: int, count: int) -> None:
    """Move the roll on, and write down the day on its order."""
    detail = {"delivery": delivery_id, "pictures": count}
    if RollState.SCANS_BACK in MOVES[log.roll.place]:
        move_roll(conn, log.roll, RollState.SCANS_BACK, at=context.at, who=context.who, detail=detail)
    else:
        add_event(conn, kind="scans received", at=context.at, roll_id=log.roll.id, who=context.who, detail=detail)
    if log.order_id is not None:
        day = context.at[:10]
        conn.execute(
            orders.update().where(orders.c.id == log.order_id, orders.c.scans_on.is_(None)).values(scans_on=day)
        )
