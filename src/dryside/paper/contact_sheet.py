"""The contact sheet: all frames of a roll on one page, in rows as the strips lie in the sleeve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryside.paper.typeset import typeset, typeset_png

PAGE_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 9.0
HEADER_MM = 17.0
FOOTER_MM = 5.0
GAP_MM = 1.2  # between two pictures of a strip
ROW_GAP_MM = 1.6
LABEL_MM = 3.4
CAPTION_LINE_MM = 2.62  # 5.5 pt and its leading
CAPTION_PAD_MM = 0.2
CAPTION_LETTER_MM = 1.3  # of a letter at 5.5 pt with the loss at line ends, measured on English captions
LARGEST_PICTURE_MM = 100.0
LEAST_CAPTION_WIDTH_MM = 20.0


@dataclass(frozen=True)
class ContactFrame:
    """One place of a strip: its label, what stands under it and its picture.

    `picture` is the name of an image handed to `contact_sheet`; None prints an empty frame with `note` in it (blank,
    missing).
    """

    label: str
    caption: str = ""
    picture: str | None = None
    note: str = ""


@dataclass(frozen=True)
class ContactSheet:
    """What is printed.

    Attributes
    ----------
    title : str
        The roll's code and title.
    line : str
        The roll's line: stock, exposure index, camera, days, lab.
    strips : sequence of sequences of ContactFrame
        The rows, as they lie in the sleeve.
    aspect : float
        Width over height of a frame as it lies on the strip: 1.5 for 135.
    film_long_mm : float
        Length of a frame along the film, mm: says the scale of the sheet.
    page : str
        `a4` or `letter`.
    made_on : str or None
        Day, ISO 8601.
    """

    title: str
    line: str
    strips: Sequence[Sequence[ContactFrame]]
    aspect: float
    film_long_mm: float
    page: str = "a4"
    made_on: str | None = None


@dataclass(frozen=True)
class CellSize:
    """Sides of a picture on the page, mm, and the lines of caption that fit under it."""

    width_mm: float
    height_mm: float
    caption_lines: int


def cell_size(*, columns: int, rows: int, aspect: float, page: str) -> CellSize:
    """The largest picture with which all rows fit on one page.

    Captions are given up to two lines where that costs no picture size, one where it costs little, none where a picture
    is too narrow to write under.

    Raises
    ------
    ValueError
        If there are no columns or rows, or `page` is none of `PAGE_MM`.
    """
    if columns < 1 or rows < 1:
        raise ValueError(f"columns is {columns} and rows is {rows}; both must be 1 or more")
    if page not in PAGE_MM:
        raise ValueError(f"page is {page!r}; it must be one of {', '.join(PAGE_MM)}")
    width, height = PAGE_MM[page]
    by_width = (width - 2 * MARGIN_MM + GAP_MM) / columns - GAP_MM
    room = (height - 2 * MARGIN_MM - HEADER_MM - FOOTER_MM + ROW_GAP_MM) / rows - ROW_GAP_MM - LABEL_MM
    best = CellSize(0.0, 0.0, 0)
    for lines in (2, 1, 0):
        picture_height = min(room - _caption_mm(lines), by_width / aspect, LARGEST_PICTURE_MM)
        if picture_height * aspect < LEAST_CAPTION_WIDTH_MM and lines:
            continue
        # Captions are worth a seventh of the picture's size, not more.
        if picture_height > best.height_mm * (1.15 if best.height_mm else 1.0):
            best = CellSize(picture_height * aspect, picture_height, lines)
    return best


def _caption_mm(lines: int) -> float:
    return lines * CAPTION_LINE_MM + CAPTION_PAD_MM if lines else 0.0


def _shortened(caption: str, cell: CellSize) -> str:
    """What fits under the picture, ended by an ellipsis where something is left out."""
    room = int(cell.caption_lines * cell.width_mm / CAPTION_LETTER_MM)
    return caption if len(caption) <= room else caption[: max(room - 1, 0)].rstrip() + "…"


def contact_sheet(sheet: ContactSheet, images: Mapping[str, bytes | Path]) -> bytes:
    """Typeset the sheet.

    Returns
    -------
    bytes
        A PDF/A-2b of one page.
    """
    return typeset("contact-sheet", _data(sheet), images=images)


def contact_sheet_png(sheet: ContactSheet, images: Mapping[str, bytes | Path], *, ppi: int) -> bytes:
    """The same page as a PNG of `ppi` pixels an inch."""
    return typeset_png("contact-sheet", _data(sheet), images=images, ppi=ppi)[0]


def _data(sheet: ContactSheet) -> dict[str, Any]:
    columns = max((len(strip) for strip in sheet.strips), default=1)
    cell = cell_size(columns=columns, rows=max(len(sheet.strips), 1), aspect=sheet.aspect, page=sheet.page)
    return {
        "page": sheet.page,
        "title": sheet.title,
        "line": sheet.line,
        "scale": f"Pictures at {cell.width_mm / sheet.film_long_mm:.0%} of the size on the film",
        "made_on": sheet.made_on,
        "columns": columns,
        "margin": MARGIN_MM,
        "gap": GAP_MM,
        "row_gap": ROW_GAP_MM,
        "width": cell.width_mm,
        "height": cell.height_mm,
        "caption_lines": cell.caption_lines,
        "caption_mm": _caption_mm(cell.caption_lines),
        "strips": [
            [
                {"label": f.label, "caption": _shortened(f.caption, cell), "picture": f.picture, "note": f.note}
                for f in strip
            ]
            for strip in sheet.strips
        ],
    }
