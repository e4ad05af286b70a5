"""How sharp a print looks, in words: from its pixels per inch, how it is held, and what an eye can tell apart.

An eye with normal sight tells two points apart one minute of arc from each other (`film.printsizes`). A print whose
pixels are smaller than that from where one stands shows none.
"""

from __future__ import annotations

from dataclasses import dataclass

from dryside.film.printsizes import PrintSize, distance_for_ppi, ppi_for_distance, usual_viewing_distance_mm

NEAREST_MM = 250.0  # conventional distance of most distinct vision
STILL_GOOD = 0.7
"""Share of the eye's limit down to which a print still looks good: fine detail is softer, edges stay clean (common
practice: 240 ppi in the hand, where the limit is 349)."""
VISIBLE_PIXELS = 0.4
"""Below this share edges fall into steps or look plainly soft (common practice: under 140 ppi in the hand)."""


@dataclass(frozen=True)
class Verdict:
    """How a print of some resolution looks.

    Attributes
    ----------
    ppi : float
        Pixels of the picture per inch of paper.
    sharp_from_mm : float
        From here on no pixel can be told from its neighbour.
    usual_mm : float
        From where a print of this size is usually looked at: 1.5 times its diagonal, not nearer than 250 mm.
    words : str
        'sharp in the hand', 'good in the hand, sharp from 40 cm', 'fine on a wall from 1 m'.
    rank : int
        3 sharp in the hand, 2 good in the hand, 1 fine from where such a print is looked at, 0 soft even there.
    """

    ppi: float
    sharp_from_mm: float
    usual_mm: float
    words: str
    rank: int


def judge(ppi: float, size: PrintSize) -> Verdict:
    """The verdict for a print of `size` at `ppi`.

    Raises
    ------
    ValueError
        If `ppi` is not above 0.
    """
    sharp_from = distance_for_ppi(ppi)
    usual = usual_viewing_distance_mm(size)[0]
    words, rank = _words(ppi, sharp_from, usual)
    return Verdict(ppi, sharp_from, usual, words, rank)


def _words(ppi: float, sharp_from: float, usual: float) -> tuple[str, int]:
    in_hand = ppi / ppi_for_distance(NEAREST_MM)
    if in_hand >= 1:
        return "sharp in the hand", 3
    if in_hand >= STILL_GOOD:
        return f"good in the hand, sharp from {say_distance(sharp_from)}", 2
    if usual > NEAREST_MM and sharp_from <= usual:
        return f"fine on a wall from {say_distance(sharp_from)}", 1
    good_from = sharp_from * STILL_GOOD
    if usual > NEAREST_MM and good_from <= usual:
        return f"good on a wall from {say_distance(good_from)}, sharp from {say_distance(sharp_from)}", 1
    if in_hand >= VISIBLE_PIXELS:
        return f"a little soft in the hand, sharp from {say_distance(sharp_from)}", 0
    return f"soft: sharp only from {say_distance(sharp_from)}, usually seen from {say_distance(usual)}", 0


def say_distance(distance_mm: float) -> str:
    """A distance as one would say it: '25 cm', '60 cm', '1.5 m'; rounded up, so that it keeps its promise.

    Examples
    --------
    >>> say_distance(243), say_distance(871), say_distance(1420)
    ('25 cm', '90 cm', '1.5 m')
    """
    step_mm = 50 if distance_mm <= 500 else 100 if distance_mm <= 1000 else 500
    rounded = -(-round(distance_mm, 3) // step_mm) * step_mm
    return f"{rounded / 10:.0f} cm" if rounded < 1000 else f"{rounded / 1000:g} m"
