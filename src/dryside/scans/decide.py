"""What a delivery left open, as questions, and the answers written into the book."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dryside.book.folder import Book
from dryside.book.frames import find_frame, list_frames, normal_label
from dryside.book.instants import now
from dryside.book.rolls import find_roll, get_roll
from dryside.book.rows import update
from dryside.book.schema import deliveries, files, scans
from dryside.film.refusal import NotFound, Refusal
from dryside.scans.alignment import Reason
from dryside.scans.looks import look_at
from dryside.scans.picture_files import read_rgb8
from dryside.scans.placing import PlacedScan, RollPlaced, place_group, write_frames
from dryside.scans.roll_came_back import came_back
from dryside.scans.rolls_waited import rolls_waited
from dryside.scans.taking_in import Taken, thumbnail_path
from dryside.scans.which_roll import SAYS, RollGuess

if TYPE_CHECKING:
    from sqlalchemy import Connection, Row


def questions(book: Book, delivery_id: int | None = None) -> list[dict[str, Any]]:
    """Everything that is asked, roll by roll and then frame by frame.

    Returns
    -------
    list of dict
        `{"kind": "roll", "delivery", "group", "files", "guess", "confidence", "others", "why"}`: which roll a group of
        files is; `{"kind": "frame", "delivery", "file", "roll", "guess", "confidence", "others", "why"}`: which frame a
        scan is.
    """
    with book.read() as conn:
        rows = _asked(conn, delivery_id)
        codes = {row.roll_id: get_roll(conn, row.roll_id).code for row in rows if row.roll_id is not None}
    out: list[dict[str, Any]] = []
    groups: dict[tuple[int, int], dict[str, Any]] = {}
    for row in rows:
        reasons = row.reasons or {}
        if row.roll_id is None:
            key = (row.delivery_id, _group_of(row))
            if key not in groups:
                roll = reasons.get("roll", {})
                groups[key] = {
                    "kind": "roll", "delivery": row.delivery_id, "group": key[1], "files": [],
                    "guess": roll.get("code"), "confidence": roll.get("confidence"), "others": roll.get("others", []),
                    "why": [SAYS.get(name, name) for name in roll.get("why", [])],
                }  # fmt: skip
                out.append(groups[key])
            groups[key]["files"].append(row.name)
        else:
            out.append({
                "kind": "frame", "delivery": row.delivery_id, "file": row.name, "roll": codes[row.roll_id],
                "guess": reasons.get("frame"), "confidence": row.confidence, "others": reasons.get("others", []),
                "why": [reason["says"] for reason in reasons.get("why", [])],
            })  # fmt: skip
    return sorted(out, key=lambda question: question["kind"] == "frame")


def answer(
    book: Book,
    delivery_id: int,
    *,
    rolls: Mapping[int, str | None] | None = None,
    frames_by_file: Mapping[str, str | None] | None = None,
    begins: Mapping[int, str] | None = None,
    at: str | None = None,
    who: str | None = None,
) -> list[dict[str, Any]]:
    """Write answers into the book; what is still asked comes back.

    Parameters
    ----------
    book : Book
        The book.
    delivery_id : int
        The delivery's row.
    rolls : mapping of int to str or None, optional
        Group number: the roll's code or name; None for 'none of mine', which leaves the files without a roll.
    frames_by_file : mapping of str to str or None, optional
        File name: the frame's label (a new one is added to the log); None for 'no frame of this roll'.
    begins : mapping of int to str, optional
        Group number: the file it begins with, where one run of files was divided wrongly. What lies before that file
        goes to the group before; a number that there is not yet makes a new group of that file and those after it.
    at, who : str, optional
        For the events.

    Raises
    ------
    NotFound
        If the delivery, a group, a roll or a file is not there.
    Refusal
        If a frame is answered for a file whose roll is not known yet.
    """
    with book.write() as conn:
        if conn.execute(deliveries.select().where(deliveries.c.id == delivery_id)).first() is None:
            raise NotFound(f"delivery {delivery_id}", "not in this book", "See: dryside receive --questions.")
        for group, name in (begins or {}).items():
            _begin_with(conn, delivery_id, int(group), name)
        for group, code in (rolls or {}).items():
            _answer_roll(conn, book, delivery_id, int(group), code, at or now(), who)
        for name, label in (frames_by_file or {}).items():
            _answer_frame(conn, delivery_id, name, label)
    return questions(book, delivery_id)


def _asked(conn: Connection, delivery_id: int | None) -> list[Row[Any]]:
    statement = scans.select().where(scans.c.state == "asked").order_by(scans.c.delivery_id, scans.c.sequence)
    if delivery_id is not None:
        statement = statement.where(scans.c.delivery_id == delivery_id)
    return list(conn.execute(statement))


def _begin_with(conn: Connection, delivery_id: int, group: int, name: str) -> None:
    """Divide the open files anew, so that `group` begins with the file `name`."""
    rows = [row for row in _asked(conn, delivery_id) if row.roll_id is None]
    first = next((row for row in rows if row.name == name), None)
    if first is None:
        raise NotFound(f"file {name}", "its roll is not asked in this delivery", "See: dryside receive --questions.")
    mine = {_group_of(first)}
    before = [_group_of(row) for row in rows if row.sequence < first.sequence and _group_of(row) != group]
    is_new = all(_group_of(row) != group for row in rows)
    if not is_new:
        mine |= {group, *before[-1:]}
    rest = before[-1] if before else group
    for row in rows:
        if _group_of(row) in mine:
            number = group if row.sequence >= first.sequence else _group_of(row) if is_new else rest
            update(conn, scans, row.id, {"reasons": {**(row.reasons or {}), "group": number}})


def _group_of(row: Row[Any]) -> int:
    return int((row.reasons or {}).get("group", 0))


def _answer_roll(
    conn: Connection, book: Book, delivery_id: int, group: int, code: str | None, at: str, who: str | None
) -> None:
    rows = [row for row in _asked(conn, delivery_id) if row.roll_id is None and _group_of(row) == group]
    if not rows:
        raise NotFound(f"group {group} of delivery {delivery_id}", "nothing is asked of it", "See --questions.")
    if code is None:
        for row in rows:
            update(conn, scans, row.id, {"state": "none"})
        return
    roll = find_roll(conn, code)
    log = rolls_waited(conn, rolls=(roll.code,))[0]
    taken = [_taken(conn, row) for row in rows]
    looks = {one.sha256: look_at(read_rgb8(thumbnail_path(book, one.sha256))) for one in taken}
    guess = RollGuess(roll.code, 1.0, True, ("named_by_hand",), ())
    placed = place_group(taken, looks, guess, log, {})
    ids = write_frames(conn, placed, log)
    for k, (row, scan) in enumerate(zip(rows, placed.scans, strict=True)):
        update(conn, scans, row.id, _values(scan, guess, roll.id, ids, k, group))
    came_back(conn, log, delivery_id=delivery_id, count=len(rows), at=at, who=who)


def _values(
    scan: PlacedScan, guess: RollGuess, roll_id: int, ids: Mapping[str, int], place: int, group: int
) -> dict[str, Any]:
    state = "asked" if not scan.sure else "sure" if scan.frame is not None else "none"
    return {
        "roll_id": roll_id,
        "frame_id": ids.get(scan.frame) if scan.frame and scan.sure else None,
        "state": state,
        "confidence": scan.confidence,
        "reasons": scan.reasons_dict(guess, at=place, group=group),
    }


def _taken(conn: Connection, row: Row[Any]) -> Taken:
    file = conn.execute(files.select().where(files.c.id == row.file_id)).one()
    detail = file.detail or {}
    return Taken(
        row.name, file.sha256, file.size, file.media_type, row.width, row.height, detail.get("bits", 8),
        detail.get("ppi"), 1, detail.get("scanned_at"),
    )  # fmt: skip


def _answer_frame(conn: Connection, delivery_id: int, name: str, label: str | None) -> None:
    row = conn.execute(scans.select().where(scans.c.delivery_id == delivery_id, scans.c.name == name)).first()
    if row is None:
        raise NotFound(f"file {name}", f"not in delivery {delivery_id}", "See: dryside receive --questions.")
    if label is None:
        update(conn, scans, row.id, {"frame_id": None, "state": "none", "confidence": 1.0})
        return
    if row.roll_id is None:
        raise Refusal(name, "its roll is not known yet", "Answer which roll it is first.")
    wanted = normal_label(label)
    if wanted not in {frame.label for frame in list_frames(conn, row.roll_id)}:
        roll = get_roll(conn, row.roll_id)
        log = rolls_waited(conn, rolls=(roll.code,))[0]
        why = (Reason("named_by_hand", 0.0, "answered"),)
        guess = RollGuess(roll.code, 1.0, True, ("named_by_hand",), ())
        new = PlacedScan(name, wanted, 1.0, True, why, is_new=True)
        write_frames(conn, RollPlaced(guess, (new,), (), "", "answered", False), log)
    frame = find_frame(conn, row.roll_id, wanted)
    update(conn, scans, row.id, {"frame_id": frame.id, "state": "confirmed", "confidence": 1.0})
