"""Reciprocity failure: how much longer than metered a long exposure must be.

Makers publish it in three forms that do not fit each other: a power of the metered time, a table, and an addition. So a
stock names a law with its source, and never just an exponent. What the forms were checked against stands in
docs/film.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from dryside.film.nearest import nearest_names
from dryside.film.refusal import Refusal, quoted


@dataclass(frozen=True)
class PowerLaw:
    """`t_corrected = t_metered ** exponent` above the threshold, nothing below it.

    Attributes
    ----------
    exponent : float
        1 (no failure) to 2.
    source : str
        Where the law was published.
    threshold_s : float
        Metered seconds up to which nothing is added; the form is made for 1 s.
    """

    exponent: float
    source: str
    threshold_s: float = 1.0

    def __post_init__(self) -> None:
        if not 1 <= self.exponent <= 2:
            raise ValueError(f"exponent is {self.exponent}; it must be 1 to 2")
        if self.threshold_s < 1:
            raise ValueError(f"threshold_s is {self.threshold_s}; below 1 s the power would shorten the time")

    @property
    def longest_s(self) -> float:
        """Longest metered time it may be used for: an hour, beyond which its maker asks for trials."""
        return 3600.0

    def corrected_s(self, metered_s: float) -> float:
        """Corrected seconds, not checked against `longest_s`; use `corrected`."""
        if metered_s <= self.threshold_s:
            return metered_s
        return float(metered_s**self.exponent)


@dataclass(frozen=True)
class AdditiveLaw:
    """`t_corrected = t_metered + coefficient * t_metered ** exponent`, from the shortest times on.

    Attributes
    ----------
    coefficient : float
        0 or more.
    source : str
        Where the law was published.
    exponent : float
        Common to all films of the published law.
    """

    coefficient: float
    source: str
    exponent: float = 1.62

    def __post_init__(self) -> None:
        if self.coefficient < 0:
            raise ValueError(f"coefficient is {self.coefficient}; it must be 0 or more")

    @property
    def longest_s(self) -> float:
        """Longest metered time it may be used for."""
        return 3600.0

    def corrected_s(self, metered_s: float) -> float:
        """Corrected seconds, not checked against `longest_s`; use `corrected`."""
        return float(metered_s + self.coefficient * metered_s**self.exponent)


@dataclass(frozen=True)
class TableLaw:
    """A published table, read between its rows along straight lines of log time against log time.

    Attributes
    ----------
    rows : tuple of (float, float)
        Metered and corrected seconds, rising in both.
    source : str
        Where the table was published.
    threshold_s : float
        Metered seconds up to which nothing is added.
    """

    rows: tuple[tuple[float, float], ...]
    source: str
    threshold_s: float = 1.0

    def __post_init__(self) -> None:
        points = ((self.threshold_s, self.threshold_s), *self.rows)
        for (metered_1, corrected_1), (metered_2, corrected_2) in pairwise(points):
            if not (metered_1 < metered_2 and corrected_1 < corrected_2 and corrected_2 >= metered_2):
                raise ValueError(f"rows must rise from threshold_s, {self.threshold_s} s; {metered_2} s does not")

    @property
    def longest_s(self) -> float:
        """The last row: a table says nothing beyond it."""
        return self.rows[-1][0]

    def corrected_s(self, metered_s: float) -> float:
        """Corrected seconds, not checked against `longest_s`; use `corrected`."""
        if metered_s <= self.threshold_s:
            return metered_s
        points = ((self.threshold_s, self.threshold_s), *self.rows)
        start, end = next((pair for pair in pairwise(points) if metered_s <= pair[1][0]), points[-2:])
        share = math.log(metered_s / start[0]) / math.log(end[0] / start[0])
        return float(start[1] * (end[1] / start[1]) ** share)


Law = PowerLaw | AdditiveLaw | TableLaw

_NOTE = "a maker's technical note on reciprocity failure compensation, by film, in two copies (read)"
_BOOK = "tables in a textbook of 1994, as copied on a page (read)"
_FORUM = "measurements published in a forum (read)"

LAWS: Mapping[str, Law] = MappingProxyType(
    {
        "none": PowerLaw(1.0, "for film that needs no correction, or whose law is not known"),
        "power 1.25": PowerLaw(1.25, _NOTE),
        "power 1.26": PowerLaw(1.26, _NOTE),
        "power 1.30": PowerLaw(1.30, _NOTE),
        "power 1.31": PowerLaw(1.31, _NOTE),
        "power 1.33": PowerLaw(1.33, _NOTE),
        "power 1.41": PowerLaw(1.41, _NOTE),
        "power 1.43": PowerLaw(1.43, _NOTE),
        "table, conventional grain": TableLaw(
            ((2, 3), (5, 8), (10, 18), (15, 30), (20, 45), (30, 75), (60, 180), (120, 420), (240, 960), (600, 3000),
             (1200, 8400), (1800, 14400)),
            _BOOK,
        ),
        "table, tabular grain": TableLaw(
            ((2, 2.5), (5, 7), (10, 15), (15, 24), (20, 33), (30, 50), (60, 120), (120, 270), (240, 600), (600, 1680),
             (1200, 3900), (1800, 6600)),
            _BOOK,
        ),
        "table, old rule": TableLaw(((10, 50), (100, 1200)), "a maker's old rule: 10 s read, 100 s from memory"),
        "additive 0.046": AdditiveLaw(0.046, _FORUM),
        "additive 0.061": AdditiveLaw(0.061, _FORUM),
        "additive 0.069": AdditiveLaw(0.069, _FORUM),
        "additive 0.101": AdditiveLaw(0.101, _FORUM),
        "additive 0.169": AdditiveLaw(0.169, _FORUM),
    }
)  # fmt: skip
"""Laws by the names that a stock may choose."""


@dataclass(frozen=True)
class CorrectedTime:
    """A metered time with the time to give.

    Attributes
    ----------
    metered_s, corrected_s : float
        Seconds.
    source : str
        Of the law.
    beyond : bool
        Whether the law was published for shorter times only: then the time is a guess, and trials or a bracket are due.
    """

    metered_s: float
    corrected_s: float
    source: str
    beyond: bool

    @property
    def added_stops(self) -> float:
        """How much more exposure it is, in stops; 0 or more."""
        return math.log2(self.corrected_s / self.metered_s)


def reciprocity_law(name: str) -> Law:
    """The law of a name in `LAWS`, or a power or addition with other numbers: `power 1.28`, `additive 0.08`.

    Raises
    ------
    Refusal
        If there is no such law; the nearest name is given.
    """
    plain = re.sub(r"\s+", " ", name.strip().lower())
    if plain in LAWS:
        return LAWS[plain]
    if matched := re.fullmatch(r"(power|additive) (\d{1,9}(?:\.\d{1,9})?)", plain):
        number = float(matched[2])
        try:
            own = "stated with the stock"
            return PowerLaw(number, own) if matched[1] == "power" else AdditiveLaw(number, own)
        except ValueError as outside:
            raise Refusal(f"reciprocity law {quoted(name)}", str(outside), "See the film's data sheet.") from None
    near = nearest_names(plain, LAWS)[0]
    raise Refusal(f"reciprocity law {quoted(name)}", "no law of that name", f"Near it: {near}.")


def corrected(metered_s: float, law: Law) -> CorrectedTime:
    """The time to give for a metered one.

    Raises
    ------
    ValueError
        If `metered_s` is not above 0.
    """
    if not metered_s > 0:
        raise ValueError(f"metered_s is {metered_s}; it must be above 0 s")
    return CorrectedTime(metered_s, law.corrected_s(metered_s), law.source, metered_s > law.longest_s)
