"""The cut plan as a picture of the film, strip below strip, with numbered cuts: to lay beside the cutter."""

from __future__ import annotations

import io
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal

from dryside.film.refusal import Refusal
from dryside.paper.typeset import typeset, typeset_png, typeset_svg

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
PICTURE_PPI = 300
MARGIN_MM = 9.0
HEADER_MM = 16.0
FOOTER_MM = 7.0
SIDE_MM = 9.0  # the strip's number at the left
NEIGHBOUR_MM = 6.0  # of the film beyond a cut, drawn faintly, so that the place is recognised
ABOVE_MM, BELOW_MM = 6.5, 4.5  # the cuts' numbers above a strip, the frames' labels below


@dataclass(frozen=True)
class DrawnFrame:
    """A picture on the film; `start_mm` counts from the strip's first cut, and may lie outside the strip for a
    neighbour.
    """

    label: str
    start_mm: float
    width_mm: float
    partial: bool = False


@dataclass(frozen=True)
class DrawnCut:
    """A cut at the end of a strip: its number (0: the trimmed end of the film), and where it lies on the whole film."""

    number: int
    from_start_mm: float
    gap_mm: float
    narrow: bool = False
    twice: bool = False


@dataclass(frozen=True)
class DrawnStrip:
    """One strip between two cuts, with where it goes."""

    number: int
    length_mm: float
    page: int
    row: int
    frames: tuple[DrawnFrame, ...]
    neighbours: tuple[DrawnFrame, ...]
    left: DrawnCut
    right: DrawnCut


@dataclass(frozen=True)
class CutPlanDrawing:
    """All that is drawn; lengths in mm of film.

    Attributes
    ----------
    roll, title, line : str
        Code and title of the roll, and the plan in a sentence.
    film_mm, picture_mm : float
        Width of the film, and of the pictures across it.
    perforated : bool
        Whether 135 perforations are drawn.
    strips : tuple of DrawnStrip
        In order along the film.
    remarks : tuple of str
        Printed at the foot of the first page.
    made_on : date
        Printed small.
    paper : str
        `a4` or `letter`.
    true_size : bool
        Whether the film is drawn as large as it is, on as many pages as that takes.
    """

    roll: str
    title: str
    line: str
    film_mm: float
    picture_mm: float
    perforated: bool
    strips: tuple[DrawnStrip, ...]
    remarks: tuple[str, ...]
    made_on: date
    paper: str = "a4"
    true_size: bool = False


def cut_plan(drawing: CutPlanDrawing) -> bytes:
    """Typeset the drawing.

    Returns
    -------
    bytes
        A PDF/A-2b: one page, or at true size as many as are needed, the paper lying on its long side.

    Raises
    ------
    Refusal
        If a strip is longer than the paper and true size was asked for.
    """
    return typeset("cut-plan", _data(drawing))


def cut_plan_pictures(drawing: CutPlanDrawing, form: Literal["svg", "png"]) -> list[bytes]:
    """The drawing as pictures, one a page, as large as the paper: an SVG in points, a PNG with its resolution in it.

    Raises
    ------
    Refusal
        As `cut_plan`.
    """
    if form == "svg":
        return typeset_svg("cut-plan", _data(drawing))
    return [_with_resolution(page) for page in typeset_png("cut-plan", _data(drawing), ppi=PICTURE_PPI)]


def _with_resolution(png: bytes) -> bytes:
    """The PNG with its pixels to the metre in it, so that it prints at its size."""
    from PIL import Image

    out = io.BytesIO()
    with Image.open(io.BytesIO(png)) as image:
        image.convert("L").save(out, "PNG", dpi=(PICTURE_PPI, PICTURE_PPI), optimize=True)
    return out.getvalue()


def drawn_scale(drawing: CutPlanDrawing) -> tuple[float, bool]:
    """Paper mm to one mm of film, and whether the paper lies on its long side.

    Raises
    ------
    Refusal
        As `cut_plan`.
    """
    longest = max(strip.length_mm for strip in drawing.strips) + 2 * NEIGHBOUR_MM
    fixed = len(drawing.strips) * (ABOVE_MM + BELOW_MM) + HEADER_MM + FOOTER_MM + 3.2 * len(drawing.remarks)
    short, long = PAPERS_MM[drawing.paper]
    if drawing.true_size:
        room = long - 2 * MARGIN_MM - SIDE_MM
        if longest > room:
            found = f"a strip of {longest - 2 * NEIGHBOUR_MM:.0f} mm does not fit the paper at true size"
            raise Refusal(
                f"cut plan of roll {drawing.roll}", found, "Leave --true-size out; the plan says the lengths."
            )
        return 1.0, True
    ways = []
    for width, height, landscape in ((short, long, False), (long, short, True)):
        across = (width - 2 * MARGIN_MM - SIDE_MM) / longest
        down = (height - 2 * MARGIN_MM - fixed) / (len(drawing.strips) * drawing.film_mm)
        ways.append((min(1.0, across, down), landscape))
    return max(ways, key=lambda way: (round(way[0], 3), not way[1]))


def _data(drawing: CutPlanDrawing) -> dict[str, Any]:
    scale, landscape = drawn_scale(drawing)
    return {
        **asdict(drawing),
        "page": drawing.paper,
        "landscape": landscape,
        "scale": scale,
        "margin": MARGIN_MM,
        "header": HEADER_MM,
        "side": SIDE_MM,
        "neighbour": NEIGHBOUR_MM,
        "above": ABOVE_MM,
        "below": BELOW_MM,
    }
