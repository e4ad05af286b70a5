"""What commands that read notes share: the file, the mapping of columns, what may be assumed."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from dryside.book.notes.noted import Assumptions
from dryside.film.refusal import NotFound, Refusal


def content_of(path: Path) -> bytes:
    """The bytes of a file; `-` is standard input.

    Raises
    ------
    NotFound
        If there is no such file.
    Refusal
        If it cannot be read.
    """
    if str(path) == "-":
        return sys.stdin.buffer.read()
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise NotFound(str(path), "no such file", "Look at its name.") from error
    except OSError as error:
        raise Refusal(str(path), f"it cannot be read ({error.strerror})", "Look at its rights.") from error


def mapping_of(given: Sequence[str]) -> dict[str, str]:
    """`FIELD=COLUMN` options as a mapping.

    Raises
    ------
    Refusal
        If one is no such pair.
    """
    pairs = [one.partition("=") for one in given]
    for field, sign, column in pairs:
        if not sign or not field or not column:
            raise Refusal(f"--map {field}", "it has no field and column", "Write it like --map shutter=Belichtung.")
    return {field.strip(): column.strip() for field, _, column in pairs}


def assumptions_of_sheet(
    offset: str | None,
    dates: str | None,
    *,
    year: int | None = None,
    day: str | None = None,
    is_half_frame: bool = False,
) -> Assumptions:
    """What a reader may assume; an offset left out is this machine's zone.

    Raises
    ------
    Refusal
        If `dates` is neither day-first nor month-first.
    """
    if dates not in (None, "day-first", "month-first"):
        raise Refusal(f"--dates {dates}", "it is neither day-first nor month-first", "Write one of them.")
    return Assumptions(
        offset=offset or zone_here(),
        year=year,
        day=day,
        month_first=None if dates is None else dates == "month-first",
        is_half_frame=is_half_frame,
    )


def zone_here() -> str:
    """This machine's zone by name where it has one (so that summer time is right for each day), else its offset."""
    zone = Path("/etc/timezone")
    name = zone.read_text("utf-8").strip() if zone.exists() else ""
    link = Path("/etc/localtime")
    if not name and link.is_symlink():
        name = str(link.resolve()).partition("zoneinfo/")[2]
    return name or datetime.now().astimezone().strftime("%z")
