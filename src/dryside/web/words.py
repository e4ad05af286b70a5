"""How days, instants, times and stops are written on the pages."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from dryside.film.exposure import format_f_number
from dryside.film.processes import process_name
from dryside.film.speed import format_push

_ISO_DAY = re.compile(r"\b(?:19|20)\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])\b")
_ISO_MONTH = re.compile(r"\d{4}-(?:0[1-9]|1[0-2])")


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


def dated(text: str | None) -> str:
    """A sentence made for the terminal, its days written as the pages write them."""
    return _ISO_DAY.sub(lambda found: day(found[0]), text or "")


def month(value: str) -> str:
    """A month in words, of its ISO form: May 2026; anything else as it is."""
    return f"{date.fromisoformat(f'{value}-01'):%B %Y}" if _ISO_MONTH.fullmatch(value) else value


def without_commands(text: str) -> str:
    """A remedy without the sentences that tell what to type in a terminal."""
    sentences = text.replace(". ", ".\n").splitlines()
    return " ".join(one for one in sentences if "dryside " not in one)


def count(number: int, thing: str, several: str | None = None) -> str:
    """A number with what it counts: 1 order, 2 orders."""
    return f"{number} {thing if number == 1 else several or f'{thing}s'}"


JOB_NAMES = {
    "receive": "Taking in",
    "inspect": "Looking at quality",
    "tag": "Date and caption",
    "contact": "Contact sheet",
    "prints": "Prints",
    "look": "Looking for the film",
    "invert": "Positives",
}


def job_name(kind: str) -> str:
    """What a job does, as its button says it."""
    return JOB_NAMES.get(kind, kind.capitalize())


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
    "dated": dated,
    "month": month,
    "without_commands": without_commands,
    "count": count,
    "job_name": job_name,
    "process": process_name,
}
