"""Receive a lab's delivery: files kept, rolls and frames found, all of it written in one transaction, doubts asked."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import KeptFile, find_file, original_path, record_file
from dryside.book.folder import Book
from dryside.book.instants import now
from dryside.book.rows import insert, update
from dryside.book.schema import deliveries, scans
from dryside.film.refusal import Refusal
from dryside.scans.dividing import Division, divide
from dryside.scans.group_evidence import delivered, files_seen, group_seen, rolls_of_shots
from dryside.scans.looks import Look, look_at
from dryside.scans.mine import Doubt, changed_over, doubts_about
from dryside.scans.numbering import group_names
from dryside.scans.parcel import Aside, open_parcel
from dryside.scans.phone_log import ShotLog, read_shot_log, write_shots
from dryside.scans.picture_files import read_rgb8
from dryside.scans.placing import PlacedScan, RollPlaced, place_group, write_frames
from dryside.scans.roll_came_back import came_back
from dryside.scans.rolls_waited import RollLog, find_order_id, rolls_waited
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
    doubts : tuple of Doubt
        What does not fit between rolls; doubts about one roll stand with it.
    phone : ShotLog or None
        The phone shots that were matched.
    """

    delivery_id: int | None
    name: str
    rolls: tuple[RollPlaced, ...]
    asides: tuple[Aside, ...]
    known: tuple[str, ...]
    resumed: int
    doubts: tuple[Doubt, ...] = ()
    phone: ShotLog | None = None

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
            "doubts": [doubt.as_dict() for doubt in self.doubts],
            "phone": self.phone.as_dict() if self.phone else None,
            "rolls": [roll.as_dict() for roll in self.rolls],
        }


def receive(
    book: Book,
    paths: Sequence[Path],
    *,
    order: str | None = None,
    rolls: Sequence[str] = (),
    references: Path | None = None,
    phone_offset_s: int | None = None,
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
    references : Path, optional
        A phone's folder with shots made beside the frames; see `phone_log`.
    phone_offset_s : int, optional
        The phone clock's offset from UTC where its pictures do not say it.
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
        waited = rolls_waited(conn, order_id=order_id, rolls=tuple(rolls))
    taken, journal = take_in(book, parcel.entries, step=step)
    asides = (*parcel.asides, *taken.asides)
    name = ", ".join(path.name for path in paths)
    if not taken.taken:
        journal.unlink(missing_ok=True)
        raise _nothing_taken(name, asides)
    looks = {one.sha256: look_at(read_rgb8(thumbnail_path(book, one.sha256))) for one in taken.taken}
    phone = None
    if references is not None:
        files = {one.name: original_path(book, one.sha256) for one in taken.taken}
        times = [frame.taken_utc for log in waited for frame in log.frames if frame.taken_utc is not None]
        phone = read_shot_log(files, references, log_utc=times, phone_offset_s=phone_offset_s, step=step)
    context = _Context(order_id, tuple(rolls), phone, at or now(), who)
    with book.write() as conn:
        delivery = _write(conn, book, name, replace(taken, asides=asides), looks, context)
    journal.unlink(missing_ok=True)
    return delivery


@dataclass(frozen=True)
class _Context:
    order_id: int | None
    rolls: tuple[str, ...]
    phone: ShotLog | None
    at: str
    who: str | None


def _nothing_taken(name: str, asides: Sequence[Aside]) -> Refusal:
    first = next(iter(asides), None)
    why = f"no picture in it could be taken: {first.name}: {first.found}" if first else "no picture is in it"
    more = f" (and {len(asides) - 1} more)" if len(asides) > 1 else ""
    return Refusal(name, why + more, first.remedy if first else "JPEG, TIFF, PNG and HEIC are taken.")


@dataclass(frozen=True)
class _Group:
    """Files of one roll in the order of the delivery, what was seen of them, and how they were told from others."""

    files: list[Taken]
    seen: GroupSeen
    number: int
    first: int
    division: Division


def _write(
    conn: Connection, book: Book, name: str, taken: TakenIn, looks: Mapping[str, Look], context: _Context
) -> Delivery:
    """All rows of the delivery, in the transaction under way."""
    fresh, known = _unknown_here(conn, taken.taken)
    if not fresh:
        return Delivery(None, name, (), taken.asides, known, taken.resumed)
    waited = rolls_waited(conn, order_id=context.order_id, rolls=context.rolls)
    groups = _groups(fresh, looks, book, waited, context.phone)
    guesses = _guesses(groups, waited, context)
    values = {
        "order_id": context.order_id or _order_of(guesses, waited),
        "name": name,
        "sha256": _delivery_digest(fresh),
        "received_at": context.at,
        "report": None,
    }
    delivery_id = insert(conn, deliveries, values)
    placed = [
        _place(conn, book, group, guess, waited, looks, delivery_id, context)
        for group, guess in zip(groups, guesses, strict=True)
    ]
    doubts = changed_over(
        [group.seen for group in groups], [one.waited for one in waited], [guess.code for guess in guesses]
    )
    delivery = Delivery(
        delivery_id, name, tuple(placed), taken.asides, known, taken.resumed, tuple(doubts), context.phone
    )
    update(conn, deliveries, delivery_id, {"report": {**delivery.as_dict(), "resumed": 0}})
    return delivery


def _groups(
    fresh: Sequence[Taken], looks: Mapping[str, Look], book: Book, waited: Sequence[RollLog], phone: ShotLog | None
) -> list[_Group]:
    out: list[_Group] = []
    first = 0
    for named in group_names([one.name for one in fresh]):
        run = [fresh[i] for i in named.members]
        seen_files = files_seen(run, looks, book, phone=phone, waited=waited) if len(waited) > 1 else []
        division = divide(seen_files, [one.waited for one in waited])
        for start, end in zip(division.starts, (*division.starts[1:], len(run)), strict=True):
            members = run[start:end]
            seen = group_seen(members, named.words, looks, book)
            if phone is not None:
                seen = replace(seen, shots=rolls_of_shots(members, phone, waited))
            out.append(_Group(members, seen, len(out), first, division))
            first += len(members)
    return out


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


def _guesses(groups: Sequence[_Group], waited: Sequence[RollLog], context: _Context) -> list[RollGuess]:
    """The rolls of the groups; with one named roll and one group there is nothing to guess."""
    seen = [group.seen for group in groups]
    if len(context.rolls) == 1 and len(seen) == 1:
        seen = [replace(seen[0], by_hand=waited[0].waited.code)]
    found = assign_rolls(seen, [one.waited for one in waited])
    return [_with_division(guess, group.division) for guess, group in zip(found, groups, strict=True)]


def _with_division(guess: RollGuess, division: Division) -> RollGuess:
    """No surer than where its files begin and end."""
    if len(division.starts) == 1:
        return guess
    confidence = min(guess.confidence, division.confidence)
    reasons = (*guess.reasons, *division.reasons, *(() if division.sure else ("divided_unsure",)))
    return replace(guess, confidence=confidence, sure=guess.sure and division.sure, reasons=reasons)


def _order_of(guesses: Sequence[RollGuess], waited: Sequence[RollLog]) -> int | None:
    """The one order that all sure rolls travel in."""
    sure = {guess.code for guess in guesses if guess.sure}
    ids = {one.order_id for one in waited if one.waited.code in sure}
    return ids.pop() if len(ids) == 1 else None


def _place(
    conn: Connection,
    book: Book,
    group: _Group,
    guess: RollGuess,
    waited: Sequence[RollLog],
    looks: Mapping[str, Look],
    delivery_id: int,
    context: _Context,
) -> RollPlaced:
    """One group: laid along its log, written, and its roll moved on; doubts about it noted."""
    log = next((one for one in waited if one.waited.code == guess.code), None) if guess.sure else None
    shots = context.phone.seen() if context.phone else {}
    placed = place_group(group.files, looks, guess, log, shots)
    ids = _keep_group(conn, book, placed, group, delivery_id, log)
    if log is None:
        return placed
    if context.phone is not None:
        write_shots(conn, book, context.phone, ids)
    came_back(conn, log, delivery_id=delivery_id, count=len(placed.scans), at=context.at, who=context.who)
    seen, handed_in = delivered(conn, book, placed, group.files, group.seen, log, context.phone)
    return replace(placed, doubts=tuple(doubts_about(seen, handed_in)))


def _keep_group(
    conn: Connection, book: Book, roll: RollPlaced, group: _Group, delivery_id: int, log: RollLog | None
) -> dict[str, int]:
    """Rows of the files, the frames that the delivery adds to the log, and the scans. Returns scan rows by name."""
    frame_ids = write_frames(conn, roll, log) if log is not None else {}
    ids = {}
    for k, (one, scan) in enumerate(zip(group.files, roll.scans, strict=True)):
        kept = KeptFile(one.sha256, one.size, original_path(book, one.sha256), was_new=True)
        detail = {"ppi": one.ppi, "bits": one.bits, "orientation": one.orientation, "scanned_at": one.scanned_at}
        row = record_file(conn, kept, kind="scan", name=one.name, media_type=one.media_type, detail=detail)
        on_its_side = one.orientation >= 5
        values = {
            "file_id": row.id,
            "delivery_id": delivery_id,
            "roll_id": log.roll.id if log else None,
            "frame_id": frame_ids.get(scan.frame) if scan.frame and scan.sure else None,
            "sequence": group.first + k,
            "origin": "lab",
            "name": one.name,
            "width": one.height if on_its_side else one.width,
            "height": one.width if on_its_side else one.height,
            "state": _state(scan, log),
            "confidence": scan.confidence,
            "reasons": scan.reasons_dict(roll.guess, at=k, group=group.number),
        }
        ids[one.name] = insert(conn, scans, values)
    return ids


def _state(scan: PlacedScan, log: RollLog | None) -> str:
    if log is None or not scan.sure:
        return "asked"
    return "sure" if scan.frame is not None else "none"
