"""Film that comes back already cut: strips of any length laid into the rows of pages, with the fewest pages.

Strips lie in their own order, one to a row, wherever that needs no page more. Where it does, rows are shared: which
strips share is a bin packing problem, small enough here to be solved exactly.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import SleevePage

SEARCHED_UP_TO = 10
"""Strips for which every way is tried; more go to the integer programme. Both give the same number of rows."""


@dataclass(frozen=True)
class LooseLength:
    """A strip as it lies on the table.

    Attributes
    ----------
    number : int
        Its place along the roll, from 1.
    length_mm : float
        From end to end.
    """

    number: int
    length_mm: float


@dataclass(frozen=True)
class Lying:
    """Where a strip goes: page, row and first place in the row, all from 1, and how many places it covers."""

    number: int
    page: int
    row: int
    place: int
    places: int


def lay_strips(strips: Sequence[LooseLength], page: SleevePage, *, method: str = "auto") -> tuple[Lying, ...]:
    """Lay strips into pages of one kind.

    Parameters
    ----------
    strips : sequence of LooseLength
        In order along the roll.
    page : SleevePage
        Two strips share a row only if their places, counted up to whole ones, fit beside each other.
    method : str, optional
        `search`, `programme`, or `auto` to choose by the number of strips.

    Returns
    -------
    tuple of Lying
        In the order of `strips`.

    Raises
    ------
    NotFound
        If there are no strips.
    Refusal
        If a strip is longer than a row.
    """
    if not strips:
        raise NotFound("strips", "none is given", "Say how the roll was cut: --strips 1-4,5-8.")
    places = {strip.number: places_of(strip.length_mm, page) for strip in strips}
    for strip in strips:
        if not page.takes_strip(strip.length_mm):
            found = f"{strip.length_mm:.0f} mm long, a row of page {page.key} takes {page.row_length_mm:.0f} mm"
            raise Refusal(f"strip {strip.number}", found, "Choose a page with longer rows, or cut it once.")
    one_each = ceil(len(strips) / page.rows)
    rows = _share_rows(places, page.frames_per_row, method)
    if ceil(len(rows) / page.rows) < one_each:
        rows = _spread(rows, ceil(len(rows) / page.rows) * page.rows)
    else:
        rows = [[strip.number] for strip in strips]
    return _in_order(strips, rows, places, page.rows)


def places_of(length_mm: float, page: SleevePage) -> int:
    """Places of a row that a strip covers, at least 1."""
    place_mm = page.row_length_mm / page.frames_per_row
    return max(1, min(page.frames_per_row, ceil(length_mm / place_mm - 1e-6)))


def fewest_rows(places: Sequence[int], room: int, *, method: str = "auto") -> int:
    """The least number of rows of `room` places that hold strips of these places."""
    return len(_share_rows(dict(enumerate(places)), room, method))


def _share_rows(places: dict[int, int], room: int, method: str) -> list[list[int]]:
    """Numbers of the strips of each row, the fewest rows, earlier strips in earlier rows."""
    searched = method == "search" or (method == "auto" and len(places) <= SEARCHED_UP_TO)
    if searched:
        return _search(places, room)
    return _hand_out(places, _best_patterns(Counter(places.values()), room))


def _search(places: dict[int, int], room: int) -> list[list[int]]:
    """Try every way, longest strips first, leaving out what cannot beat the best."""
    order = sorted(places, key=lambda number: (-places[number], number))
    least = ceil(sum(places.values()) / room)
    best: list[list[int]] = [[number] for number in order]

    def lay(index: int, rows: list[list[int]], left: list[int]) -> None:
        nonlocal best
        if len(rows) >= len(best) or len(best) == least:
            return
        if index == len(order):
            best = [list(row) for row in rows]
            return
        number = order[index]
        tried = set()
        for row, free in enumerate(left):
            if free >= places[number] and free not in tried:  # rows with the same room left are alike
                tried.add(free)
                rows[row].append(number)
                left[row] -= places[number]
                lay(index + 1, rows, left)
                left[row] += places[number]
                rows[row].pop()
        rows.append([number])
        left.append(room - places[number])
        lay(index + 1, rows, left)
        rows.pop()
        left.pop()

    lay(0, [], [])
    return best


def _best_patterns(wanted: Counter[int], room: int) -> list[tuple[int, ...]]:
    """The fewest rows as an integer programme over the ways to fill one row (HiGHS through SciPy).

    Sizes are few and small, so all ways to fill a row can be listed: a row of 7 places has 14 of them.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp

    sizes = sorted(wanted, reverse=True)
    patterns = _patterns(sizes, room)
    holds = np.array([[pattern.count(size) for pattern in patterns] for size in sizes])
    answer = milp(
        np.ones(len(patterns)),
        constraints=LinearConstraint(holds, lb=np.array([wanted[size] for size in sizes]), ub=np.inf),
        integrality=np.ones(len(patterns)),
        bounds=Bounds(0, np.inf),
    )
    if answer.x is None:  # every size has its own pattern, so there is always an answer
        raise ValueError(f"room is {room}; a strip needs more")
    return [pattern for pattern, times in zip(patterns, answer.x, strict=True) for _ in range(round(times))]


def _patterns(sizes: Sequence[int], room: int) -> list[tuple[int, ...]]:
    """All multisets of sizes that fit into a row, none of them empty."""
    if not sizes:
        return []
    size, rest = sizes[0], sizes[1:]
    found = []
    for times in range(room // size, -1, -1):
        head = (size,) * times
        found += [head + tail for tail in [*_patterns(rest, room - size * times), ()] if head + tail]
    return found


def _hand_out(places: dict[int, int], patterns: Sequence[Sequence[int]]) -> list[list[int]]:
    """Give the patterns' places to real strips, the earliest of each size first."""
    waiting: dict[int, list[int]] = {}
    for number in sorted(places, reverse=True):
        waiting.setdefault(places[number], []).append(number)
    rows = [[waiting[size].pop() for size in pattern if waiting[size]] for pattern in patterns]
    return [row for row in rows if row]


def _spread(rows: list[list[int]], room: int) -> list[list[int]]:
    """Give strips rows of their own again while there are rows to spare: shared rows are harder to use."""
    rows = [sorted(row) for row in rows]
    while len(rows) < room and (shared := max(rows, key=lambda row: (len(row), -row[0]))) and len(shared) > 1:
        rows.append([shared.pop()])
    return rows


def _in_order(
    strips: Sequence[LooseLength], rows: Sequence[Sequence[int]], places: dict[int, int], rows_per_page: int
) -> tuple[Lying, ...]:
    lying = {}
    for index, row in enumerate(sorted(sorted(row) for row in rows)):
        place = 1
        for number in row:
            page, line = divmod(index, rows_per_page)
            lying[number] = Lying(number, page + 1, line + 1, place, places[number])
            place += places[number]
    return tuple(lying[strip.number] for strip in strips)
