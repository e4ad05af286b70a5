"""What a picture would be on paper, worked out apart from the server: plans for sizes, subject and faces."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Looked:
    """A picture's size in pixels, its faces and subject, and a plan for each size."""

    width_px: int
    height_px: int
    subject: Any
    faces: tuple[Any, ...]
    plans: tuple[Any, ...]


def look(path: str, sizes: list[str] | None, way: str, border_mm: float, at: float | None) -> Looked:
    """Read a picture and lay it on papers; all that the trade sells where no size is named."""
    from dryside.film.printsizes import print_size
    from dryside.prints.looking import look_at, plans_for

    picture = look_at(Path(path))
    named = [print_size(one) for one in sizes] if sizes else None
    plans = plans_for(picture, named, way=way, border_mm=border_mm, at=at)  # type: ignore[arg-type]
    return Looked(picture.width_px, picture.height_px, picture.subject, tuple(picture.faces), tuple(plans))
