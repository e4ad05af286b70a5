"""The files of one roll laid along its log: frame by frame with confidence and reasons, and the frames it adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dryside.book.frames import add_frame, list_frames
from dryside.book.schema import frames as frames_table
from dryside.scans.alignment import Alignment, FrameLogged, Placed, Reason, ScanSeen, align, film_number
from dryside.scans.looks import Look, is_same_view
from dryside.scans.mine import Doubt
from dryside.scans.numbering import Numbering, read_numbering
from dryside.scans.rolls_waited import RollLog
from dryside.scans.shot_times import ShotSeen
from dryside.scans.taking_in import Taken
from dryside.scans.which_roll import RollGuess

if TYPE_CHECKING:
    from sqlalchemy import Connection

_FIRST_LABELS = (-1.0, 0.0, 1.0)


@dataclass(frozen=True)
class PlacedScan:
    """One scan of a delivery: the frame's label (None: none), how sure, why, and what else it may be.

    `also` is the second label of a file that shows two half frames; `is_new` says that the frame was not logged.
    """

    name: str
    frame: str | None
    confidence: float
    sure: bool
    reasons: tuple[Reason, ...]
    others: tuple[tuple[str | None, float], ...] = ()
    also: str | None = None
    is_new: bool = False
    is_blank: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "name": self.name, "frame": self.frame, "also": self.also, "confidence": round(self.confidence, 3),
            "sure": self.sure, "blank": self.is_blank, "reasons": [reason.as_dict() for reason in self.reasons],
            "others": [{"frame": label, "confidence": share} for label, share in self.others],
        }  # fmt: skip

    def reasons_dict(self, guess: RollGuess, *, at: int, group: int = 0) -> dict[str, Any]:
        """What the book keeps beside the scan, enough to ask about it later."""
        return {
            "frame": self.frame, "also": self.also, "why": [reason.as_dict() for reason in self.reasons],
            "others": [{"frame": label, "confidence": share} for label, share in self.others],
            "roll": {"code": guess.code, "confidence": guess.confidence, "why": list(guess.reasons),
                     "others": list(guess.others)},
            "group": group,
            "place": at,
        }  # fmt: skip


@dataclass(frozen=True)
class RollPlaced:
    """A group of files and the roll it is, or may be."""

    guess: RollGuess
    scans: tuple[PlacedScan, ...]
    missing: tuple[str, ...]
    pattern: str
    reading: str
    is_backwards: bool
    doubts: tuple[Doubt, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "roll": self.guess.code, "sure": self.guess.sure, "confidence": self.guess.confidence,
            "reasons": list(self.guess.reasons), "others": list(self.guess.others), "names": self.pattern,
            "reading": self.reading, "backwards": self.is_backwards, "missing": list(self.missing),
            "doubts": [doubt.as_dict() for doubt in self.doubts],
            "scans": [scan.as_dict() for scan in self.scans],
        }  # fmt: skip


def place_group(
    files: Sequence[Taken],
    looks: Mapping[str, Look],
    guess: RollGuess,
    log: RollLog | None,
    shots: Mapping[str, ShotSeen],
) -> RollPlaced:
    """Lay a group of files along a roll's log.

    Parameters
    ----------
    files : sequence of Taken
        In the order of the delivery.
    looks : mapping of str to Look
        By digest.
    guess : RollGuess
        The roll.
    log : RollLog or None
        Its log; None while the roll is not sure, and then no frame is.
    shots : mapping of str to ShotSeen
        By the scan's name.
    """
    stems = [_stem(one.name) for one in files]
    numbering = read_numbering(stems)
    seen = _seen(files, looks, numbering, shots)
    if log is None:
        unsure = Reason("roll_unsure", 0.0, "which roll it is must be answered first")
        scans = [
            PlacedScan(f.name, None, 0.0, False, (unsure,), is_blank=s.blank) for f, s in zip(files, seen, strict=True)
        ]
        return RollPlaced(guess, tuple(scans), (), numbering.pattern, "none", False)
    if not log.frames:
        return _without_log(files, seen, numbering, guess)
    logged = [_logged(frame.label, frame.position, frame.blank, frame.taken_utc) for frame in log.frames]
    pairs = numbering.is_paired or _shows_two(files, log)
    found = align(seen, logged, pairs=pairs)
    labels = [frame.label for frame in log.frames]
    scans = [_placed(one, place, labels, s.blank) for one, place, s in zip(files, found.places, seen, strict=True)]
    scans = _add_unlogged(scans, numbering, found, labels)
    missing = tuple(labels[j] for j in found.missing if not log.frames[j].blank)
    return RollPlaced(guess, tuple(scans), missing, numbering.pattern, found.reading, found.backwards)


def _stem(name: str) -> str:
    base = name.rpartition("/")[2]
    return base.rsplit(".", 1)[0] if "." in base else base


def _logged(label: str, position: int, blank: bool, taken_utc: float | None) -> FrameLogged:
    number = film_number(label)
    return FrameLogged(float(position + 1) if number is None else number, blank, taken_utc)


def _shows_two(files: Sequence[Taken], log: RollLog) -> bool:
    """Half frames two to a file: half as many files as frames, of the shape of a full frame."""
    if log.roll.format != "half" or abs(len(files) * 2 - len(log.frames)) > 4:
        return False
    wide = sum(max(f.width, f.height) / min(f.width, f.height) > 1.42 for f in files)
    return wide * 2 > len(files)


def _seen(
    files: Sequence[Taken], looks: Mapping[str, Look], numbering: Numbering, shots: Mapping[str, ShotSeen]
) -> list[ScanSeen]:
    out = []
    for i, one in enumerate(files):
        number = numbering.numbers[i]
        shot = shots.get(one.name)
        view = looks[one.sha256]
        out.append(
            ScanSeen(
                number=film_number(number.label) if number else None,
                blank=view.is_blank,
                like_previous=i > 0 and is_same_view(view, looks[files[i - 1].sha256]),
                shot_utc=shot.utc if shot else None,
                shot_confidence=shot.confidence if shot else 0.0,
            )
        )
    return out


def _placed(one: Taken, place: Placed, labels: Sequence[str], blank: bool) -> PlacedScan:
    def label(j: int | None) -> str | None:
        return None if j is None else labels[j]

    others = tuple((label(j), share) for j, share in place.others)
    return PlacedScan(
        one.name, label(place.frame), place.confidence, place.sure, place.reasons, others, label(place.also),
        is_blank=blank,
    )  # fmt: skip


def _add_unlogged(
    scans: Sequence[PlacedScan], numbering: Numbering, found: Alignment, labels: Sequence[str]
) -> list[PlacedScan]:
    """Scans that are surely none of the logged frames get a frame of their own by the number in their name."""
    out = []
    for placed, number in zip(scans, numbering.numbers, strict=True):
        scan = placed
        is_label = found.reading in ("numbers_are_labels", "numbers_count_frames") and not found.backwards
        if scan.frame is None and scan.sure and number is not None and is_label and number.label not in labels:
            why = Reason("not_logged", 0.0, "its number lies outside the log, so the log gains a frame")
            scan = replace(scan, frame=number.label, is_new=True, reasons=(*scan.reasons, why))
        out.append(scan)
    return out


def _without_log(
    files: Sequence[Taken], seen: Sequence[ScanSeen], numbering: Numbering, guess: RollGuess
) -> RollPlaced:
    """A roll of which nothing was noted: the delivery is the log. Labels are the numbers if these can be a film's."""
    first = min((s.number for s in seen if s.number is not None), default=None)
    usable = numbering.is_run and first in _FIRST_LABELS and all(number is not None for number in numbering.numbers)
    scans = []
    for i, one in enumerate(files):
        number = numbering.numbers[i]
        label = number.label if usable and number is not None else str(i + 1)
        also = str(number.second) if usable and number is not None and number.second is not None else None
        says = "nothing was logged: numbered as the files are" if usable else "nothing was logged: numbered in order"
        why = Reason("no_log", 0.0, says)
        scans.append(PlacedScan(one.name, label, 0.95, True, (why,), also=also, is_new=True, is_blank=seen[i].blank))
    missing = tuple(str(value) for value in numbering.missing) if usable else ()
    reading = "numbers_are_labels" if usable else "numbers_absent"
    return RollPlaced(guess, tuple(scans), missing, numbering.pattern, reading, False)


def write_frames(conn: Connection, placed: RollPlaced, log: RollLog) -> dict[str, int]:
    """Row ids of the roll's frames by label, after adding those that only the delivery knows of.

    New frames are put where their number belongs; the others keep their order.
    """
    known = {frame.label: frame.id for frame in list_frames(conn, log.roll.id)}
    new = [label for scan in placed.scans if scan.is_new for label in (scan.frame, scan.also) if label]
    new = [label for label in dict.fromkeys(new) if label not in known]
    if not new:
        return known
    top = max((frame.position for frame in log.frames), default=-1) + 1
    for k, label in enumerate(new):
        known[label] = add_frame(conn, log.roll.id, position=top + k, label=label).id
    if log.frames:
        _put_in_order(conn, log.roll.id)
    return known


def _put_in_order(conn: Connection, roll_id: int) -> None:
    """Number the positions anew by the labels' places along the film; words keep their place after their neighbour."""
    rows = list_frames(conn, roll_id)
    keys: dict[int, tuple[float, int]] = {}
    last = -2.0
    for row in rows:
        number = film_number(row.label)
        last = number if number is not None else last
        keys[row.id] = (last, row.position)
    order = sorted(rows, key=lambda row: keys[row.id])
    # Two passes, since a position may not be taken twice even for a moment.
    for offset in (len(rows) + max(row.position for row in rows) + 1, 0):
        for position, row in enumerate(order):
            conn.execute(frames_table.update().where(frames_table.c.id == row.id).values(position=offset + position))
