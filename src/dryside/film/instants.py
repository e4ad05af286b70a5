"""Dates, times and offsets from UTC as people type them.

An instant is only made with an offset: where none was typed the caller gives the one that held, or the parts stay
apart. Nothing here asks for the day it is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone

from dryside.film.refusal import Refusal, quoted

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
EARLIEST_YEAR = 1840
"""Before that there was no film to expose, and hardly a photograph."""
LATEST_YEAR = 2199
_LARGEST_OFFSET = timedelta(hours=14)


@dataclass(frozen=True)
class Moment:
    """What was typed of an instant; the parts that were not are None."""

    day: date | None
    clock: time | None
    offset: timedelta | None

    def instant(self, *, default_offset: timedelta | None = None) -> datetime | None:
        """The instant with its offset, or None where day, time or any offset is missing."""
        offset = self.offset if self.offset is not None else default_offset
        if self.day is None or self.clock is None or offset is None:
            return None
        return datetime.combine(self.day, self.clock, tzinfo=timezone(offset))


def parse_date(text: str, *, day_first: bool | None = None) -> date:
    """A date: `2026-03-14`, `20260314`, `2026/3/14`, `14.3.2026`, `14 March 2026`, `Mar 14, 2026`, `14/03/2026`.

    Parameters
    ----------
    text : str
        What was typed.
    day_first : bool, optional
        How `3/4/2026` is read; without it such a date is refused, one like `14/3/2026` is read as it must be.
        With dots the day always comes first.

    Raises
    ------
    Refusal
        If it is no date, does not exist, is ambiguous, or has a year of two digits or outside 1840 to 2199.
    """
    plain = re.sub(r"\s+", " ", text.strip().lower())
    plain = re.sub(r"^(mon|tues?|wed(nes)?|thu(rs)?|fri|sat(ur)?|sun)(day)?[,.]? ", "", plain)
    year, month, day = _date_parts(text, plain, day_first)
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        found = f"the year must be {EARLIEST_YEAR} to {LATEST_YEAR}, with four digits"
        raise Refusal(f"date {quoted(text)}", found, "Write it as 2026-03-14.")
    try:
        return date(year, month, day)
    except ValueError:
        raise Refusal(f"date {quoted(text)}", "there is no such day", "Look at day and month again.") from None


def _date_parts(text: str, plain: str, day_first: bool | None) -> tuple[int, int, int]:
    """Year, month, day, not checked for being a day."""
    if found := re.fullmatch(r"(\d{4})([-/.:])(\d{1,2})\2(\d{1,2})", plain) or re.fullmatch(
        r"(\d{4})()(\d{2})(\d{2})", plain
    ):
        return int(found[1]), int(found[3]), int(found[4])
    if found := re.fullmatch(r"(\d{1,2})(?:st|nd|rd|th|\.)? ?([a-z]{3,9})\.?,? (\d{4})", plain):
        return int(found[3]), _month(text, found[2]), int(found[1])
    if found := re.fullmatch(r"([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", plain):
        return int(found[3]), _month(text, found[1]), int(found[2])
    if found := re.fullmatch(r"(\d{1,2})\. ?(\d{1,2})\. ?(\d{4})", plain):
        return int(found[3]), int(found[2]), int(found[1])
    if found := re.fullmatch(r"(\d{1,2})([-/])(\d{1,2})\2(\d{4})", plain):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        if first > 12 or first == second:
            return year, second, first
        if second > 12:
            return year, first, second
        if day_first is None:
            either = f"{year}-{second:02d}-{first:02d} or {year}-{first:02d}-{second:02d}"
            raise Refusal(f"date {quoted(text)}", "day and month may be either way round", f"Write {either}.")
        return (year, second, first) if day_first else (year, first, second)
    raise Refusal(f"date {quoted(text)}", "not a date", "Write it as 2026-03-14.")


def _month(text: str, word: str) -> int:
    full = (
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
    )
    if word[:3] in _MONTHS and (word in (*_MONTHS, "sept") or word in (*full, "december")):
        return _MONTHS.index(word[:3]) + 1
    raise Refusal(f"date {quoted(text)}", f"{quoted(word)} is no month", "Write it as 14 Mar 2026.")


def parse_time(text: str) -> time:
    """A time of day: `14:05`, `14:05:30`, `14.05`, `14h05`, `1405`, `2 pm`, `2:05pm`, `noon`.

    Raises
    ------
    Refusal
        If it is no time of day.
    """
    plain = re.sub(r"\s+", "", text.strip().lower()).replace("a.m.", "am").replace("p.m.", "pm")
    plain = {"noon": "12:00", "midday": "12:00", "midnight": "00:00"}.get(plain, plain)
    found = re.fullmatch(r"(\d{1,2})(?:[:.h](\d{2})(?::(\d{2})(?:\.\d+)?)?)?(am|pm|h)?", plain)
    found = found or re.fullmatch(r"(\d{2})(\d{2})()()", plain)
    if not found or (found[2] in (None, "") and not found[4]):
        raise Refusal(f"time {quoted(text)}", "not a time of day", "Write it as 14:05.")
    hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
    if found[4] in ("am", "pm"):
        if not 1 <= hour <= 12:
            raise Refusal(f"time {quoted(text)}", f"{hour} does not go with {found[4]}", "Write it as 14:05.")
        hour = hour % 12 + (12 if found[4] == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise Refusal(f"time {quoted(text)}", "there is no such time", "Write it as 14:05.")
    return time(hour, minute, second)


def parse_offset(text: str) -> timedelta:
    """An offset from UTC: `+01:00`, `-0530`, `+1`, `UTC+2`, `GMT-3`, `Z`, `UTC`.

    Raises
    ------
    Refusal
        If it is none, or lies beyond 14 hours. Names of places and `CET` are refused: what they mean depends on the
        day.
    """
    plain = re.sub(r"\s+", "", text.strip().upper()).replace("−", "-").replace("–", "-")
    if plain in ("Z", "UTC", "GMT"):
        return timedelta(0)
    found = re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?(\d{2}))?", plain)
    if not found:
        raise Refusal(f"offset {quoted(text)}", "not an offset from UTC", "Write it as +01:00.")
    offset = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
    if int(found[3] or 0) > 59 or offset > _LARGEST_OFFSET:
        raise Refusal(
            f"offset {quoted(text)}", "no place has it; they run from -12:00 to +14:00", "Write it as +01:00."
        )
    return offset if found[1] == "+" else -offset


def format_offset(offset: timedelta) -> str:
    """An offset as standards write it: `+01:00`."""
    minutes = round(offset.total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


_OFFSET_AT_END = re.compile(
    r"""(?<=[\dmn])\s*                          # after the digits of a time, am or pm, noon
    (?: (?:UTC|GMT)(?:\s*[+−-]\s*\d{1,2}(?::?\d{2})?)? | Z
      | (?:(?<=:\d\d)|(?<=:\d\d\.\d)|(?<=:\d\d\.\d\d)|(?<=:\d\d\.\d{3}))[+−-]\d{2}:?\d{2}
      | \s[+−-]\d{1,2}(?::?\d{2})? )$""",
    re.IGNORECASE | re.VERBOSE,
)
_CLOCK_AT_END = re.compile(
    r"""(?:^|[\s,])(?:at\s+)?
    ( \d{1,2}[:.h]\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s*[ap]\.?m\.?)?
    | \d{1,2}\s*[ap]\.?m\.? | noon | midday | midnight )$""",
    re.IGNORECASE | re.VERBOSE,
)


def parse_moment(text: str, *, day_first: bool | None = None) -> Moment:
    """Day, time and offset from one piece of text, in that order, each of which may be missing.

    Takes ISO 8601 (`2026-03-14T14:05:30+01:00`), Exif (`2026:03:14 14:05:30`) and what people type (`14 Mar 2026 2pm`).

    Raises
    ------
    Refusal
        If some of it is no date, time or offset, or nothing was typed.
    """
    rest, offset, clock = text.strip(), None, None
    if re.match(r"\d{4}-?\d{2}-?\d{2}T\d", rest):
        return _of_iso(text, rest)
    if found := _OFFSET_AT_END.search(rest):
        rest, offset = rest[: found.start()], parse_offset(found[0])
    if found := _CLOCK_AT_END.search(rest):
        rest, clock = rest[: found.start()].strip(" ,"), parse_time(found[1])
    day = parse_date(rest, day_first=day_first) if rest else None
    if day is None and clock is None:
        raise Refusal(f"moment {quoted(text)}", "no date and no time in it", "Write it as 2026-03-14 14:05.")
    return Moment(day, clock, offset)


def _of_iso(text: str, stamp: str) -> Moment:
    try:
        parsed = datetime.fromisoformat(stamp)
    except ValueError:
        raise Refusal(
            f"moment {quoted(text)}", "not a time as ISO 8601 writes it", "Write it as 2026-03-14T14:05."
        ) from None
    parse_date(parsed.date().isoformat())  # the same bounds on the year
    return Moment(parsed.date(), parsed.time(), parsed.utcoffset())
