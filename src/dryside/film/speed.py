"""Film speed: ISO arithmetic and degrees, exposure index, push and pull, and the speed points of three standards.

Sources: ISO 6 (black-and-white negative), ISO 5800 (colour negative), ISO 2240 (colour reversal); the relation
`degrees = 10 log10 S + 1` and the pairs were read in encyclopedia articles, the three speed formulas are from memory.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from dryside.film.nearest import in_words
from dryside.film.refusal import Refusal, quoted
from dryside.film.units import require_above_zero

# Thirds of a stop in the standards' own rounding, which cannot be calculated.
_SPEEDS = (
    6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600,
    2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12500, 16000, 20000, 25000,
)  # fmt: skip
_LOWEST_DEGREES = 9

STANDARD_SPEEDS: tuple[tuple[int, int], ...] = tuple((s, _LOWEST_DEGREES + i) for i, s in enumerate(_SPEEDS))
"""ISO speed and degrees in steps of a third of a stop, from 6/9 up."""

_DEGREES_OF = dict(STANDARD_SPEEDS)
_SPEED_OF = {degrees: speed for speed, degrees in STANDARD_SPEEDS}


def speed_degrees(iso: float) -> int:
    """ISO degrees of an arithmetic speed: `10 log10 S + 1`, rounded.

    Raises
    ------
    ValueError
        If `iso` is not above 0.
    """
    require_above_zero("iso", iso)
    return _round_half_up(10 * math.log10(iso) + 1)


def speed_of_degrees(degrees: int) -> int:
    """Rounded arithmetic speed of ISO degrees: 21 is 100.

    Raises
    ------
    ValueError
        If `degrees` lies outside 9 to 45, the table of standard speeds.
    """
    if degrees not in _SPEED_OF:
        raise ValueError(f"degrees is {degrees}; standard speeds run from {min(_SPEED_OF)} to {max(_SPEED_OF)} degrees")
    return _SPEED_OF[degrees]


def exact_speed(degrees: float) -> float:
    """The unrounded arithmetic speed of ISO degrees, `10 ** ((degrees - 1) / 10)`."""
    return float(10 ** ((degrees - 1) / 10))


def speed_interval(degrees: int) -> tuple[float, float]:
    """Lower and upper measured speed that round to these ISO degrees; the lower belongs to them, the upper does not."""
    return exact_speed(degrees - 0.5), exact_speed(degrees + 0.5)


def nearest_standard_speed(iso: float) -> int:
    """The standard speed that a measured or calculated one is stated as: 390 is 400.

    Raises
    ------
    ValueError
        If `iso` is not above 0 or rounds outside the table of standard speeds.
    """
    return speed_of_degrees(speed_degrees(iso))


def format_speed(iso: float) -> str:
    """A speed as standards write it: `ISO 400/27°`."""
    return f"ISO {iso:g}/{speed_degrees(iso)}°"


def parse_speed(text: str) -> int:
    """An arithmetic speed from what people write: `400`, `ISO 400`, `400/27°`, `27°`, `27 DIN`, `EI 1600`, `400 ASA`.

    Raises
    ------
    Refusal
        If it is no speed, or its two parts disagree.
    """
    plain = re.sub(r"^(@|at|iso|ei|e\.i\.|asa)\s*|\s*(asa|iso)$", "", text.strip().lower().replace("º", "°"))
    pair = re.fullmatch(r"(\d{1,6})\s*/\s*(\d{1,6})\s*°?", plain)
    degrees = re.fullmatch(r"(\d{1,6})\s*(?:°|din)(?:\s*din)?", plain)
    if pair:
        speed, stated = int(pair[1]), int(pair[2])
        if speed <= 0 or speed_degrees(speed) != stated:
            meant = speed_degrees(speed) if speed > 0 else stated
            raise Refusal(f"speed {quoted(text)}", "the two parts disagree", f"ISO {speed} is {meant}°.")
        return speed
    if degrees:
        if int(degrees[1]) not in _SPEED_OF:
            raise Refusal(f"speed {quoted(text)}", f"no film has {degrees[1]}°", "Write it as ISO 100 or 21°.")
        return _SPEED_OF[int(degrees[1])]
    if re.fullmatch(r"\d{1,6}", plain) and int(plain) > 0:
        return int(plain)
    raise Refusal(f"speed {quoted(text)}", "not an ISO speed", "Write it as 400, 400/27° or 27°.")


def push_for_index(box_iso: float, exposure_index: float) -> Fraction:
    """Push (above 0) or pull (below 0) in stops, to a third, for film of `box_iso` exposed at `exposure_index`.

    Standard speeds are thirds of a stop apart, so 400 at 1600 is exactly 2 although the marks are rounded.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    return Fraction(speed_degrees(exposure_index) - speed_degrees(box_iso), 3)


def index_for_push(box_iso: float, push_stops: Fraction | float) -> int:
    """Exposure index for a push or pull, rounded to the standard step: 400 pushed 1 2/3 stops is 1250.

    Raises
    ------
    ValueError
        If `box_iso` is not above 0 or the result lies outside the table of standard speeds.
    """
    return speed_of_degrees(speed_degrees(box_iso) + _round_half_up(3 * float(push_stops)))


def parse_push(text: str) -> Fraction:
    """Stops of push or pull from what people write: `+1`, `-2/3`, `1 1/2`, `push 2`, `pull 1`, `N+1`, `0.5`, `` (none).

    Returns
    -------
    Fraction
        Push above 0, pull below 0; thirds and halves exactly, also from `0.3`, `0.33` and `0.7`.

    Raises
    ------
    Refusal
        If it is no number of stops, or neither thirds nor halves of a stop.
    """
    plain = text.strip().lower().replace(",", ".").replace("−", "-").replace("–", "-").replace("±", "")
    plain = re.sub(r"\b(stops?|ev)\b", "", plain).strip()
    if plain in ("", "n", "normal", "none", "no", "box"):
        return Fraction(0)
    sign = -1 if plain.startswith("pull") or "-" in plain else 1
    digits = re.sub(r"^(push(?:ed)?|pull(?:ed)?|n)?\s*[+-]?\s*", "", plain)
    matched = re.fullmatch(r"(?:(\d{1,9})[ +])?\s*(\d{1,9})/(\d{1,9})|(\d{0,9}\.?\d{1,9})", digits)
    if not matched or matched[3] == "0":
        raise Refusal(f"push {quoted(text)}", "not a number of stops", "Write +1, +2/3 or -1.")
    if matched[4]:
        stops = _thirds_and_halves(Fraction(matched[4]))
    else:
        stops = int(matched[1] or 0) + Fraction(int(matched[2]), int(matched[3]))
    if stops.denominator not in (1, 2, 3):
        near = in_words(format_push(sign * one) for one in _near(stops))
        raise Refusal(f"push {quoted(text)}", "neither thirds nor halves of a stop", f"Write {near}.")
    return sign * stops


def format_push(stops: Fraction | float) -> str:
    """Stops of push or pull as they are written on a form: `+1 2/3`, `-1`, `0`."""
    exact = _thirds_and_halves(Fraction(stops).limit_denominator(1000))
    if exact == 0:
        return "0"
    whole, rest = divmod(abs(exact), 1)
    parts = [str(whole)] if whole else []
    if rest:
        parts.append(f"{rest.numerator}/{rest.denominator}")
    return ("+" if exact > 0 else "-") + " ".join(parts)


def iso6_speed(exposure_lx_s: float) -> float:
    """Speed of black-and-white negative film by ISO 6: `0.8 / Hm` (formula from memory).

    Parameters
    ----------
    exposure_lx_s : float
        Hm, exposure in lux seconds that gives density 0.10 above base and fog, where development is such that 1.30 log
        units more exposure gives 0.80 more density.

    Raises
    ------
    ValueError
        If it is not above 0.
    """
    require_above_zero("exposure_lx_s", exposure_lx_s)
    return 0.8 / exposure_lx_s


def iso5800_speed(green_lx_s: float, slowest_lx_s: float) -> float:
    """Speed of colour negative film by ISO 5800: `sqrt(2) / Hm`, Hm the geometric mean of two layers (from memory).

    Parameters
    ----------
    green_lx_s, slowest_lx_s : float
        Exposures in lux seconds that give density 0.15 above minimum in the green-sensitive and in the slowest layer.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("green_lx_s", green_lx_s)
    require_above_zero("slowest_lx_s", slowest_lx_s)
    return math.sqrt(2) / math.sqrt(green_lx_s * slowest_lx_s)


def iso2240_speed(shadow_lx_s: float, highlight_lx_s: float) -> float:
    """Speed of colour reversal film by ISO 2240: `10 / Hm`, Hm the geometric mean of two points (from memory).

    Parameters
    ----------
    shadow_lx_s, highlight_lx_s : float
        Exposures in lux seconds of the two points at the ends of the middle of the curve.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("shadow_lx_s", shadow_lx_s)
    require_above_zero("highlight_lx_s", highlight_lx_s)
    return 10 / math.sqrt(shadow_lx_s * highlight_lx_s)


def _round_half_up(number: float) -> int:
    return math.floor(number + 0.5)


def _thirds_and_halves(stops: Fraction) -> Fraction:
    """Decimal thirds as people round them (0.3, 0.33, 0.67, 0.7) made exact; anything else unchanged."""
    whole, rest = divmod(stops, 1)
    for third, written in ((Fraction(1, 3), (0.3, 0.33, 0.333)), (Fraction(2, 3), (0.6, 0.66, 0.67, 0.667, 0.7))):
        if any(abs(float(rest) - one) < 1e-3 for one in written):
            return whole + third
    return stops


def _near(stops: Fraction) -> list[Fraction]:
    steps = sorted({Fraction(n, d) for d in (2, 3) for n in range(1, 5 * d + 1)}, key=lambda one: abs(one - stops))
    return sorted(steps[:2])
