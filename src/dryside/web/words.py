"""How days, instants, times and stops are written on the pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from dryside.film.exposure import format_f_number
from dryside.film.processes import process_name
from dryside.film.speed import format_push


def day(value: date | str | None) -> str:
    """A day in words: 12 May 2026; nothing for none."""
    if not value:
        return ""
    known = value if isinstance(value, date) else date.fromisoformat(value[:10])
    return f"{known.day} {known:%B %Y}"


def short_day(value: date | str | None) -> str:
    """A day with its weekday: Tue 12 May."""
    if not value:
        return ""
    known = value if isinstance(value, date) else date.fromisoformat(value[:10])
    return f"{known:%a} {known.day} {known:%b}"


def moment(value: str | None, known_to: str | None = None) -> str:
    """An instant as the clock stood there: 12 May 2026, 18:30; only its day where no more is known."""
    if not value:
        return ""
    return day(value) if known_to == "day" or len(value) < 16 else f"{day(value)}, {value[11:16]}"


def settings(frame: Any) -> str:
    """Exposure of a frame: 1/250 f/8 50 mm."""
    parts = [
        frame.shutter,
        f"f/{format_f_number(frame.aperture)}" if frame.aperture else None,
        f"{frame.focal_mm:g} mm" if frame.focal_mm else None,
    ]
    return "  ".join(part for part in parts if part)


def stars(count: int | None) -> str:
    """A rating as stars."""
    return "★" * (count or 0)


def push(stops: float) -> str:
    """A push or pull: +1; nothing for none."""
    return format_push(stops) if stops else ""


FILTERS: Mapping[str, Callable[..., str]] = {
    "day": day,
    "short_day": short_day,
    "moment": moment,
    "settings": settings,
    "stars": stars,
    "push": push,
    "process": process_name,
}
