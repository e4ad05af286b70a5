"""The time zone of the machine that serves the pages."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path


def zone_here() -> str:
    """The zone by name where the machine has one, so that summer time is right for each day; else its offset now."""
    zone = Path("/etc/timezone")
    name = zone.read_text("utf-8").strip() if zone.exists() else ""
    link = Path("/etc/localtime")
    if not name and link.is_symlink():
        name = str(link.resolve()).partition("zoneinfo/")[2]
    return name or datetime.now().astimezone().strftime("%z")
