"""Dates and times as people write them in notes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from dryside.book.notes.noted import Assumptions
from dryside.book.notes.words import MONTHS, WEEKDAYS
from dryside.film.refusal import Refusal

EARLIEST_YEAR, LATEST_YEAR = 1840, 2199
_MONTH = "|".join(sorted((re.escape(name) for name in MONTHS), key=len, reverse=True))
_DAY_BEFORE = rf"(?:(?:{WEEKDAYS})\.?,?\s+)?"
DATE = re.compile(
    rf"""(?<![\w/.,-]){_DAY_BEFORE}(?:
      (?P<iso_y>\d{{4}})[-/.](?P<iso_m>\d{{1,2}})[-/.](?P<iso_d>\d{{1,2}})
    | (?P<dot_d>\d{{1,2}})\.\s?(?P<dot_m>\d{{1,2}})\.(?:\s?(?P<dot_y>\d{{4}}|\d{{2}}(?![:h\d])))?
    | (?P<sl_a>\d{{1,2}})[/-](?P<sl_b>\d{{1,2}})[/-](?P<sl_y>\d{{4}}|\d{{2}})
    | (?P<nm_d>\d{{1,2}})(?:\.|st|nd|rd|th|er|º)?\s*(?:de\s+)?(?P<nm_m>{_MONTH})\b\.?
          (?:,?\s*(?:de\s+)?(?P<nm_y>\d{{4}}))?
    | (?P<mn_m>{_MONTH})\b\.?\s+(?P<mn_d>\d{{1,2}})(?:st|nd|rd|th)?(?![\d:/])(?:,?\s*(?P<mn_y>\d{{4}}))?
    )(?=T\d\d|[\s,;]|$)""",
    re.VERBOSE | re.IGNORECASE,
)
_OFFSET = r"Z|(?:UTC|GMT)(?:\s?[+\-−]\d{1,2}(?::?\d{2})?)?|[+\-−]\d{2}:?\d{2}"
TIME = re.compile(
    rf"""(?<![\w/.,])T?(?:
      (?P<h>[01]?\d|2[0-4])(?:[:h]|\s?h\s?)(?P<m>[0-5]\d)(?:[:m](?P<s>[0-5]\d)s?)?(?:\s?(?P<half>[ap])\.?m\.?)?
    | (?P<uhr_h>[01]?\d|2[0-3])(?:\.(?P<uhr_m>[0-5]\d))?\s?(?:uhr)(?:\s(?P<uhr_m2>[0-5]\d)\b)?
    | (?P<pm_h>1[0-2]|0?[1-9])\s?(?P<pm_half>[ap])\.?m\b\.?
    )(?:\s?(?P<offset>{_OFFSET}))?(?![\w/])""",
    re.VERBOSE | re.IGNORECASE,
)


@dataclass(frozen=True)
class Clock:
    """A time of day as noted; `offset` where it was given with it."""

    at: time
    offset: str | None
    to_second: bool


def read_date(match: re.Match[str], assume: Assumptions) -> date:
    """The day of a match of `DATE`.

    Raises
    ------
    Refusal
        If there is no such day, no year is known, or day and month cannot be told apart.
    """
    found = match.group(0).strip()
    if match["sl_a"]:
        return _slashed(found, int(match["sl_a"]), int(match["sl_b"]), _year(match["sl_y"], assume, found), assume)
    if match["iso_y"]:
        year, month, day = int(match["iso_y"]), int(match["iso_m"]), int(match["iso_d"])
    elif match["dot_d"]:
        year, month, day = _year(match["dot_y"], assume, found), int(match["dot_m"]), int(match["dot_d"])
    else:
        name = (match["nm_m"] or match["mn_m"]).lower()
        year = _year(match["nm_y"] or match["mn_y"], assume, found)
        month, day = MONTHS[name], int(match["nm_d"] or match["mn_d"])
    return _day(found, year, month, day)


def read_day(text: str) -> date:
    """A day that stands alone, as a cell of a sheet: as notes have it, or `20260714`; its year in four digits.

    Raises
    ------
    Refusal
        If it is none, `3/4/2026` may be two, or its year lies outside 1840 (before that there was no film) to 2199.
    """
    plain = re.sub(r"^(\d{4})(\d{2})(\d{2})$", r"\1-\2-\3", text.strip())
    match = DATE.fullmatch(plain)
    year = re.search(r"(?<!\d)\d{4}(?!\d)", plain)
    if match is None or year is None:
        raise Refusal(f"date {text!r}", "not a day with its year", "Write it like 2026-07-14.")
    if not EARLIEST_YEAR <= int(year[0]) <= LATEST_YEAR:
        found = f"the year must be {EARLIEST_YEAR} to {LATEST_YEAR}"
        raise Refusal(f"date {text!r}", found, "Write it like 2026-07-14.")
    return read_date(match, Assumptions())


def read_time(match: re.Match[str]) -> Clock:
    """The time of a match of `TIME`.

    Raises
    ------
    Refusal
        If it is none (13 pm).
    """
    hour = int(match["h"] or match["uhr_h"] or match["pm_h"])
    minute = int(match["m"] or match["uhr_m"] or match["uhr_m2"] or 0)
    half = (match["half"] or match["pm_half"] or "").lower()
    if (half and hour > 12) or hour == 24:
        raise Refusal(f"time {match.group(0).strip()!r}", "there is no such time", "Write it like 14:30.")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return Clock(time(hour, minute, int(match["s"] or 0)), match["offset"], match["s"] is not None)


def instant_of(day: date, clock: Clock | None, assume: Assumptions) -> tuple[str, str]:
    """(ISO 8601 instant with offset, `day` | `minute` | `second`); a day without time is its noon.

    Raises
    ------
    Refusal
        If the assumed time zone is unknown.
    """
    at = clock.at if clock else time(12)
    zone = zone_of(clock.offset if clock and clock.offset else assume.offset)
    instant = datetime.combine(day, at, tzinfo=zone)
    precision = "day" if clock is None else "second" if clock.to_second else "minute"
    return instant.isoformat(timespec="seconds"), precision


def zone_of(text: str) -> tzinfo:
    """The zone of `+02:00`, `+0200`, `UTC+2`, `Z` or `Europe/Lisbon`.

    Raises
    ------
    Refusal
        If it is none.
    """
    plain = text.strip().replace("−", "-")
    if plain.upper() in ("Z", "UTC", "GMT"):
        return UTC
    match = re.fullmatch(r"(?:UTC|GMT)?\s?([+-])(\d{1,2})(?::?(\d{2}))?", plain, re.IGNORECASE)
    if match and int(match[2]) <= 14:
        minutes = int(match[2]) * 60 + int(match[3] or 0)
        return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))
    try:
        return ZoneInfo(plain)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise Refusal(f"time zone {text!r}", "not known", "Write it like +02:00 or Europe/Lisbon.") from error


def _slashed(found: str, first: int, second: int, year: int, assume: Assumptions) -> date:
    month_first = assume.month_first
    if month_first is None:
        if first <= 12 and second <= 12 and first != second:
            raise Refusal(
                f"date {found!r}",
                f"it may be {year}-{second:02d}-{first:02d} or {year}-{first:02d}-{second:02d}",
                "Write it like 2026-07-14, or say --dates day-first.",
            )
        month_first = second > 12
    return _day(found, year, first if month_first else second, second if month_first else first)


def _year(text: str | None, assume: Assumptions, found: str) -> int:
    if text is None:
        if assume.year is None:
            raise Refusal(f"date {found!r}", "the year is missing", "Write it like 2026-07-14.")
        return assume.year
    if len(text) == 4:
        return int(text)
    # Two digits: the century that lies nearest to the roll's own year, else 2000 to 2099.
    base = assume.year if assume.year is not None else 2050
    return min((century + int(text) for century in range(1800, 2200, 100)), key=lambda year: abs(year - base))


def _day(found: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise Refusal(f"date {found!r}", "there is no such day", "Write it like 2026-07-14.") from error
