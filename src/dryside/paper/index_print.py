"""An index print: one small print with all frames of a roll, numbered, as labs used to lay into the bag."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from dryside.paper.typeset import typeset, typeset_png

MARGIN_MM = 3.0
HEAD_MM = 6.5
GAP_MM = 1.0
LABEL_MM = 2.6


@dataclass(frozen=True)
class IndexFrame:
    """A frame: label, and the name of its picture; None prints an empty place with `note`."""

    label: str
    picture: str | None = None
    note: str = ""


@dataclass(frozen=True)
class IndexPrint:
    """The whole print.

    Attributes
    ----------
    title, line : str
        Roll and what it is, at the top.
    width_mm, height_mm : float
        The paper: 152 x 102 for a 4R.
    aspect : float
        Width over height of a frame.
    frames : tuple of IndexFrame
        In order along the film.
    made_on : date
        Of the document.
    """

    title: str
    line: str
    width_mm: float
    height_mm: float
    aspect: float
    frames: tuple[IndexFrame, ...]
    made_on: date


@dataclass(frozen=True)
class IndexGrid:
    """Columns, rows, and the sides of a picture in mm."""

    columns: int
    rows: int
    width_mm: float
    height_mm: float


def index_grid(count: int, aspect: float, width_mm: float, height_mm: float) -> IndexGrid:
    """The grid that shows `count` pictures largest.

    Raises
    ------
    ValueError
        If there are no pictures.
    """
    if count < 1:
        raise ValueError(f"count is {count}; an index print needs a frame")
    room_w, room_h = width_mm - 2 * MARGIN_MM, height_mm - 2 * MARGIN_MM - HEAD_MM
    grids = []
    for columns in range(1, count + 1):
        rows = -(-count // columns)
        wide = (room_w - (columns - 1) * GAP_MM) / columns
        high = (room_h - (rows - 1) * GAP_MM) / rows - LABEL_MM
        picture = min(wide, high * aspect)
        if picture > 0:
            grids.append(IndexGrid(columns, rows, picture, picture / aspect))
    return max(grids, key=lambda grid: (round(grid.width_mm, 6), -grid.columns))


def index_print(index: IndexPrint, images: Mapping[str, bytes]) -> bytes:
    """Typeset the print: a PDF/A-2b as large as its paper."""
    return typeset("index-print", _data(index), images=images)


def index_print_png(index: IndexPrint, images: Mapping[str, bytes], *, ppi: int) -> bytes:
    """The same print as a PNG of `ppi` pixels an inch, for a lab that takes pictures only."""
    return typeset_png("index-print", _data(index), images=images, ppi=ppi)[0]


def _data(index: IndexPrint) -> dict[str, Any]:
    grid = index_grid(len(index.frames), index.aspect, index.width_mm, index.height_mm)
    return {
        "title": index.title,
        "line": index.line,
        "made_on": index.made_on,
        "paper": [index.width_mm, index.height_mm],
        "margin": MARGIN_MM,
        "head": HEAD_MM,
        "gap": GAP_MM,
        "label": LABEL_MM,
        "grid": asdict(grid),
        "rows": _rows(index.frames, grid.columns),
    }


def _rows(frames: Sequence[IndexFrame], columns: int) -> list[list[dict[str, Any]]]:
    return [[asdict(frame) for frame in frames[start : start + columns]] for start in range(0, len(frames), columns)]
