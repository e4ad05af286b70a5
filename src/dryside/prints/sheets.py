"""Prints for one's own printer: rendered at their size, packed, and set on pages that are as large as the paper."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, cast

from dryside.film.printsizes import print_size
from dryside.film.refusal import Refusal
from dryside.paper.print_sheet import PrintSheet, SheetPrint, print_sheet
from dryside.prints.packing import Layout, Piece, Placed, Stand, pack
from dryside.prints.print_files import FileWish, PrintJob, encode, render

if TYPE_CHECKING:
    from dryside.prints.print_files import Image


@dataclass(frozen=True)
class SheetsMade:
    """A layout, and the PDF of it."""

    layout: Layout
    pdf: bytes


def paper_stand(text: str, *, margin_mm: float, gap_mm: float) -> Stand:
    """Paper as typed: a size (`A3`, `13x19in`, `329x483mm`), or a roll by its width: `roll 610mm`, `roll 24in`.

    Raises
    ------
    Refusal
        If it is neither.
    """
    roll = re.fullmatch(r"\s*roll\s*([\d.,]+)\s*(mm|cm|in)\s*", text, flags=re.IGNORECASE)
    if roll:
        width = float(roll[1].replace(",", ".")) * {"mm": 1.0, "cm": 10.0, "in": 25.4}[roll[2].lower()]
        if not 50 <= width <= 3000:
            raise Refusal(f"paper '{text}'", f"a roll {width:g} mm wide; rolls are 50 mm to 3 m", "Look at the unit.")
        return Stand(width, None, margin_mm, gap_mm)
    size = print_size(text)
    return Stand(size.short_mm, size.long_mm, margin_mm, gap_mm)


def make_sheets(
    jobs: Sequence[PrintJob],
    stand: Stand,
    wish: FileWish,
    *,
    made_on: date,
    turning: bool = True,
    guillotine: bool = False,
    marks: bool = True,
) -> SheetsMade:
    """Pack prints, every copy of them, and set the sheets.

    Parameters
    ----------
    jobs : sequence of PrintJob
        What to print.
    stand : Stand
        The paper.
    wish : FileWish
        Resolution, colour space and sharpening.
    made_on : date
        Of the document.
    turning, guillotine, marks : bool, optional
        See `packing.pack` and `paper.print_sheet`.

    Raises
    ------
    Refusal
        As `pack` and `print_files.render`.
    """
    pieces = [Piece(index, *job.plan.paper_mm) for index, job in enumerate(jobs) for _ in range(job.copies)]
    layout = pack(pieces, stand, turning=turning, guillotine=guillotine)
    images: dict[str, bytes] = {}
    turned = {(one.key, one.turned) for one in layout.placed}
    for key in sorted({one.key for one in layout.placed}):
        pixels, _, _ = render(jobs[key], wish)
        for way in (False, True):
            if (key, way) in turned:
                images[_name(key, way)] = encode(_turn(pixels) if way else pixels, wish)
    sheet = PrintSheet(
        title="Print sheet",
        width_mm=stand.width_mm,
        height_mm=layout.length_mm,
        sheets=tuple(
            tuple(_set(one) for one in layout.placed if one.sheet == number) for number in range(1, layout.sheets + 1)
        ),
        made_on=made_on,
        marks=marks,
    )
    return SheetsMade(layout, print_sheet(sheet, images))


def _turn(pixels: Image) -> Image:
    import numpy as np

    return cast("Image", np.ascontiguousarray(np.rot90(pixels)))


def _set(one: Placed) -> SheetPrint:
    return SheetPrint(_name(one.key, one.turned), one.left_mm, one.top_mm, one.width_mm, one.height_mm)


def _name(key: int, turned: bool) -> str:
    return f"prints/{key}{'-turned' if turned else ''}.jpg"
