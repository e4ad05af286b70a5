"""Labels for rolls: on plain paper with cut marks or on sticker sheets of any grid; twin labels for roll and bag."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from dryside.film.refusal import Refusal
from dryside.paper.codes import qr_svg
from dryside.paper.typeset import typeset

PAGE_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
# Smaller than this no name can be read and no code scanned (common practice: QR modules of 0.35 mm and more).
_LEAST_WIDTH_MM, _LEAST_HEIGHT_MM = 24.0, 10.0


@dataclass(frozen=True)
class LabelGrid:
    """Where the labels lie on a sheet; lengths in mm.

    Attributes
    ----------
    left_mm, top_mm : float
        From the sheet's corner to the first label.
    gap_x_mm, gap_y_mm : float
        Between neighbours; 0 where they touch.
    cut_marks : bool
        Marks to cut by, for plain paper.
    """

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    gap_x_mm: float = 0.0
    gap_y_mm: float = 0.0
    page: str = "a4"
    cut_marks: bool = False

    @property
    def count(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows


_MM = r"(\d+(?:\.\d+)?)"
_PAIR, _SIZE = rf"{_MM}\s*,\s*{_MM}", rf"{_MM}\s*x\s*{_MM}"
_GRID = re.compile(rf"(\d+)\s*x\s*(\d+)\s+at\s+{_PAIR}\s+size\s+{_SIZE}(?:\s+gap\s+{_PAIR})?")

PLAIN_A4 = LabelGrid(3, 9, 60, 30, 15, 13.5, page="a4", cut_marks=True)
PLAIN_LETTER = LabelGrid(3, 8, 60, 30, 17.95, 19.7, page="letter", cut_marks=True)
# Twins lie side by side: an even number of columns.
TWIN_A4 = LabelGrid(4, 10, 46, 26, 13, 18.5, page="a4", cut_marks=True)
TWIN_LETTER = LabelGrid(4, 9, 46, 26, 15.95, 22.7, page="letter", cut_marks=True)


@dataclass(frozen=True)
class RollLabel:
    """What one label says.

    Attributes
    ----------
    code : str
        Large, and in the QR code.
    process : str
        With push: ``C-41 +1``.
    lines : tuple of str
        Film, format, owner: small, as many as fit.
    warnings : tuple of str
        White on black.
    """

    code: str
    process: str
    lines: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def parse_grid(text: str, *, page: str = "a4", cut_marks: bool = False) -> LabelGrid:
    """A grid as it is written for a command: ``3x8 at 15,20 size 60x30 gap 2,0`` (mm; gap may be left out).

    Raises
    ------
    Refusal
        If it is written otherwise, or does not fit the page.
    """
    matched = _GRID.fullmatch(text.strip().lower())
    if not matched:
        remedy = "Write columns x rows, first label, size, gap in mm: '3x8 at 15,20 size 60x30 gap 2,0'."
        raise Refusal(f"labels '{text}'", "this is no grid of labels", remedy)
    left, top, width, height, gap_x, gap_y = (float(one or 0) for one in matched.groups()[2:])
    columns, rows = int(matched[1]), int(matched[2])
    grid = LabelGrid(columns, rows, width, height, left, top, gap_x, gap_y, page, cut_marks)
    check_grid(grid)
    return grid


def check_grid(grid: LabelGrid) -> None:
    """Refuse a grid that no printer could print.

    Raises
    ------
    Refusal
        If it leaves the page, or its labels are too small to be read.
    ValueError
        If the page is unknown.
    """
    if grid.page not in PAGE_MM:
        raise ValueError(f"page is {grid.page!r}; it must be a4 or letter")
    if grid.columns < 1 or grid.rows < 1:
        raise Refusal("labels", f"{grid.columns} x {grid.rows} labels are none", "At least 1 x 1 is needed.")
    if grid.width_mm < _LEAST_WIDTH_MM or grid.height_mm < _LEAST_HEIGHT_MM:
        found = f"{grid.width_mm:g} x {grid.height_mm:g} mm is too small to be read"
        raise Refusal("labels", found, f"At least {_LEAST_WIDTH_MM:g} x {_LEAST_HEIGHT_MM:g} mm is needed.")
    page_width, page_height = PAGE_MM[grid.page]
    right = grid.left_mm + grid.columns * grid.width_mm + (grid.columns - 1) * grid.gap_x_mm
    bottom = grid.top_mm + grid.rows * grid.height_mm + (grid.rows - 1) * grid.gap_y_mm
    if right > page_width + 0.05 or bottom > page_height + 0.05:
        found = f"the grid reaches to {right:g} x {bottom:g} mm, the page is {page_width:g} x {page_height:g} mm"
        raise Refusal("labels", found, "Make the labels, gaps or margins smaller, or name another --page.")


def roll_labels(
    labels: Sequence[RollLabel],
    grid: LabelGrid = PLAIN_A4,
    *,
    twin: bool = False,
    skip: int = 0,
    made_on: date | None = None,
    templates: Path | None = None,
) -> bytes:
    """Print labels, in black only.

    Parameters
    ----------
    labels : sequence of RollLabel
        At least one.
    grid : LabelGrid, optional
    twin : bool, optional
        Each label twice side by side, one for the roll and one for the bag, with a word saying which.
    skip : int, optional
        Labels of the first sheet that are used already.
    templates : Path, optional
        A folder with a person's own ``roll-labels.typ``.

    Returns
    -------
    bytes
        PDF/A at true size: print it without fitting to the page.

    Raises
    ------
    Refusal
        If the grid does not fit the page or `skip` is a whole sheet.
    ValueError
        If there is no label.
    """
    check_grid(grid)
    if not labels:
        raise ValueError("labels is empty; there is nothing to print")
    if not 0 <= skip < grid.count:
        raise Refusal(f"skip {skip}", f"a sheet has {grid.count} labels", f"Skip 0 to {grid.count - 1}.")
    printed = [
        asdict(label) | {"for": part, "qr": f"qr-{number}.svg"}
        for number, label in enumerate(labels)
        for part in (("roll", "bag") if twin else ("",))
    ]
    data: dict[str, Any] = {
        "title": "Roll labels",
        "page": grid.page,
        "grid": asdict(grid),
        "labels": [None] * skip + printed,
        "made_on": made_on,
    }
    images = {f"qr-{number}.svg": qr_svg(label.code) for number, label in enumerate(labels)}
    return typeset("roll-labels", data, images=images, templates=templates)
