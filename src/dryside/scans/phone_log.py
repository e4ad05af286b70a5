"""Phone shots as the log: when and where a frame was taken, written where the log says nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import keep_original, original_path
from dryside.book.folder import Book
from dryside.book.frames import get_frame, update_frame
from dryside.book.rolls import find_roll
from dryside.book.rows import update
from dryside.book.schema import files, frames, scans
from dryside.film.refusal import NotFound
from dryside.scans.matching import Matching, Pair, match_pictures
from dryside.scans.phone import ClockOffset, clock_offset, read_phone_folder
from dryside.scans.picture_files import media_type
from dryside.scans.shot_times import ShotSeen

if TYPE_CHECKING:
    from sqlalchemy import Connection

SURE_FROM = 0.9
_QUARTER_S = 900


@dataclass(frozen=True)
class ShotLog:
    """Matched shots, the clock's difference to the log, and the offset taken for shots that wrote none (seconds)."""

    matching: Matching
    clock: ClockOffset | None
    assumed_offset_s: int | None

    def seen(self) -> dict[str, ShotSeen]:
        """By scan name, what alignment needs: the shot's instant on the log's clock, and how sure."""
        ahead = self.clock.seconds if self.clock else 0.0
        out = {}
        for pair in self.matching.pairs:
            shot = self.matching.shot_of(pair)
            if shot is not None:
                utc = None if shot.utc is None else shot.utc + ahead
                out[pair.scan] = ShotSeen(shot.name, utc, pair.confidence)
        return out

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the report."""
        matched = sum(pair.reference is not None for pair in self.matching.pairs)
        clock = None
        if self.clock is not None:
            clock = {"seconds": round(self.clock.seconds), "pairs": self.clock.pairs, "says": self.clock.says}
        return {
            "matched": matched, "shots": len(self.matching.shots), "order": self.matching.order, "clock": clock,
            "put_aside": [aside.as_dict() for aside in self.matching.asides],
        }  # fmt: skip


def read_shot_log(
    scans_by_name: Mapping[str, Path],
    references: Path,
    *,
    log_utc: Iterable[float] = (),
    phone_offset_s: int | None = None,
    step: Callable[[str], None] | None = None,
) -> ShotLog:
    """Match scans to a phone's folder, and hold the phone's clock against the log's times.

    Parameters
    ----------
    scans_by_name : mapping of str to Path
        The scans in the order of the delivery.
    references : Path
        The phone's folder.
    log_utc : iterable of float, optional
        Instants of the roll's log, seconds since 1970.
    phone_offset_s : int, optional
        The phone clock's offset from UTC where its pictures do not say it.
    step : callable, optional
        Called with each name that was looked at.

    Raises
    ------
    NotFound
        If the folder is not there or holds no picture.
    """
    phone = read_phone_folder(references)
    found = match_pictures(list(scans_by_name.items()), phone.shots, step=step)
    matching = Matching(found.pairs, found.order, phone.shots, (*phone.asides, *found.asides))
    times = [shot.utc for pair in found.pairs if (shot := matching.shot_of(pair)) and shot.utc is not None]
    clock = clock_offset(list(log_utc), times)
    assumed = phone_offset_s
    if assumed is None and clock is not None:
        # A shot without offset was taken for UTC, so the log is behind it by the phone's zone.
        assumed = -round(clock.seconds / _QUARTER_S) * _QUARTER_S
    return ShotLog(matching, clock, assumed)


def write_shots(conn: Connection, book: Book, log: ShotLog, scan_ids: Mapping[str, int]) -> int:
    """Keep the matched shots, and give frames the time and place that the log lacks. Returns how many frames gained.

    Only pairs that are sure write anything; nothing that was logged is overwritten.
    """
    gained = 0
    for pair in log.matching.pairs:
        if pair.confidence >= SURE_FROM and pair.reference is not None and pair.scan in scan_ids:
            gained += _write_one(conn, book, log, pair, scan_ids[pair.scan])
    return gained


def _write_one(conn: Connection, book: Book, log: ShotLog, pair: Pair, scan_id: int) -> bool:
    shot = log.matching.shot_of(pair)
    assert shot is not None
    file = keep_original(
        book, shot.path, kind="phone shot", name=shot.name, conn=conn, media_type=media_type(shot.path)
    )
    update(conn, scans, scan_id, {"phone_file_id": file.id})
    frame_id = conn.execute(scans.select().where(scans.c.id == scan_id)).one().frame_id
    if frame_id is None:
        return False
    frame = get_frame(conn, frame_id)
    changes: dict[str, Any] = {}
    taken = shot.taken_at(log.assumed_offset_s)
    if frame.taken_at is None and taken is not None:
        changes["taken_at"] = taken
    if frame.latitude is None and shot.latitude is not None:
        changes |= {"latitude": shot.latitude, "longitude": shot.longitude}
        if shot.altitude_m is not None and -500 <= shot.altitude_m <= 10_000:
            changes["altitude_m"] = round(shot.altitude_m, 1)
    if changes:
        update_frame(conn, frame_id, **changes)
    return bool(changes)


def match_roll(
    book: Book,
    roll: str,
    references: Path,
    *,
    phone_offset_s: int | None = None,
    step: Callable[[str], None] | None = None,
) -> tuple[ShotLog, int]:
    """Match a roll's scans in the book to a phone's shots and write what they say; second: how many frames gained.

    Raises
    ------
    NotFound
        If there is no such roll, it has no scans, or the folder has no picture.
    """
    from sqlalchemy import select

    with book.read() as conn:
        row = find_roll(conn, roll)
        found = conn.execute(
            select(scans.c.id, scans.c.name, files.c.sha256)
            .join(files, files.c.id == scans.c.file_id)
            .where(scans.c.roll_id == row.id)
            .order_by(scans.c.delivery_id, scans.c.sequence)
        ).all()
        logged = conn.execute(select(frames.c.taken_utc).where(frames.c.roll_id == row.id)).scalars()
        times = [utc for utc in logged if utc is not None]
    if not found:
        raise NotFound(f"roll {row.code}", "it has no scans yet", "Receive them first: dryside receive.")
    paths = {scan.name: original_path(book, scan.sha256) for scan in found}
    log = read_shot_log(paths, references, log_utc=times, phone_offset_s=phone_offset_s, step=step)
    with book.write() as conn:
        gained = write_shots(conn, book, log, {scan.name: scan.id for scan in found})
    return log, gained
