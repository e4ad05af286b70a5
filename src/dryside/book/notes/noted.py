"""What a note says: frames, what could not be read, and facts of the whole roll."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class NotedFrame:
    """One frame as a note has it; columns named as in the book's frames, None where nothing is said.

    `taken_to` is `day` where only the day is known (the time is then noon), else `minute` or `second`.
    """

    label: str
    line: int
    taken_at: str | None = None
    taken_to: str | None = None
    shutter: str | None = None
    shutter_s: float | None = None
    aperture: float | None = None
    focal_mm: float | None = None
    lens: str | None = None
    exposure_index: int | None = None
    exposure_bias: float | None = None
    flash: bool | None = None
    caption: str | None = None
    keywords: str | None = None
    person: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude_m: float | None = None
    place: str | None = None
    rating: int | None = None
    blank: bool = False
    notes: str | None = None
    printed: bool | None = None

    def columns(self) -> dict[str, Any]:
        """What is said, by column; nothing that is None."""
        values = {one.name: getattr(self, one.name) for one in dataclasses.fields(self)}
        return {name: value for name, value in values.items() if value is not None and name not in ("label", "line")}


@dataclass(frozen=True)
class Problem:
    """A line that could not be read, or only in part: what it says, what is wrong, what to write instead."""

    line: int
    text: str
    found: str
    remedy: str = ""

    def __str__(self) -> str:
        return f"line {self.line}: {self.found}. {self.remedy}".strip()


@dataclass(frozen=True)
class RollFacts:
    """What header lines say of the whole roll."""

    camera: str | None = None
    stock: str | None = None
    title: str | None = None
    exposure_index: int | None = None


@dataclass(frozen=True)
class Reading:
    """A whole note, read."""

    frames: tuple[NotedFrame, ...] = ()
    problems: tuple[Problem, ...] = ()
    roll: RollFacts = field(default_factory=RollFacts)
    remarks: tuple[str, ...] = ()  # what was read but a person should look at


@dataclass(frozen=True)
class Assumptions:
    """What a reader may assume where a note leaves it open.

    Attributes
    ----------
    offset : str
        Offset from UTC, `+02:00`, or the name of a time zone, `Europe/Lisbon`.
    year : int or None
        For a date without one.
    day : str or None
        For a time without a date: YYYY-MM-DD.
    month_first : bool or None
        How 3/4/2026 is read; None refuses it where both ways are days.
    is_half_frame : bool
        Whether a range counts 1, 1A, 2, 2A where the note uses such labels.
    """

    offset: str = "+00:00"
    year: int | None = None
    day: str | None = None
    month_first: bool | None = None
    is_half_frame: bool = False
