"""Sheets for one's own printer: prints laid out at true size, with cut marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from dryside.paper.typeset import typeset

MARK_MM = 3.0
MARK_AWAY_MM = 0.8


@dataclass(frozen=True)
class SheetPrint:
    """One print on a sheet: its picture's name and where it lies, mm from the paper's top left corner."""

    picture: str
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class PrintSheet:
    """Sheets of one size.

    Attributes
    ----------
    title : str
        Of the document; nothing is printed of it.
    width_mm, height_mm : float
        The paper, or the piece of roll.
    sheets : tuple of tuples of SheetPrint
        What lies on each.
    made_on : date
        Of the document.
    marks : bool
        Whether corners are marked for cutting.
    """

    title: str
    width_mm: float
    height_mm: float
    sheets: tuple[tuple[SheetPrint, ...], ...]
    made_on: date
    marks: bool = True


@dataclass(frozen=True)
class Mark:
    """A short line: from and to, mm."""

    x0: float
    y0: float
    x1: float
    y1: float


def print_sheet(sheet: PrintSheet, images: Mapping[str, bytes]) -> bytes:
    """Typeset the sheets.

    Parameters
    ----------
    sheet : PrintSheet
        What lies where.
    images : mapping
        Pictures by name, already at the shape of their print.

    Returns
    -------
    bytes
        A PDF/A-2b whose pages are as large as the paper: print it at 100 %.
    """
    data: dict[str, Any] = {
        "title": sheet.title,
        "made_on": sheet.made_on,
        "width": sheet.width_mm,
        "height": sheet.height_mm,
        "sheets": [
            {
                "prints": [asdict(one) for one in prints],
                "marks": [asdict(mark) for mark in cut_marks(prints, sheet)] if sheet.marks else [],
            }
            for prints in sheet.sheets
        ],
    }
    return typeset("print-sheet", data, images=images)


def cut_marks(prints: Sequence[SheetPrint], sheet: PrintSheet) -> list[Mark]:
    """Two short lines at each corner of each print, pointing away from it; none over a print or off the paper."""
    marks = []
    for one in prints:
        for x, out_x in ((one.left_mm, -1), (one.left_mm + one.width_mm, 1)):
            for y, out_y in ((one.top_mm, -1), (one.top_mm + one.height_mm, 1)):
                marks.append(Mark(x + out_x * MARK_AWAY_MM, y, x + out_x * (MARK_AWAY_MM + MARK_MM), y))
                marks.append(Mark(x, y + out_y * MARK_AWAY_MM, x, y + out_y * (MARK_AWAY_MM + MARK_MM)))
    return [mark for mark in marks if _is_on_paper(mark, sheet) and not any(_touches(mark, one) for one in prints)]


def _is_on_paper(mark: Mark, sheet: PrintSheet) -> bool:
    across = min(mark.x0, mark.x1) >= 0 and max(mark.x0, mark.x1) <= sheet.width_mm
    return across and min(mark.y0, mark.y1) >= 0 and max(mark.y0, mark.y1) <= sheet.height_mm


def _touches(mark: Mark, one: SheetPrint) -> bool:
    """Whether a mark lies over a print; along its very edge is allowed, that is where the cut goes."""
    inside_x = max(mark.x0, mark.x1) > one.left_mm + 1e-6 and min(mark.x0, mark.x1) < one.left_mm + one.width_mm - 1e-6
    inside_y = max(mark.y0, mark.y1) > one.top_mm + 1e-6 and min(mark.y0, mark.y1) < one.top_mm + one.height_mm - 1e-6
    return inside_x and inside_y
