"""Sleeve pages: rows, frames a row, what a page holds, and how long strips are.

Layouts are common practice without a source: 35 mm pages of 7 strips of 5, 6 of 6 and 7 of 6; 120 pages of 3 strips of
4 or 4 of 3 6x6 frames. A roll of 36 with one frame more does not fit a 7x5 page, one of 38 not a 6x6 page.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dryside.film.formats import FORMATS, film_format
from dryside.film.refusal import Refusal, quoted

MOST_ROWS = 20
MOST_FRAMES_PER_ROW = 20
SHORTEST_STRIP_FRAMES = 2
"""No strip is cut shorter: a single frame slips out of its sleeve and scanners cannot hold it (common practice)."""
GOOD_STRIP_FRAMES = 4
"""Strips of 135 are cut no shorter than this if it can be helped (common practice)."""

# Common practice: rows of 120 pages are as long as four 6x6 frames or three, those of 135 pages as six frames or five.
_ROOM_TO_SLIDE_MM = 6.0


@dataclass(frozen=True)
class SleevePage:
    """A sleeve page; a row takes one strip.

    Attributes
    ----------
    key : str
        Rows x frames a row: `7x5`.
    film : str
        `135` or `120`: a row's width.
    rows, frames_per_row : int
        `frames_per_row` counts the page's own frame size: full frames on 135, 6x6 on 120.
    row_length_mm : float
        Longest strip that a row takes.
    """

    key: str
    film: str
    rows: int
    frames_per_row: int
    row_length_mm: float

    @property
    def frame_format(self) -> str:
        """Key of the frame size the page is named by."""
        return _NAMED_BY[self.film]

    @property
    def capacity(self) -> int:
        """Frames of the page's own size that it holds."""
        return self.rows * self.frames_per_row

    def frames_per_row_of(self, format_key: str) -> int:
        """Frames of any size of the page's film that one row takes: 12 half frames or 5 frames of 6x4.5 where 6 or 4
        fit.

        Raises
        ------
        Refusal
            If there is no such format, or the page is for another film.
        """
        chosen = film_format(format_key)
        if chosen.film != self.film:
            found = f"{format_key} is on {chosen.film}, the page takes {self.film}"
            raise Refusal(f"sleeve page {self.key}", found, f"Choose a page for {chosen.film}.")
        count = 0
        while strip_length_mm(count + 1, format_key) <= self.row_length_mm:
            count += 1
        return count

    def capacity_of(self, format_key: str) -> int:
        """Frames of any size of the page's film that the page holds.

        Raises
        ------
        Refusal
            If there is no such format, or the page is for another film.
        """
        return self.rows * self.frames_per_row_of(format_key)

    def takes_strip(self, length_mm: float) -> bool:
        """Whether a strip of that length goes into a row."""
        return 0 < length_mm <= self.row_length_mm


_NAMED_BY = {"135": "135", "120": "120-6x6", "127": "127-4x4"}


def strip_length_mm(frames: int, format_key: str) -> float:
    """Length of a strip of so many frames, cut in the middle of the gaps, in mm: 6 frames of 135 are 228 mm.

    Parameters
    ----------
    frames : int
        0 or more.
    format_key : str
        A key of `FORMATS`; where no pitch is standard, the usual gap is taken.

    Raises
    ------
    Refusal
        If there is no such format.
    ValueError
        If `frames` is below 0.
    """
    if frames < 0:
        raise ValueError(f"frames is {frames}; it must be 0 or more")
    return frames * film_format(format_key).usual_pitch_mm


def page(rows: int, frames_per_row: int, *, film: str = "135") -> SleevePage:
    """A page of any layout, for films `135`, `120` and `127`.

    Raises
    ------
    Refusal
        If rows or frames a row lie outside 1 to 20, or the film has no sleeve pages.
    """
    key = f"{rows}x{frames_per_row}"
    if film not in _NAMED_BY:
        raise Refusal(f"sleeve page {key}", f"no page is known for {film}", "Pages are for 135, 120 or 127 film.")
    if not (1 <= rows <= MOST_ROWS and 1 <= frames_per_row <= MOST_FRAMES_PER_ROW):
        found = f"rows and frames a row run from 1 to {MOST_ROWS}"
        raise Refusal(f"sleeve page {key}", found, "Write rows x frames a row, as 7x5.")
    return SleevePage(
        key, film, rows, frames_per_row, strip_length_mm(frames_per_row, _NAMED_BY[film]) + _ROOM_TO_SLIDE_MM
    )


def sleeve_page(text: str, *, film: str = "135") -> SleevePage:
    """The page that `7x5` or `6 x 6` names, rows first.

    Parameters
    ----------
    text : str
        Rows x frames a row.
    film : str, optional
        `135`, `120` or `127`, or any format's key on one of them (`half`, `120-6x7`).

    Raises
    ------
    Refusal
        If it is no layout, or out of bounds, or the film has no pages.
    """
    matched = re.fullmatch(r"(\d{1,3})\s*[x×*]\s*(\d{1,3})", text.strip().lower())
    if not matched:
        raise Refusal(f"sleeve page {quoted(text)}", "not rows x frames a row", "Write it as 7x5 or 6x6.")
    return page(int(matched[1]), int(matched[2]), film=FORMATS[film].film if film in FORMATS else film)


SLEEVE_PAGES: Mapping[str, tuple[SleevePage, ...]] = MappingProxyType(
    {
        "135": (page(7, 5), page(6, 6), page(7, 6)),
        "120": (page(3, 4, film="120"), page(4, 3, film="120")),
        "127": (page(4, 4, film="127"),),
    }
)
"""The usual pages by film."""
