"""The fewest sheets out of many that a packing library has laid out: an integer programme chooses among whole sheets.

A rule that packs one sheet very well may pack the next one badly. So the sheets of all rules are put into one heap, and
the fewest of them are chosen that together hold every print. Prints of one size are the same to it; a place that is
left over stays empty.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

Shape = tuple[float, float]
_TIME_LIMIT_S = 5.0


@dataclass(frozen=True)
class Spot:
    """A place on a sheet: left and top, and the sides of the print as it lies, in any unit; whether prints may turn."""

    left: float
    top: float
    width: float
    height: float
    turning: bool = True

    @property
    def shape(self) -> Shape:
        """The print's sides: where prints may turn the short one first, the same for one that lies turned."""
        if not self.turning:
            return self.width, self.height
        return min(self.width, self.height), max(self.width, self.height)


def fewest_sheets(heap: Iterable[Sequence[Spot]], wanted: Counter[Shape]) -> list[Sequence[Spot]] | None:
    """The fewest sheets of a heap that hold every wanted print.

    Parameters
    ----------
    heap : iterable of sequences of Spot
        Sheets, each a layout that can be made; any may be used several times.
    wanted : Counter of shapes
        How many prints of each.

    Returns
    -------
    list of sheets, or None
        None where the solver found nothing in its time.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp

    sheets = _different(heap)
    shapes = sorted(wanted)
    holds = np.array([[Counter(spot.shape for spot in sheet)[shape] for sheet in sheets] for shape in shapes])
    answer = milp(
        np.ones(len(sheets)),
        constraints=LinearConstraint(holds, lb=np.array([wanted[shape] for shape in shapes]), ub=np.inf),
        integrality=np.ones(len(sheets)),
        bounds=Bounds(0, np.inf),
        options={"time_limit": _TIME_LIMIT_S},
    )
    if answer.x is None:
        return None
    return [sheet for sheet, times in zip(sheets, answer.x, strict=True) for _ in range(round(times))]


def _different(heap: Iterable[Sequence[Spot]]) -> list[Sequence[Spot]]:
    """Sheets that hold different prints; of those that hold the same, the first."""
    known: dict[frozenset[tuple[Shape, int]], Sequence[Spot]] = {}
    for sheet in heap:
        known.setdefault(frozenset(Counter(spot.shape for spot in sheet).items()), sheet)
    return list(known.values())
