"""Prints of many sizes laid onto sheets, or along a roll of paper, with the least paper wasted.

Packing rectangles is hard to do best and easy to do well: a packing library lays them out in many ways (rules and
orders), and the one that needs the fewest sheets, or the shortest roll, is kept. For sheets an integer programme then
tries to do with fewer by mixing the sheets of all ways. The least any layout could need is told beside the result, so
that a person sees how much there would be to gain. With guillotine cuts only, every sheet can be taken apart by cuts
that run from edge to edge, as a rotary trimmer makes them.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Any

from dryside.film.refusal import NotFound, Refusal
from dryside.prints.sheet_choice import Shape, Spot, fewest_sheets

_PER_MM = 100  # the library counts in whole units: hundredths of a millimetre
MANY = 60
"""Prints above which only the quicker rules are tried."""
LONGEST_ROLL_MM = 100_000.0
_SHORTENINGS, _SHORTER, _FEW = 12, 0.985, 30
_CHANCES = 100
_ORDERS = (
    ("short sides first", "SORT_SSIDE"),
    ("long sides first", "SORT_LSIDE"),
    ("large areas first", "SORT_AREA"),
    ("long shapes first", "SORT_DIFF"),
)


@dataclass(frozen=True)
class Piece:
    """A print to be laid out: width and height in mm; `key` says which it is."""

    key: int
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Stand:
    """Paper to lay prints on.

    Attributes
    ----------
    width_mm : float
        Across.
    height_mm : float or None
        Down; None for a roll, which is cut off where the prints end.
    margin_mm : float
        Edge that the printer cannot print on.
    gap_mm : float
        Between prints; 0 lets them share a cut.
    """

    width_mm: float
    height_mm: float | None
    margin_mm: float = 5.0
    gap_mm: float = 4.0

    @property
    def room_mm(self) -> tuple[float, float]:
        """What can be printed on."""
        height = LONGEST_ROLL_MM if self.height_mm is None else self.height_mm
        return self.width_mm - 2 * self.margin_mm, height - 2 * self.margin_mm


@dataclass(frozen=True)
class Placed:
    """Where a print lies: sheet from 1, left and top from the paper's corner, sides as they lie, turned or not."""

    key: int
    sheet: int
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    turned: bool


@dataclass(frozen=True)
class Layout:
    """A layout of all prints.

    Attributes
    ----------
    placed : tuple of Placed
        Every print once.
    sheets : int
        Sheets used; 1 for a roll.
    length_mm : float
        Down a sheet, or the length of roll used.
    waste_pct : float
        Share of the used paper on which nothing is printed.
    least_sheets : int
        No layout needs fewer, by area alone.
    rule : str
        The library's rule that won.
    """

    placed: tuple[Placed, ...]
    sheets: int
    length_mm: float
    waste_pct: float
    least_sheets: int
    rule: str


def pack(pieces: Sequence[Piece], stand: Stand, *, turning: bool = True, guillotine: bool = False) -> Layout:
    """Lay out prints.

    Parameters
    ----------
    pieces : sequence of Piece
        Every copy is a piece of its own.
    stand : Stand
        The paper.
    turning : bool, optional
        Whether prints may lie turned by a quarter.
    guillotine : bool, optional
        Whether every cut must run from edge to edge.

    Raises
    ------
    NotFound
        If there are no pieces.
    Refusal
        If a piece does not fit the paper, or the margins leave none.
    """
    if not pieces:
        raise NotFound("print sheet", "there is nothing to print", "Name pictures and a size.")
    if min(stand.room_mm) <= 0:
        raise Refusal("print sheet", f"margins of {stand.margin_mm:g} mm leave no paper", "Make them smaller.")
    for piece in pieces:
        _must_fit(piece, stand, turning)
    best = _best(pieces, stand, stand, turning, guillotine)
    assert best is not None  # with as many sheets as pieces, and a roll of 100 m, every rule finds a place for each
    if stand.height_mm is None:
        return _shorten(best, pieces, stand, turning, guillotine)
    return best if best.sheets == best.least_sheets else _mixed(best, pieces, stand, turning, guillotine)


def _mixed(best: Layout, pieces: Sequence[Piece], stand: Stand, turning: bool, guillotine: bool) -> Layout:
    """Fewer sheets by mixing those of all rules and of orders by chance, if that is possible; else `best`."""
    ways = [
        found
        for _, found in (*_ways(pieces, stand, turning, guillotine), *_chances(pieces, stand, turning, guillotine))
    ]
    heap = [sheet for found in ways for sheet in _spots(found, turning)]
    gap = round(stand.gap_mm * _PER_MM)
    sides = [_units(piece) for piece in pieces]
    shapes = [Spot(0, 0, width + gap, height + gap, turning).shape for width, height in sides]
    chosen = fewest_sheets(heap, Counter(shapes))
    if chosen is None or len(chosen) >= best.sheets:
        return best
    waiting: dict[Shape, list[int]] = {}
    for index in reversed(range(len(pieces))):
        waiting.setdefault(shapes[index], []).append(index)
    rectangles = [
        (number, int(spot.left), int(spot.top), int(spot.width), int(spot.height), waiting[spot.shape].pop())
        for number, sheet in enumerate(chosen)
        for spot in sheet
        if waiting[spot.shape]
    ]
    return _layout("sheets of several rules", rectangles, pieces, stand)


def _spots(rectangles: Sequence[tuple[int, int, int, int, int, int]], turning: bool) -> list[list[Spot]]:
    sheets: dict[int, list[Spot]] = {}
    for sheet, left, top, width, height, _ in rectangles:
        sheets.setdefault(sheet, []).append(Spot(left, top, width, height, turning))
    return list(sheets.values())


def _units(piece: Piece) -> tuple[int, int]:
    """Sides in the library's whole units, rounded up."""
    return int(-(-piece.width_mm * _PER_MM // 1)), int(-(-piece.height_mm * _PER_MM // 1))


def _best(pieces: Sequence[Piece], given: Stand, stand: Stand, turning: bool, guillotine: bool) -> Layout | None:
    """The best layout over all rules within `given`, reckoned as paper of `stand`."""
    layouts = [_layout(rule, found, pieces, stand) for rule, found in _ways(pieces, given, turning, guillotine)]
    # Fewest sheets, then the least paper on the last one; of equals the first rule.
    return min(layouts, key=lambda layout: (layout.sheets, round(layout.length_mm, 2), _last_end(layout)), default=None)


def _shorten(best: Layout, pieces: Sequence[Piece], stand: Stand, turning: bool, guillotine: bool) -> Layout:
    """Ask the same rules again within ever less of the roll: where there is an end, they use the width better."""
    for _ in range(_SHORTENINGS if len(pieces) <= _FEW else 1):
        within = replace(stand, height_mm=best.length_mm * _SHORTER)
        try:
            shorter = _best(pieces, within, stand, turning, guillotine)
        except Refusal:
            break
        if shorter is None or shorter.sheets > 1:
            break
        best = shorter
    return best


def _must_fit(piece: Piece, stand: Stand, turning: bool) -> None:
    room = stand.room_mm
    sides = (piece.width_mm, piece.height_mm)
    fits = all(a <= b + 1e-9 for a, b in zip(sides, room, strict=True))
    fits |= turning and all(a <= b + 1e-9 for a, b in zip(sides[::-1], room, strict=True))
    if not fits:
        paper = f"{stand.width_mm:g} mm" if stand.height_mm is None else f"{stand.width_mm:g} x {stand.height_mm:g} mm"
        found = f"does not fit {paper} of paper with {stand.margin_mm:g} mm margins"
        raise Refusal(f"print of {sides[0]:g} x {sides[1]:g} mm", found, "Name larger paper, or a smaller size.")


def _ways(
    pieces: Sequence[Piece], stand: Stand, turning: bool, guillotine: bool
) -> Iterator[tuple[str, list[tuple[int, int, int, int, int, int]]]]:
    """Each rule with the rectangles it makes: (sheet, left, top, width, height, index) in the library's units."""
    for rule, algorithm in _rules(guillotine, len(pieces)):
        for order_name, order in _ORDERS:
            for wide in (None, *((True, False) if turning else ())):
                found = _lay(range(len(pieces)), pieces, stand, turning, (algorithm, order), wide)
                if len(found) == len(pieces):
                    yield f"{rule}, {order_name}", found


def _chances(
    pieces: Sequence[Piece], stand: Stand, turning: bool, guillotine: bool
) -> Iterator[tuple[str, list[tuple[int, int, int, int, int, int]]]]:
    """Layouts of prints in orders drawn by chance, the same every time: other sheets to choose from."""
    rng = random.Random(len(pieces))  # noqa: S311
    rules = _rules(guillotine, MANY + 1)
    for turn in range(_CHANCES):
        order = list(range(len(pieces)))
        rng.shuffle(order)
        rule, algorithm = rules[turn % len(rules)]
        found = _lay(
            order,
            pieces,
            stand,
            turning,
            (algorithm, "SORT_NONE"),
            rng.choice((None, True, False)) if turning else None,
        )
        if len(found) == len(pieces):
            yield f"{rule}, by chance", found


def _lay(
    order: Sequence[int],
    pieces: Sequence[Piece],
    stand: Stand,
    turning: bool,
    rule: tuple[Any, str],
    wide: bool | None,
) -> list[tuple[int, int, int, int, int, int]]:
    """What the library makes of the pieces in this order by one rule."""
    import rectpack

    gap = round(stand.gap_mm * _PER_MM)
    # Each print takes its gap along, and so may the paper: the last gap hangs over the edge.
    room = [int(side * _PER_MM + 1e-6) + gap for side in stand.room_mm]
    packer: Any = rectpack.newPacker(
        mode=rectpack.PackingMode.Offline,
        bin_algo=rectpack.PackingBin.Global if len(pieces) <= MANY and stand.height_mm else rectpack.PackingBin.BFF,
        pack_algo=rule[0],
        sort_algo=getattr(rectpack, rule[1]),
        rotation=turning and wide is None,
    )
    packer.add_bin(*room, count=len(pieces) if stand.height_mm is not None else 1)
    for index in order:
        width, height = _units(pieces[index])
        packer.add_rect(*_turn(width + gap, height + gap, wide, room), rid=index)
    packer.pack()
    return list(packer.rect_list())


def _turn(width: int, height: int, wide: bool | None, room: Sequence[int]) -> tuple[int, int]:
    """The sides as they shall lie: all wide, all high, or as they are; never so that they do not fit."""
    if wide is None:
        return width, height
    turned = (max(width, height), min(width, height)) if wide else (min(width, height), max(width, height))
    return turned if turned[0] <= room[0] and turned[1] <= room[1] else turned[::-1]


def _rules(guillotine: bool, count: int) -> list[tuple[str, Any]]:
    import rectpack

    cut_apart = [rectpack.GuillotineBssfSas, rectpack.GuillotineBafLas, rectpack.GuillotineBssfLlas]
    free = [rectpack.MaxRectsBssf, rectpack.SkylineBlWm]
    if count <= MANY:
        cut_apart += [rectpack.GuillotineBlsfMaxas, rectpack.GuillotineBafSlas, rectpack.GuillotineBssfMinas]
        free += [rectpack.MaxRectsBl, rectpack.MaxRectsBaf, rectpack.MaxRectsBlsf, rectpack.SkylineMwfWm]
    # What can be cut apart from edge to edge is a free layout too, and now and then the better one.
    rules = cut_apart if guillotine else free + cut_apart
    return [(rule.__name__, rule) for rule in rules]


def _layout(
    rule: str, rectangles: Sequence[tuple[int, int, int, int, int, int]], pieces: Sequence[Piece], stand: Stand
) -> Layout:
    gap = round(stand.gap_mm * _PER_MM)
    numbers = {sheet: n for n, sheet in enumerate(sorted({one[0] for one in rectangles}), 1)}
    placed = []
    for sheet, left, top, width, height, index in sorted(rectangles, key=lambda one: one[5]):
        piece = pieces[index]
        turned = _is_turned(piece, width - gap, height - gap)
        sides = (piece.height_mm, piece.width_mm) if turned else (piece.width_mm, piece.height_mm)
        x, y = left / _PER_MM + stand.margin_mm, top / _PER_MM + stand.margin_mm
        placed.append(Placed(piece.key, numbers[sheet], x, y, *sides, turned))
    end = max(one.top_mm + one.height_mm for one in placed) + stand.margin_mm
    length = end if stand.height_mm is None else stand.height_mm
    printed = sum(piece.width_mm * piece.height_mm for piece in pieces)
    room = stand.room_mm
    least = 1 if stand.height_mm is None else max(1, ceil(printed / (room[0] * room[1]) - 1e-9))
    waste = 100 * (1 - printed / (len(numbers) * stand.width_mm * length))
    return Layout(tuple(placed), len(numbers), length, waste, least, rule)


def _is_turned(piece: Piece, width: int, height: int) -> bool:
    as_it_is = abs(piece.width_mm * _PER_MM - width) + abs(piece.height_mm * _PER_MM - height)
    turned = abs(piece.height_mm * _PER_MM - width) + abs(piece.width_mm * _PER_MM - height)
    return turned < as_it_is


def _last_end(layout: Layout) -> float:
    """How far down the last sheet is used."""
    return max(one.top_mm + one.height_mm for one in layout.placed if one.sheet == layout.sheets)
