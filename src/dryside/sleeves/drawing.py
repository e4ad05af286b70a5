"""A cut plan as the drawing that is printed."""

from __future__ import annotations

from datetime import date
from typing import Literal

from dryside.film.formats import FORMATS, FilmFormat
from dryside.paper.cut_plan import (
    NEIGHBOUR_MM,
    CutPlanDrawing,
    DrawnCut,
    DrawnFrame,
    DrawnStrip,
    cut_plan,
    cut_plan_pictures,
)
from dryside.sleeves.cutting import CutPlan, Strip


def drawing_of(
    plan: CutPlan, roll: str, title: str, made_on: date, *, paper: str = "a4", true_size: bool = False
) -> CutPlanDrawing:
    """What `paper.cut_plan` draws of a plan: each strip from cut to cut, and faintly what lies beyond."""
    film = _film(plan)
    pages = "page" if plan.pages == 1 else "pages"
    line = f"{len(plan.frames)} frames in {len(plan.strips)} strips for {plan.pages} {pages} of {plan.page.key}"
    return CutPlanDrawing(
        roll=roll,
        title=title,
        line=line,
        film_mm=film.film_width_mm or film.across_mm,
        picture_mm=film.across_mm,
        perforated=film.is_perforated,
        strips=tuple(_strip(plan, strip) for strip in plan.strips),
        remarks=plan.remarks,
        made_on=made_on,
        paper=paper,
        true_size=true_size,
    )


def drawn_pages(drawing: CutPlanDrawing, form: Literal["pdf", "svg", "png"]) -> list[tuple[str, bytes]]:
    """The drawing as files: what each page's name has at its end ('' for the only one, else '-1', '-2'), and its bytes.

    Raises
    ------
    Refusal
        As `paper.cut_plan.cut_plan`.
    """
    pages = [cut_plan(drawing)] if form == "pdf" else cut_plan_pictures(drawing, form)
    return [(f"-{number}" if len(pages) > 1 else "", page) for number, page in enumerate(pages, 1)]


def _film(plan: CutPlan) -> FilmFormat:
    """A frame size on the page's film, for the film's width and the pictures' height."""
    return next(one for one in FORMATS.values() if one.film == plan.page.film)


def _strip(plan: CutPlan, strip: Strip) -> DrawnStrip:
    page, row = plan.place_of(strip)
    inside = range(strip.first, strip.last + 1)
    return DrawnStrip(
        number=strip.number,
        length_mm=strip.length_mm,
        page=page,
        row=row,
        frames=tuple(_frame(plan, strip, index) for index in inside),
        neighbours=tuple(
            _frame(plan, strip, index)
            for index in (strip.first - 1, strip.last + 1)
            if 0 <= index < len(plan.frames) and _is_near(plan, strip, index)
        ),
        left=_cut(plan, strip.number - 1, strip.start_mm),
        right=_cut(plan, strip.number, strip.end_mm),
    )


def _frame(plan: CutPlan, strip: Strip, index: int) -> DrawnFrame:
    frame = plan.frames[index]
    return DrawnFrame(frame.label, frame.start_mm - strip.start_mm, frame.end_mm - frame.start_mm, frame.partial)


def _is_near(plan: CutPlan, strip: Strip, index: int) -> bool:
    frame = plan.frames[index]
    return frame.start_mm < strip.end_mm + NEIGHBOUR_MM and frame.end_mm > strip.start_mm - NEIGHBOUR_MM


def _cut(plan: CutPlan, number: int, at_mm: float) -> DrawnCut:
    """The cut of that number, or an end of the film."""
    from_start = at_mm - plan.strips[0].start_mm
    if not 1 <= number <= len(plan.cuts):
        return DrawnCut(0, from_start, 0.0)
    cut = plan.cuts[number - 1]
    return DrawnCut(number, from_start, cut.gap_mm, cut.is_narrow, cut.again_at_mm is not None)
