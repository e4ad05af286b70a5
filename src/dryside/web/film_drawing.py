"""Film drawn as SVG: a sleeve page as it lies in the binder, a cut plan strip below strip. Lengths in mm of film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from dryside.paper.cut_plan import CutPlanDrawing, DrawnStrip
from dryside.paper.sleeve_insert import InsertStrip, SleeveInsert

GAP_MM = 5.0
LEFT_MM = 9.0


def sleeve_page_drawing(insert: SleeveInsert, links: Mapping[str, tuple[str, str, str]]) -> Markup:
    """A page with each picture where its negative lies.

    Parameters
    ----------
    insert : SleeveInsert
        The page.
    links : mapping of picture's name to (where a press leads, address of the picture, words for a reader)
    """
    row_mm = insert.film_mm + GAP_MM
    width, height = LEFT_MM + insert.row_mm + 2, insert.rows * row_mm + 2
    parts = []
    for row in range(insert.rows):
        y = row * row_mm + 2
        parts.append(
            Markup(
                '<rect class="sleeve-row" x="{}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>'
                '<text class="sleeve-number" x="0" y="{:.1f}">{}</text>'
            ).format(LEFT_MM, y - 1, insert.row_mm, insert.film_mm + 2, y + insert.film_mm / 2 + 2, row + 1)
        )
    parts += [_strip(insert, strip, (strip.row - 1) * row_mm + 2, links) for strip in insert.strips]
    title = f"Page {insert.number} of binder {insert.binder}"
    return _svg(width, height, parts, "sleeve-page", title)


def _strip(insert: SleeveInsert, strip: InsertStrip, y: float, links: Mapping[str, tuple[str, str, str]]) -> Markup:
    x = LEFT_MM + strip.start_mm
    parts = [
        Markup('<rect class="film" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>').format(
            x, y, strip.length_mm, insert.film_mm
        )
    ]
    top = y + (insert.film_mm - insert.picture_mm) / 2
    for frame in strip.frames:
        href, picture, told = links.get(frame.picture or "", ("", "", ""))
        left = x + frame.start_mm
        inside = Markup('<rect class="film-frame" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>').format(
            left, top, frame.width_mm, insert.picture_mm
        )
        if picture:
            inside += Markup(
                '<image href="{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" '
                'preserveAspectRatio="xMidYMid slice"/>'
            ).format(picture, left, top, frame.width_mm, insert.picture_mm)
        inside += Markup('<text class="film-label" x="{:.1f}" y="{:.1f}">{}</text>').format(
            left + 1, top + insert.picture_mm + 3.6, frame.label
        )
        parts.append(Markup('<a href="{}" aria-label="{}">{}</a>').format(href, told, inside) if href else inside)
    if strip.note:
        parts.append(
            Markup('<text class="film-note" x="{:.1f}" y="{:.1f}">{}</text>').format(
                x + strip.length_mm - 1, y + 4.2, strip.note
            )
        )
    return Markup("").join(parts)


def cut_plan_drawing(drawing: CutPlanDrawing) -> Markup:
    """Strips from cut to cut, each with the number of the cut behind it and the row it goes to."""
    row_mm = drawing.film_mm + GAP_MM
    width = LEFT_MM + max((strip.length_mm for strip in drawing.strips), default=0.0) + 16
    parts = [_cut_strip(drawing, strip, number * row_mm + 2) for number, strip in enumerate(drawing.strips)]
    return _svg(width, len(drawing.strips) * row_mm + 2, parts, "cut-drawing", f"Where to cut roll {drawing.roll}")


def _cut_strip(drawing: CutPlanDrawing, strip: DrawnStrip, y: float) -> Markup:
    top = y + (drawing.film_mm - drawing.picture_mm) / 2
    parts = [
        Markup(
            '<text class="sleeve-number" x="0" y="{:.1f}">{}</text>'
            '<rect class="film" x="{}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>'
        ).format(y + drawing.film_mm / 2 + 2, strip.number, LEFT_MM, y, strip.length_mm, drawing.film_mm)
    ]
    for frame in strip.frames:
        parts.append(
            Markup(
                '<rect class="film-frame" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>'
                '<text class="film-number" x="{:.1f}" y="{:.1f}">{}</text>'
            ).format(
                LEFT_MM + frame.start_mm, top, frame.width_mm, drawing.picture_mm,
                LEFT_MM + frame.start_mm + frame.width_mm / 2, top + drawing.picture_mm / 2 + 2, frame.label,
            )
        )  # fmt: skip
    if strip.right.number:
        x = LEFT_MM + strip.length_mm
        parts.append(
            Markup(
                '<path class="cut-line{}" d="M{:.1f} {:.1f}V{:.1f}"/><text class="cut-number" x="{:.1f}" y="{:.1f}">'
                "{}</text>"
            ).format(
                " narrow" if strip.right.narrow else "", x, y - 2, y + drawing.film_mm + 2, x + 2,
                y + drawing.film_mm / 2 + 2, f"cut {strip.right.number}",
            )
        )  # fmt: skip
    return Markup("").join(parts)


def _svg(width: float, height: float, parts: Sequence[Markup], kind: str, title: str) -> Markup:
    return Markup('<svg class="{}" viewBox="0 0 {:.1f} {:.1f}" role="group" aria-label="{}">{}</svg>').format(
        kind, width, height, title, Markup("").join(parts)
    )
