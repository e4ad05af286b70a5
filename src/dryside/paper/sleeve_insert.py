"""The page that lies beside a sleeve page: each picture where its negative lies, and the way back to the roll."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from dryside.paper.codes import qr_svg
from dryside.paper.typeset import typeset

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 10.0
HEADER_MM = 27.0
FOOTER_MM = 6.0
ROW_NUMBER_MM = 5.0
LABEL_MM = 3.2  # frame numbers under each row
ROW_GAP_MM = 1.2

SHOWN_ROLLS = 3
"""Rolls with a QR in the header; a page of single strips from more rolls names the others."""


@dataclass(frozen=True)
class InsertFrame:
    """A picture on a strip: where it begins on the strip and how wide it is, in mm of film.

    `picture` names one of the images handed over; None draws an empty frame with `note` in it.
    """

    label: str
    start_mm: float
    width_mm: float
    picture: str | None = None
    note: str = ""


@dataclass(frozen=True)
class InsertStrip:
    """A strip: the row it lies in, where in the row it begins, its length, and a word about it (lent, or empty)."""

    row: int
    start_mm: float
    length_mm: float
    frames: tuple[InsertFrame, ...]
    note: str = ""


@dataclass(frozen=True)
class InsertRoll:
    """A roll of the page: its code, the line that describes it, and the text of its QR."""

    code: str
    line: str
    qr: str


@dataclass(frozen=True)
class SleeveInsert:
    """One sleeve page on paper; lengths in mm of film.

    Attributes
    ----------
    binder, shelf : str
        Where the page is kept.
    number : int
        Page of the binder.
    layout : str
        Rows x frames in a row.
    rows : int
        Rows of the sleeve page.
    row_mm, film_mm, picture_mm : float
        Length of a row, width of the film, and the pictures' side across the film.
    rolls : tuple of InsertRoll
        Rolls on the page.
    strips : tuple of InsertStrip
        Strips on the page.
    made_on : date
        Printed small.
    paper : str
        `a4` or `letter`.
    """

    binder: str
    shelf: str
    number: int
    layout: str
    rows: int
    row_mm: float
    film_mm: float
    picture_mm: float
    rolls: tuple[InsertRoll, ...]
    strips: tuple[InsertStrip, ...]
    made_on: date
    paper: str = "a4"


@dataclass(frozen=True)
class InsertLayout:
    """How the page is drawn: which way the paper lies, and paper mm to one mm of film (1.0: over the sleeve itself)."""

    landscape: bool
    scale: float


def choose_layout(insert: SleeveInsert) -> InsertLayout:
    """The way of the paper that shows the rows larger, at their true size where that fits, never above."""
    ways = [InsertLayout(landscape, _scale(insert, landscape)) for landscape in (False, True)]
    return max(ways, key=lambda way: (round(way.scale, 3), not way.landscape))


def _scale(insert: SleeveInsert, landscape: bool) -> float:
    width, height = sorted(PAPERS_MM[insert.paper], reverse=landscape)
    across = (width - 2 * MARGIN_MM - ROW_NUMBER_MM) / insert.row_mm
    room = height - 2 * MARGIN_MM - HEADER_MM - FOOTER_MM - insert.rows * (LABEL_MM + ROW_GAP_MM)
    return min(1.0, across, room / (insert.rows * insert.film_mm))


def sleeve_insert(insert: SleeveInsert, images: Mapping[str, bytes | Path] | None = None) -> bytes:
    """Typeset the page.

    Parameters
    ----------
    insert : SleeveInsert
        What lies where.
    images : mapping, optional
        Pictures by the names that the frames use.

    Returns
    -------
    bytes
        A PDF/A-2b of one page.
    """
    layout = choose_layout(insert)
    codes = {f"qr/{number}.svg": qr_svg(roll.qr) for number, roll in enumerate(insert.rolls[:SHOWN_ROLLS])}
    return typeset("sleeve-insert", _data(insert, layout), images={**(images or {}), **codes})


def _data(insert: SleeveInsert, layout: InsertLayout) -> dict[str, Any]:
    shown = insert.rolls[:SHOWN_ROLLS]
    return {
        **{key: value for key, value in asdict(insert).items() if key not in ("strips", "rolls", "paper")},
        "page": insert.paper,
        "landscape": layout.landscape,
        "scale": layout.scale,
        "title": f"{insert.binder}, page {insert.number}",
        "margin": MARGIN_MM,
        "header": HEADER_MM,
        "row_number": ROW_NUMBER_MM,
        "label": LABEL_MM,
        "row_gap": ROW_GAP_MM,
        "rolls": [{**asdict(roll), "image": f"qr/{number}.svg"} for number, roll in enumerate(shown)],
        "more_rolls": ", ".join(roll.code for roll in insert.rolls[SHOWN_ROLLS:]),
        "by_row": [_row(insert.strips, row) for row in range(1, insert.rows + 1)],
    }


def _row(strips: Sequence[InsertStrip], row: int) -> list[dict[str, Any]]:
    return [asdict(strip) for strip in strips if strip.row == row]
