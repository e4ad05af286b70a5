"""Exposure: EV, light, and marked against true shutter times and apertures.

Cameras mark rounded values; the design values behind them are powers of two (1/1000 means 1/1024, f/5.6 means 4 sqrt
2). Sources: a page on the arithmetic of camera settings, tables of f-numbers, encyclopedia articles 'Exposure value'
and 'Light meter', ISO 2720:1974 for the ranges of K (all read); the list of marked times and the ranges of C from
memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from dryside.film.refusal import Refusal, quoted
from dryside.film.units import require_above_zero

Step = Literal["full", "half", "third"]
STEPS_PER_STOP = {"full": 1, "half": 2, "third": 3}

METER_K = 12.5
"""Reflected-light calibration in cd/m2; 10.6 to 13.4 by ISO 2720, 12.5 and 14 in use."""
METER_C = 250.0
"""Incident-light calibration in lx for a flat receptor; 240 to 400."""
LENS_Q = 0.65
"""Share of the light that reaches the film through a usual lens, behind H = 8 / S."""

_SHUTTER_MARKS: dict[Step, tuple[str, ...]] = {
    "full": (
        "1/8000", "1/4000", "1/2000", "1/1000", "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8", "1/4", "0.5",
        "1", "2", "4", "8", "15", "30",
    ),
    "half": (
        "1/8000", "1/6000", "1/4000", "1/3000", "1/2000", "1/1500", "1/1000", "1/750", "1/500", "1/350", "1/250",
        "1/180", "1/125", "1/90", "1/60", "1/45", "1/30", "1/20", "1/15", "1/10", "1/8", "1/6", "1/4", "1/3", "0.5",
        "0.7", "1", "1.5", "2", "3", "4", "6", "8", "12", "15", "20", "30",
    ),
    "third": (
        "1/8000", "1/6400", "1/5000", "1/4000", "1/3200", "1/2500", "1/2000", "1/1600", "1/1250", "1/1000", "1/800",
        "1/640", "1/500", "1/400", "1/320", "1/250", "1/200", "1/160", "1/125", "1/100", "1/80", "1/60", "1/50",
        "1/40", "1/30", "1/25", "1/20", "1/15", "1/13", "1/10", "1/8", "1/6", "1/5", "1/4", "0.3", "0.4", "0.5", "0.6",
        "0.8", "1", "1.3", "1.6", "2", "2.5", "3.2", "4", "5", "6", "8", "10", "13", "15", "20", "25", "30",
    ),
}  # fmt: skip
_FIRST_SHUTTER_STOP = -13

_APERTURE_MARKS: dict[Step, tuple[str, ...]] = {
    "full": ("0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64", "90"),
    "half": (
        "0.7", "0.8", "1", "1.2", "1.4", "1.7", "2", "2.4", "2.8", "3.3", "4", "4.8", "5.6", "6.7", "8", "9.5", "11",
        "13", "16", "19", "22", "27", "32", "38", "45", "54", "64", "76", "90",
    ),
    "third": (
        "0.7", "0.8", "0.9", "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4",
        "4.5", "5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25", "29", "32",
        "36", "40", "45", "51", "57", "64", "72", "80", "90",
    ),
}  # fmt: skip
_FIRST_APERTURE_AV = -1

OLD_SHUTTER_MARKS: tuple[str, ...] = (
    "1", "1/2", "1/5", "1/10", "1/25", "1/50", "1/100", "1/200", "1/250", "1/300", "1/500",
)  # fmt: skip
"""Times of shutters from before about 1960, no powers of two (from memory): their true value is what is marked."""

WIDEST_MARK_ERROR_STOPS = {"full": 0.15, "third": 0.15, "half": 0.2}
"""How far a mark may lie from its design value and still be joined to it; the worst are 0.093, 0.141 and 0.178 stop."""


@dataclass(frozen=True)
class Mark:
    """A marked value and the design value behind it.

    Attributes
    ----------
    text : str
        As it is engraved: `1/60`, `0.3`, `5.6`.
    marked : float
        The number the mark names: seconds or f-number.
    true : float
        The design value: 2 to a whole number of steps, or its root.
    """

    text: str
    marked: float
    true: float

    @property
    def error_stops(self) -> float:
        """`log2(marked / true)` of a time; the same doubled for an f-number is up to the caller."""
        return math.log2(self.marked / self.true)


def shutter_scale(step: Step = "third") -> tuple[Mark, ...]:
    """Marked times from 1/8000 to 30 s with their true seconds, shortest first."""
    per_stop = STEPS_PER_STOP[step]
    return tuple(
        Mark(text, float(Fraction(text)), 2.0 ** (_FIRST_SHUTTER_STOP + Fraction(i, per_stop)))
        for i, text in enumerate(_SHUTTER_MARKS[step])
    )


def aperture_scale(step: Step = "third") -> tuple[Mark, ...]:
    """Marked f-numbers from 0.7 to 90 with their true values, widest first."""
    per_stop = STEPS_PER_STOP[step]
    return tuple(
        Mark(text, float(text), 2.0 ** ((_FIRST_APERTURE_AV + Fraction(i, per_stop)) / 2))
        for i, text in enumerate(_APERTURE_MARKS[step])
    )


def true_seconds(marked_s: float, step: Step = "third") -> float:
    """The design value behind a marked time; a time that is no mark of the scale is given back unchanged.

    The marks 1/20, 1/10, 1/6, 6 and 20 stand on half and third scales with different true values: `step` decides.

    Raises
    ------
    ValueError
        If `marked_s` is not above 0.
    """
    require_above_zero("marked_s", marked_s)
    return _true(marked_s, shutter_scale(step))


def true_f_number(marked: float, step: Step = "third") -> float:
    """The design value behind a marked f-number; one that is no mark of the scale is given back unchanged.

    Raises
    ------
    ValueError
        If `marked` is not above 0.
    """
    require_above_zero("marked", marked)
    return _true(marked, aperture_scale(step))


def exposure_value(f_number: float, seconds: float) -> float:
    """EV, `log2(N**2 / t)`: of marked values for what the camera says, of true ones for arithmetic.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("f_number", f_number)
    require_above_zero("seconds", seconds)
    return math.log2(f_number**2 / seconds)


def light_value(f_number: float, seconds: float, iso: float) -> float:
    """EV brought to ISO 100: the light that is exposed for, in stops.

    Raises
    ------
    ValueError
        If any is not above 0.
    """
    require_above_zero("iso", iso)
    return exposure_value(f_number, seconds) - math.log2(iso / 100)


def luminance_cd_m2(ev: float, iso: float = 100, *, k: float = METER_K) -> float:
    """Luminance that a reflected-light meter answers with `ev`, in cd/m2: `2**EV K / S`.

    Raises
    ------
    ValueError
        If `iso` or `k` is not above 0.
    """
    require_above_zero("iso", iso)
    require_above_zero("k", k)
    return 2.0**ev * k / iso


def illuminance_lx(ev: float, iso: float = 100, *, c: float = METER_C) -> float:
    """Illuminance that an incident-light meter answers with `ev`, in lx: `2**EV C / S`.

    Raises
    ------
    ValueError
        If `iso` or `c` is not above 0.
    """
    require_above_zero("iso", iso)
    require_above_zero("c", c)
    return 2.0**ev * c / iso


def ev_of_luminance(cd_m2: float, iso: float = 100, *, k: float = METER_K) -> float:
    """EV that a reflected-light meter answers: the inverse of `luminance_cd_m2`.

    Raises
    ------
    ValueError
        If any is not above 0.
    """
    require_above_zero("cd_m2", cd_m2)
    return math.log2(cd_m2 / luminance_cd_m2(0, iso, k=k))


def meter_reflectance(k: float = METER_K, c: float = METER_C) -> float:
    """Reflectance of the matt surface on which both kinds of meter agree, `pi K / C`, 0 to 1: 0.157.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("k", k)
    require_above_zero("c", c)
    return math.pi * k / c


def metered_exposure_lx_s(iso: float, *, k: float = METER_K, q: float = LENS_Q) -> float:
    """Exposure that a meter gives the film, in lx s: `q K / S`, 8.1 / S.

    Raises
    ------
    ValueError
        If any is not above 0.
    """
    require_above_zero("iso", iso)
    require_above_zero("k", k)
    require_above_zero("q", q)
    return q * k / iso


# --- As people write them ---------------------------------------------------------------------------------------------


_PLAIN_SIGNS = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", ",": ".", "ƒ": "f", "–": "-"})


@dataclass(frozen=True)
class ShutterTime:
    """A shutter time as it was noted.

    Attributes
    ----------
    mode : str
        `timed`, or `B` or `T` where the shutter was held open.
    seconds : float or None
        The time that is marked or was counted; None where B or T was noted without one.
    """

    mode: Literal["timed", "B", "T"]
    seconds: float | None

    @property
    def text(self) -> str:
        """As it is written: `1/250`, `2"`, `B 45"`."""
        time = "" if self.seconds is None else format_seconds(self.seconds)
        return time if self.mode == "timed" else f"{self.mode} {time}".strip()


def parse_shutter(text: str, *, bare: Literal["refuse", "fraction", "seconds"] = "refuse") -> ShutterTime:
    """A shutter time: `1/250`, `1/60s`, `2"`, `0.3`, `0"3`, `1.5 s`, `2m30s`, `2'30"`, `B`, `B 45s`, `T 2m`.

    Parameters
    ----------
    text : str
        What was noted.
    bare : str, optional
        How a whole number without a sign is read: `250` may be 1/250 or 250 s, so it is refused unless the caller
        knows. `1` is 1 s either way.

    Raises
    ------
    Refusal
        If it is no time, lies outside 1/32000 s to 24 h, or is ambiguous.
    """
    plain = re.sub(r"\s+", "", text.lower().translate(_PLAIN_SIGNS)).replace("''", '"')
    mode: Literal["timed", "B", "T"] = "timed"
    if held := re.match(r"(bulb|time|b|t)(?![a-z])[:=]?", plain):
        mode = "B" if held[1].startswith("b") else "T"
        plain = plain[held.end() :]
        if not plain:
            return ShutterTime(mode, None)
    if plain.isdecimal() and len(plain) < 10 and int(plain) > 1:
        held_open = mode != "timed"
        if not held_open and bare == "refuse":
            remedy = f'Write 1/{plain} or {plain}".'
            raise Refusal(f"time {quoted(text)}", f"it may be 1/{plain} s or {plain} s", remedy)
        plain = f"1/{plain}" if bare == "fraction" and not held_open else f"{plain}s"
    seconds = _seconds(plain)
    if seconds is None:
        raise Refusal(f"time {quoted(text)}", "not a shutter time", 'Write it as 1/250, 0.3, 2" or B 45".')
    if not 1 / 32000 <= seconds <= 86400:
        raise Refusal(f"time {quoted(text)}", "outside 1/32000 s to 24 h", "Look at it again.")
    return ShutterTime(mode, seconds)


_PARTS_OF_TIME = re.compile(
    r"""(?: (\d{1,9}) (?:h|hr|hours?) )?
    (?: (\d{1,9}(?:\.\d{1,9})?) (?:m|min|mins|minutes?|') )?
    (?: (\d{0,9}\.?\d{1,9}) (s|sec|secs|seconds?|")? )?""",
    re.VERBOSE,
)
_F_NUMBER = re.compile(
    r"""(\d{0,9}\.?\d{1,9})
    (?: \s*-\s* f?/? (\d{0,9}\.?\d{1,9})                         # to the next mark
      | \s*\+?\s+\+?\s* ([12])/([23]) (?:\s*stops?)? )?        # and part of a stop""",
    re.VERBOSE,
)


def _seconds(plain: str) -> float | None:
    """Seconds of a time without blanks, in lower case; None if it is none."""
    if fraction := re.fullmatch(r"(\d{1,9})/(\d{1,9}(?:\.\d{1,9})?)(?:th|nd|rd|s|sec|secs|second|seconds|\")?", plain):
        return int(fraction[1]) / float(fraction[2]) if float(fraction[2]) > 0 else None
    if engraved := re.fullmatch(r"(\d{1,9})\"(\d)", plain):  # as displays write 0"3 and 1"5
        return float(f"{engraved[1]}.{engraved[2]}")
    parts = _PARTS_OF_TIME.fullmatch(plain)
    if not parts or not any(parts.group(1, 2, 3)):
        return None
    if parts[3] and not parts[4] and "." not in parts[3] and not parts[2] and plain != "1":
        return None
    return 3600 * int(parts[1] or 0) + 60 * float(parts[2] or 0) + float(parts[3] or 0)


def parse_aperture(text: str) -> float:
    """An f-number as noted: `f8`, `f/5.6`, `F 5,6`, `1:2.8`, `5.6`, `f8-11` and `f8 1/2` for half a stop between marks.

    Returns
    -------
    float
        The marked f-number; between two marks, the mark of the half- or third-stop scale.

    Raises
    ------
    Refusal
        If it is no f-number or lies outside 0.5 to 512.
    """
    plain = text.strip().lower().translate(_PLAIN_SIGNS)
    plain = plain.replace("½", " 1/2").replace("⅓", " 1/3").replace("⅔", " 2/3")
    plain = re.sub(r"^(?:f\s*[/:.]?\s*|1:\s*)", "", plain)
    matched = _F_NUMBER.fullmatch(plain)
    if not matched or not 0.5 <= float(matched[1]) <= 512:
        raise Refusal(f"aperture {quoted(text)}", "not an f-number from 0.5 to 512", "Write it as f/5.6.")
    low = float(matched[1])
    if matched[2]:
        between = math.sqrt(true_f_number(low) * true_f_number(float(matched[2])))
        if not 0.3 < 2 * math.log2(float(matched[2]) / low) < 1.3:
            raise Refusal(f"aperture {quoted(text)}", "its ends are not next to each other", "Write one f-number.")
        return float(format_f_number(between, "half"))
    if matched[3]:
        part = Fraction(int(matched[3]), int(matched[4]))
        step: Step = "half" if part.denominator == 2 else "third"
        return float(format_f_number(true_f_number(low, step) * 2.0 ** (part / 2), step))
    return low


def format_seconds(seconds: float) -> str:
    """A time as it is written in a log: `1/250`, `0.3"`, `2"`, `2m30s`.

    Below a quarter of a second (and at 1/3) a fraction of one, as shutters are marked; then seconds, from two minutes
    on minutes and seconds.

    Raises
    ------
    ValueError
        If `seconds` is not above 0.
    """
    require_above_zero("seconds", seconds)
    if seconds <= 0.26 or math.isclose(seconds, 1 / 3, rel_tol=5e-3):
        below = 1 / seconds
        whole = below > 10 or math.isclose(below, round(below), rel_tol=1e-3)
        return f"1/{round(below)}" if whole else f"1/{below:.1f}"
    if seconds < 120:
        return f'{seconds:.3g}"'
    minutes, rest = divmod(round(seconds), 60)
    if minutes >= 120:
        hours, minutes = divmod(minutes, 60)
        return f"{hours}h{minutes:02d}m" + (f"{rest:02d}s" if rest else "")
    return f"{minutes}m{rest:02d}s" if rest else f"{minutes}m"


def format_f_number(f_number: float, step: Step = "third") -> str:
    """An f-number as it is marked: the mark of the scale within a tenth of a stop, else two digits: 5.657 is `5.6`.

    Raises
    ------
    ValueError
        If `f_number` is not above 0.
    """
    require_above_zero("f_number", f_number)
    scale = aperture_scale(step)
    nearest = min(scale, key=lambda mark: abs(math.log2(f_number / mark.true)))
    if abs(2 * math.log2(f_number / nearest.true)) <= 0.1:
        return nearest.text
    return f"{f_number:.2g}" if f_number < 10 else f"{f_number:.3g}"


def nearest_shutter_mark(seconds: float, step: Step = "third") -> Mark:
    """The mark whose true time is nearest in stops; for setting a calculated time on a camera.

    Raises
    ------
    ValueError
        If `seconds` is not above 0.
    """
    require_above_zero("seconds", seconds)
    return min(shutter_scale(step), key=lambda mark: abs(math.log2(seconds / mark.true)))


def _true(marked: float, scale: tuple[Mark, ...]) -> float:
    for mark in scale:
        if math.isclose(marked, mark.marked, rel_tol=5e-3):
            return mark.true
    return marked
