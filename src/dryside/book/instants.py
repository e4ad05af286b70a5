"""Instants with an offset and days, as the book writes them."""

from __future__ import annotations

from datetime import UTC, date, datetime

from dryside.film.refusal import Refusal


def now() -> str:
    """This moment as ISO 8601 with the machine's offset, to the second."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def parse_instant(text: str) -> datetime:
    """An instant with its offset.

    Raises
    ------
    Refusal
        If `text` is no ISO 8601 instant or has no offset.
    """
    try:
        instant = datetime.fromisoformat(text)
    except ValueError as error:
        raise Refusal(text, "this is no date and time", "Write it like 2026-07-14T18:30:00+02:00.") from error
    if instant.tzinfo is None:
        raise Refusal(text, "a time needs its offset from UTC", "Write it like 2026-07-14T18:30:00+02:00.")
    return instant


def utc_seconds(text: str) -> float:
    """Seconds since 1970 UTC of an ISO 8601 instant (negative before), for sorting.

    Raises
    ------
    Refusal
        As `parse_instant`.
    """
    return parse_instant(text).timestamp()


def parse_day(text: str) -> date:
    """A day, YYYY-MM-DD.

    Raises
    ------
    Refusal
        If `text` is none.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise Refusal(text, "this is no day", "Write it like 2026-07-14.") from error
