"""What is due as an iCalendar file (RFC 5545) that a calendar takes in again and again without doubling anything.

Each entry keeps its UID for good. Its SEQUENCE grows only when the entry itself changes; what is done is sent once more
as cancelled, so that calendars drop it. What was last sent is remembered in the book's settings, under `calendar`.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from dryside.book.schema import settings
from dryside.labs.due import DueEntry

if TYPE_CHECKING:
    from icalendar import Alarm, Event
    from sqlalchemy import Connection

_SETTING = "calendar"
_ALARM_HOUR = 9
_KEEP_CANCELLED_DAYS = 60


@dataclass(frozen=True)
class SentEntry:
    """What a calendar was last told of an entry: revision, when it changed (ISO 8601, UTC), and its words."""

    sequence: int
    changed_at: str
    digest: str
    day: str
    title: str
    cancelled: bool = False


def export_calendar(conn: Connection, entries: Sequence[DueEntry], *, now: datetime) -> bytes:
    """The calendar of `entries`, and remember what was sent.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    entries : sequence of DueEntry
    now : datetime
        With offset; becomes the time stamp of entries that changed.

    Returns
    -------
    bytes
        With the same entries as last time, the same bytes.
    """
    memory = _load(conn)
    book_id, sent = memory["book"], {uid: SentEntry(**one) for uid, one in memory["sent"].items()}
    stamp = now.astimezone(UTC).isoformat(timespec="seconds")
    after: dict[str, SentEntry] = {}
    events: list[tuple[str, str, Event]] = []
    for entry in entries:
        uid = _uid(entry, book_id)
        after[uid] = _next(sent.get(uid), entry, stamp)
        events.append((after[uid].day, uid, _event(uid, entry, after[uid])))
    oldest = (now.date() - timedelta(days=_KEEP_CANCELLED_DAYS)).isoformat()
    for uid, last in sent.items():
        if uid not in after and max(last.day, last.changed_at[:10]) >= oldest:
            gone = last if last.cancelled else _cancelled(last, stamp)
            after[uid] = gone
            events.append((gone.day, uid, _cancelled_event(uid, gone)))
    _save(conn, {"book": book_id, "sent": {uid: asdict(one) for uid, one in after.items()}})
    return _calendar([event for _, _, event in sorted(events, key=lambda one: one[:2])])


def _calendar(events: Sequence[Event]) -> bytes:
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//Dryside//due//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Film: due")
    for event in events:
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _uid(entry: DueEntry, book_id: str) -> str:
    """The same for ever for the same kind and subject of one book."""
    return f"{uuid.uuid5(uuid.UUID(book_id), f'{entry.kind}/{entry.subject}')}@dryside"


def _next(last: SentEntry | None, entry: DueEntry, stamp: str) -> SentEntry:
    """The entry's revision: as it was if nothing of it changed, else one more."""
    digest = _digest(entry)
    if last is not None and last.digest == digest and not last.cancelled:
        return last
    sequence = 0 if last is None else last.sequence + 1
    return SentEntry(sequence, stamp, digest, entry.day.isoformat(), entry.title)


def _digest(entry: DueEntry) -> str:
    """Of what a calendar shows: urgency and asides are not in it, for they change by themselves as days pass."""
    shown = [entry.day.isoformat(), entry.title, entry.detail, list(entry.alarm_days)]
    return hashlib.sha256(json.dumps(shown, ensure_ascii=False).encode()).hexdigest()


def _cancelled(last: SentEntry, stamp: str) -> SentEntry:
    return SentEntry(last.sequence + 1, stamp, last.digest, last.day, last.title, cancelled=True)


def _event(uid: str, entry: DueEntry, sent: SentEntry) -> Event:
    event = _base_event(uid, sent)
    event.add("description", entry.detail)
    event.add("categories", [entry.kind])
    for days in entry.alarm_days:
        event.add_component(_alarm(entry.title, days))
    return event


def _cancelled_event(uid: str, sent: SentEntry) -> Event:
    event = _base_event(uid, sent)
    event.add("status", "CANCELLED")
    return event


def _base_event(uid: str, sent: SentEntry) -> Event:
    from icalendar import Event

    day = date.fromisoformat(sent.day)
    event = Event()
    event.add("uid", uid)
    changed = datetime.fromisoformat(sent.changed_at)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("sequence", sent.sequence)
    event.add("summary", sent.title)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")  # it takes no time out of the day
    return event


def _alarm(title: str, days_before: int) -> Alarm:
    """At nine in the morning, so many days before."""
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", title)
    alarm.add("trigger", timedelta(hours=_ALARM_HOUR) - timedelta(days=days_before))
    return alarm


def _load(conn: Connection) -> dict[str, Any]:
    from sqlalchemy import select

    value = conn.execute(select(settings.c.value).where(settings.c.name == _SETTING)).scalar_one_or_none()
    return value or {"book": str(uuid.uuid4()), "sent": {}}


def _save(conn: Connection, value: dict[str, Any]) -> None:
    conn.execute(settings.delete().where(settings.c.name == _SETTING))
    conn.execute(settings.insert().values(name=_SETTING, value=value))
