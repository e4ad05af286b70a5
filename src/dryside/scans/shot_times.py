"""A phone shot that shows the same view as a scan: what receiving needs to know of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ShotSeen:
    """The matched phone shot: its file name, instant in UTC seconds (None: unknown), how sure, its roll's code."""

    name: str
    utc: float | None
    confidence: float
    roll: str | None = None
