"""Labels for the spines of binders: the name to be read from across the room, and what is inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date

from dryside.film.refusal import Refusal
from dryside.paper.codes import qr_svg
from dryside.paper.typeset import typeset

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 12.0
GAP_MM = 8.0  # between labels, for the cut marks
NARROWEST_MM, SHORTEST_MM = 15.0, 60.0


@dataclass(frozen=True)
class SpineLabel:
    """One label.

    Attributes
    ----------
    name : str
        The binder's name, the largest thing on it.
    years : str
        '2024 to 2026'.
    rolls : str
        '26-001-N to 26-014-D, 14 rolls'.
    shelf : str
        Where it stands.
    qr : str
        Text of its QR.
    caution : str
        A word for film that needs care ('NITRATE'), or empty.
    """

    name: str
    years: str
    rolls: str
    shelf: str
    qr: str
    caution: str = ""


def spine_labels(
    labels: Sequence[SpineLabel], *, width_mm: float, height_mm: float, made_on: date, paper: str = "a4"
) -> bytes:
    """Typeset labels side by side with cut marks, on as many pages as they need.

    Returns
    -------
    bytes
        A PDF/A-2b at true size.

    Raises
    ------
    Refusal
        If a label is too small to be read or too large for the paper.
    """
    wide, high = PAPERS_MM[paper]
    most = high - 2 * MARGIN_MM
    if width_mm < NARROWEST_MM or height_mm < SHORTEST_MM or height_mm > most or width_mm > wide - 2 * MARGIN_MM:
        found = (
            f"{width_mm:g} x {height_mm:g} mm; {NARROWEST_MM:g} x {SHORTEST_MM:g} to {wide - 24:g} x {most:g} mm fit"
        )
        raise Refusal("spine label", found, "Measure the binder's spine again.")
    a_row = max(1, int((wide - 2 * MARGIN_MM + GAP_MM) // (width_mm + GAP_MM)))
    rows = max(1, int((most + GAP_MM) // (height_mm + GAP_MM)))
    data = {
        "title": "Spine labels",
        "page": paper,
        "made_on": made_on,
        "width": width_mm,
        "height": height_mm,
        "margin": MARGIN_MM,
        "gap": GAP_MM,
        "columns": a_row,
        "sheets": [
            [
                {**asdict(label), "image": f"qr/{start + n}.svg"}
                for n, label in enumerate(labels[start : start + a_row * rows])
            ]
            for start in range(0, len(labels), a_row * rows)
        ],
    }
    return typeset("spine-label", data, images={f"qr/{n}.svg": qr_svg(label.qr) for n, label in enumerate(labels)})
