"""Print sizes as the trade sells them, what fits a frame, and how near a print may be looked at.

Sources: encyclopedia article 'Photo print sizes' (the R and S rules and the other names: read), a published list of
sizes in cm (read); sold millimetres of some rows, ISO 216 sizes and ISO 1008 from memory; metric and square sizes
common practice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dryside.film.nearest import nearest_names
from dryside.film.refusal import Refusal, quoted
from dryside.film.units import MM_PER_INCH, require_above_zero

LONGEST_SIDE_MM = 3000.0
"""No print that is ordered is longer; a longer one is taken for a slip of the unit."""
SHORTEST_SIDE_MM = 20.0


@dataclass(frozen=True)
class PrintSize:
    """A size of paper; the short side always first.

    Attributes
    ----------
    name : str
        As it is ordered: `4R`, `A4`, `10x15cm`, `203x254mm`.
    short_mm, long_mm : float
        As sold, in mm; the trade rounds inches to whole mm.
    short_in, long_in : float or None
        Nominal inches where the size is defined in inches.
    also : tuple of str
        Other names of the same size.
    """

    name: str
    short_mm: float
    long_mm: float
    short_in: float | None = None
    long_in: float | None = None
    also: tuple[str, ...] = ()

    @property
    def aspect(self) -> float:
        """Long side over short side, from nominal inches where there are any: 8R is 1.25 and not 254/203."""
        if self.short_in is not None and self.long_in is not None:
            return self.long_in / self.short_in
        return self.long_mm / self.short_mm

    @property
    def area_mm2(self) -> float:
        """Area of the paper."""
        return self.short_mm * self.long_mm

    @property
    def diagonal_mm(self) -> float:
        """From corner to corner."""
        return math.hypot(self.short_mm, self.long_mm)

    def pixels(self, ppi: float) -> tuple[int, int]:
        """Short and long side in pixels for the size as sold: 4R at 300 ppi is (1205, 1795).

        Raises
        ------
        ValueError
            If `ppi` is not above 0.
        """
        require_above_zero("ppi", ppi)
        return _pixels(self.short_mm / MM_PER_INCH, ppi), _pixels(self.long_mm / MM_PER_INCH, ppi)

    def nominal_pixels(self, ppi: float) -> tuple[int, int]:
        """Short and long side in pixels for the nominal inches: 4R at 300 ppi is (1200, 1800).

        Raises
        ------
        ValueError
            If `ppi` is not above 0, or the size is not defined in inches.
        """
        require_above_zero("ppi", ppi)
        if self.short_in is None or self.long_in is None:
            raise ValueError(f"{self.name} is not defined in inches; use pixels")
        return _pixels(self.short_in, ppi), _pixels(self.long_in, ppi)


def _inch(name: str, short: float, long: float, mm: tuple[float, float], *also: str) -> PrintSize:
    return PrintSize(name, mm[0], mm[1], short, long, also)


_R_AND_S = (
    _inch("2R", 2.5, 3.5, (63.5, 89)),
    _inch("3R", 3.5, 5, (89, 127), "L"),
    _inch("4D", 4, 16 / 3, (102, 136), "KGD"),
    _inch("4R", 4, 6, (102, 152), "KG"),
    _inch("5R", 5, 7, (127, 178), "2L"),
    _inch("S5R", 5, 7.5, (127, 190), "2LW"),
    _inch("6R", 6, 8, (152, 203)),
    _inch("8R", 8, 10, (203, 254), "6P"),
    _inch("S8R", 8, 12, (203, 305), "6PW"),
    _inch("10R", 10, 12, (254, 305), "4P"),
    _inch("S10R", 10, 15, (254, 381), "4PW"),
    _inch("11R", 11, 14, (279, 356)),
    _inch("S11R", 11, 17, (279, 432)),
    _inch("12R", 12, 15, (305, 381)),
    _inch("S12R", 12, 18, (305, 457)),
    _inch("16R", 16, 20, (406, 508)),
    _inch("S16R", 16, 24, (406, 610)),
    _inch("20R", 20, 24, (508, 610)),
    _inch("S20R", 20, 30, (508, 762)),
    _inch("30R", 30, 40, (762, 1016)),
)
_METRIC_CM = (
    (9, 13), (10, 13), (10, 15), (11, 15), (13, 18), (13, 19), (15, 20), (15, 21), (18, 24), (20, 25), (20, 30), (24,
    30), (25, 38), (30, 40), (30, 45), (40, 50), (40, 60), (50, 60), (50, 70), (50, 75), (60, 80), (60, 90), (70, 100),
)  # fmt: skip
_SQUARES_CM = (9, 10, 13, 15, 18, 20, 25, 30, 40, 50, 60)
_SQUARES_IN = (4, 5, 6, 8, 10, 12, 16, 20)
_A_SIZES_MM = (
    ("A6", 105, 148), ("A5", 148, 210), ("A4", 210, 297), ("A3", 297, 420), ("A2", 420, 594), ("A1", 594, 841),
    ("A0", 841, 1189),
)  # fmt: skip

_ALL = (
    *_R_AND_S,
    *(PrintSize(f"{a}x{b}cm", 10 * a, 10 * b) for a, b in _METRIC_CM),
    *(PrintSize(f"{a}x{a}cm", 10 * a, 10 * a) for a in _SQUARES_CM),
    *(_inch(f"{a}x{a}in", a, a, (round(a * MM_PER_INCH), round(a * MM_PER_INCH))) for a in _SQUARES_IN),
    *(PrintSize(name, short, long) for name, short, long in _A_SIZES_MM),
)

PRINT_SIZES: Mapping[str, PrintSize] = MappingProxyType({one.name: one for one in _ALL})
"""Sizes by name: R and S series, metric, squares, A sizes."""

_BY_NAME = {name.upper(): one for one in _ALL for name in (one.name, *one.also)}
_BY_INCHES = {(one.short_in, one.long_in): one for one in _ALL if one.short_in is not None}


def print_size(text: str) -> PrintSize:
    """A size from its name or its sides as people write them: `4R`, `KG`, `10x15cm`, `8x10in`, `203x254mm`, `8"x10"`,
    `A4`.

    Sides without a unit are read by what is sold: `13x18` is centimetres, `8x10` inches, `203x254` millimetres. Sides
    in inches that are an R size become that size, under its name.

    Raises
    ------
    Refusal
        If it is no size; if the unit is missing and both are sold (`10x15`, `20x30`); or if a side lies outside 20 mm
        to 3 m.
    """
    plain = re.sub(r"[×*]|\bby\b", "x", text.strip().lower()).replace(",", ".")
    plain = re.sub(r"\s+", "", plain)
    if plain.upper() in _BY_NAME:
        return _BY_NAME[plain.upper()]
    unit_1, unit_2 = r"(mm|cm|inches|inch|in|\"|”|″)?", r"(mm|cm|inches|inch|in|\"|”|″)?"
    sides = re.fullmatch(rf"(\d{{1,9}}(?:\.\d{{1,9}})?){unit_1}x(\d{{1,9}}(?:\.\d{{1,9}})?){unit_2}", plain)
    if not sides:
        near = ", ".join(nearest_names(plain, PRINT_SIZES, count=3))
        raise Refusal(
            f"print size {quoted(text)}", "no print size of that name", f"Near it: {near}. Or write 203x254mm."
        )
    short, long = sorted((float(sides[1]), float(sides[3])))
    unit = _unit(sides[4] or sides[2]) or _unit_sold(text, short, long)
    if sides[2] and sides[4] and _unit(sides[2]) != _unit(sides[4]):
        raise Refusal(f"print size {quoted(text)}", "the sides have two units", "Give both in mm, cm or inches.")
    return _of_sides(text, short, long, unit)


def same_size(one: PrintSize, other: PrintSize, *, tolerance_mm: float = 3.0) -> bool:
    """Whether labs sell the two as one: each side within `tolerance_mm`, as 4R (102x152) and 10x15cm are."""
    return abs(one.short_mm - other.short_mm) <= tolerance_mm and abs(one.long_mm - other.long_mm) <= tolerance_mm


@dataclass(frozen=True)
class PrintFit:
    """How a picture goes onto a paper: filled, with what the crop takes off, or whole, with what stays white.

    Attributes
    ----------
    fill_loss_pct : float
        Share of the picture's area that filling cuts off, 0 to 100.
    loss_from : str
        `none`, `long side` or `short side` of the picture.
    whole_border_pct : float
        Share of the paper's area that stays white when the picture is printed whole.
    picture_mm : tuple of float
        Sides of the whole picture on the paper, short and long for the picture turned as the paper is.
    border_short_mm, border_long_mm : float
        White at each end of the paper's short and long side when printed whole.
    crop : tuple of float
        Kept part of the picture when filled, as fractions of its long and short side.
    """

    fill_loss_pct: float
    loss_from: str
    whole_border_pct: float
    picture_mm: tuple[float, float]
    border_short_mm: float
    border_long_mm: float
    crop: tuple[float, float]


def fit(long_side: float, short_side: float, size: PrintSize, *, border_mm: float = 0.0) -> PrintFit:
    """How a picture fits a paper, the paper turned the way the picture lies.

    Parameters
    ----------
    long_side, short_side : float
        Sides of the picture in any unit, the long one first.
    size : PrintSize
        The paper.
    border_mm : float, optional
        White wanted on all four sides; the picture is filled into, or shown whole within, what is left.

    Raises
    ------
    ValueError
        If a side is not above 0, `long_side` is the shorter one, or the border leaves nothing.
    """
    require_above_zero("short_side", short_side)
    if long_side < short_side:
        raise ValueError(f"long_side is {long_side}, shorter than short_side, {short_side}")
    room_short, room_long = size.short_mm - 2 * border_mm, size.long_mm - 2 * border_mm
    if border_mm < 0 or room_short <= 0:
        raise ValueError(f"border_mm is {border_mm}; it must be 0 or more and leave paper on {size.name}")
    picture = long_side / short_side
    room = size.aspect if border_mm == 0 else room_long / room_short
    kept = min(picture, room) / max(picture, room)
    if math.isclose(kept, 1.0, rel_tol=1e-9):
        loss_from, crop = "none", (1.0, 1.0)
    elif picture > room:
        loss_from, crop = "long side", (kept, 1.0)
    else:
        loss_from, crop = "short side", (1.0, kept)
    whole_short, whole_long = min(room_short, room_long / picture), min(room_long, room_short * picture)
    white = 1 - kept if border_mm == 0 else 1 - whole_short * whole_long / size.area_mm2
    return PrintFit(
        fill_loss_pct=100 * (1 - kept),
        loss_from=loss_from,
        whole_border_pct=100 * white,
        picture_mm=(whole_short, whole_long),
        border_short_mm=(size.short_mm - whole_short) / 2,
        border_long_mm=(size.long_mm - whole_long) / 2,
        crop=crop,
    )


def print_ppi(long_px: float, short_px: float, size: PrintSize, *, filled: bool = True) -> float:
    """Pixels of the picture per inch of paper, filled or shown whole.

    Raises
    ------
    ValueError
        If a side is not above 0 or `long_px` is the shorter one.
    """
    whole_long = fit(long_px, short_px, size).picture_mm[1]
    scale_mm = max(size.short_mm / short_px, size.long_mm / long_px) if filled else whole_long / long_px
    return MM_PER_INCH / scale_mm


_ONE_ARCMINUTE = math.tan(math.radians(1 / 60))


def ppi_for_distance(distance_mm: float) -> float:
    """Pixels per inch at which one pixel covers one minute of arc from `distance_mm`: 349 from 250 mm.

    One arcminute is what a normal eye (20/20) resolves; 3438 over the distance in inches (read).

    Raises
    ------
    ValueError
        If `distance_mm` is not above 0.
    """
    require_above_zero("distance_mm", distance_mm)
    return MM_PER_INCH / (distance_mm * _ONE_ARCMINUTE)


def distance_for_ppi(ppi: float) -> float:
    """From how near in mm a print of `ppi` still shows no pixels to a normal eye; inverse of `ppi_for_distance`.

    Raises
    ------
    ValueError
        If `ppi` is not above 0.
    """
    require_above_zero("ppi", ppi)
    return MM_PER_INCH / (ppi * _ONE_ARCMINUTE)


def usual_viewing_distance_mm(size: PrintSize) -> tuple[float, float]:
    """How near and far a print is usually looked at: 1.5 to 2 times its diagonal (read), not nearer than 250 mm."""
    return max(250.0, 1.5 * size.diagonal_mm), max(250.0, 2 * size.diagonal_mm)


def _pixels(inches: float, ppi: float) -> int:
    return math.floor(inches * ppi + 0.5)


def _unit(word: str | None) -> str | None:
    if word is None:
        return None
    return word if word in ("mm", "cm") else "in"


def _unit_sold(text: str, short: float, long: float) -> str:
    """The only unit in which such sides are sold or make sense; else a refusal that shows both readings."""
    in_cm = PRINT_SIZES.get(f"{short:g}x{long:g}cm")
    in_inches = _BY_INCHES.get((short, long))
    if in_cm and in_inches:
        found = f"sold as {in_cm.name} and, in inches, as {in_inches.name}"
        raise Refusal(f"print size {quoted(text)}", found, f"Write {short:g}x{long:g}cm or {short:g}x{long:g}in.")
    if in_cm or in_inches:
        return "cm" if in_cm else "in"
    if short >= 60:
        return "mm"
    raise Refusal(f"print size {quoted(text)}", "the unit is missing", f"Write {short:g}x{long:g}cm, ...in or ...mm.")


def _of_sides(text: str, short: float, long: float, unit: str) -> PrintSize:
    scale = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}[unit]
    if short * scale < SHORTEST_SIDE_MM or long * scale > LONGEST_SIDE_MM:
        found = f"{short * scale:.0f} x {long * scale:.0f} mm lies outside {SHORTEST_SIDE_MM:.0f} mm to 3 m"
        raise Refusal(f"print size {quoted(text)}", found, "Look at the unit again.")
    if unit == "in":
        return _BY_INCHES.get((short, long)) or PrintSize(
            f"{short:g}x{long:g}in", short * scale, long * scale, short, long
        )
    name = f"{short:g}x{long:g}{unit}"
    return PRINT_SIZES.get(name) or PrintSize(name, short * scale, long * scale)
