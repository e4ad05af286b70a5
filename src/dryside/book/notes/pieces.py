"""The pieces of a line: times, apertures, lenses, places ... found wherever they stand; what is left is the caption."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from dryside.book.notes.coordinates import ALTITUDE, PAIR, degrees, read_pair
from dryside.book.notes.days import DATE, TIME, Clock, read_date, read_time
from dryside.book.notes.noted import Assumptions
from dryside.book.notes.words import FALSE, FIELD_NAMES, FLASH, NO_FLASH, TRUE, field_of
from dryside.film.exposure import parse_aperture, parse_shutter, shutter_scale
from dryside.film.refusal import Refusal
from dryside.film.speed import parse_speed

_GAP = "\x00"  # stands where a piece was taken out, so that its neighbours do not become one word
_QUOTES = str.maketrans({"“": '"', "”": '"', "„": '"', "″": '"', "‟": '"', "‘": "'", "’": "'", "′": "'", "−": "-",
                         "ƒ": "f", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "⁄": "/", "×": "x"})  # fmt: skip
_NAMES = "|".join(
    sorted((re.escape(name) for names in FIELD_NAMES.values() for name in names if len(name) > 1), key=len)[::-1]
)
_NAMED = re.compile(rf"(?<![\w:/])({_NAMES})\s?[:=]\s*([^;|,{_GAP}]*)", re.IGNORECASE)
_NAMED_TO_END = re.compile(rf"(?<![\w:/])({_NAMES})\s?[:=]\s*([^;|{_GAP}]*)", re.IGNORECASE)
_TO_END = {"caption", "notes"}
_MORE_NAMES = re.compile(rf"(?:\s?,\s?[^\W\d_a-z][^\W\d_]+(?=\s*(?:[,;{_GAP}]|$)))+")
_QUOTED = re.compile(r'(?<![\w\d])"([^"]*[^\W\d][^"]*)"')
_COMMENT = re.compile(r"(?:^|\s)//\s*(.*)$")
_EI = re.compile(
    r"(?<![\w@])(?:EI|E\.I\.|ISO|ASA)\s?:?\s?(\d{1,6}(?:/\d{1,2}°?)?)(?!\w)|(?<!\w)@\s?(\d{2,6})(?![\w.,]*\d|mm)"
)
_KEYWORD = re.compile(r"(?<!\w)#([^\W\d_][\w\-]*)")
_RATING = re.compile(
    r"(?<!\S)([*★☆⭐]{1,5})(?![\w*])|(?<![\w/.,+\-])([0-5])(?:\*|★|⭐|\s?stars?|sterne?|étoiles?|estrellas?)(?!\w)"
)
_NUMBER = r"\d{1,3}(?:[.,]\d{1,2})?"
_APERTURE = re.compile(
    rf"(?<![\w/.])(?:f\s?[/:.]?\s?|(?:blende|bl\.|aperture|ouverture|diafragma|diaph\.?)\s?)({_NUMBER})"
    rf"(\s?-\s?(?:f/?)?{_NUMBER}(?![\w:]*mm)|\s?\+?\s?[½⅓⅔]|(?P<part>\s?\+?\s[12]/[23](?![\w/])))?(?!\w|/\d|-\w)",
    re.IGNORECASE,
)
_SECONDS = r"(?i:s|sec|secs|sek|seg|seconds?|sekunden?|secondes?|segundos?)"
_SHUTTER = re.compile(
    rf"""(?<![\w/.,+\-±])(?:
      (?P<fraction>1/\d{{1,5}}(?:[.,]\d)?)(?:\s?{_SECONDS}|th)?
    | (?P<odd>\d{{1,2}}/\d{{1,2}})\s?{_SECONDS}
    | (?P<engraved>\d{{1,2}}"\d)
    | (?P<held>(?:bulb|[BT](?=[\s,;:]|$))
        (?:[\s:]*\d+(?:[.,]\d+)?\s?(?:{_SECONDS}|"|min|m|')(?:\s?\d{{1,2}}\s?(?:{_SECONDS}|"))?)?)
    | (?P<minutes>\d{{1,3}})\s?(?:m|min|')\s?(?P<and>\d{{1,2}})\s?(?:{_SECONDS}|")
    | (?P<min_only>\d{{1,3}})\s?(?i:min|mins|minutes?|minuten|minutos?)
    | (?P<seconds>\d{{1,5}}(?:[.,]\d+)?)\s?(?:{_SECONDS}|")
    )(?![\w/"])""",
    re.VERBOSE,
)
_FOCAL = re.compile(
    r"(?<![\w./])(?:(\d{1,4})\s?-\s?(\d{1,4})\s?mm(?:\s?(?:@|at|bei|à|a)\s?(\d{1,4})(?:\s?mm)?)?|(\d{1,4}(?:[.,]\d)?)\s?mm)(?!\w)",
    re.IGNORECASE,
)
_BIAS = re.compile(
    r"(?<![\w.,/+\-])(?:([+-])\s?(\d/\d|\d(?:[.,]\d+)?)|(±)\s?0)\s?(?:ev|stops?|lw|il|blenden?)?(?![\w:/.,]*\d)(?!\w)",
    re.IGNORECASE,
)
_BIAS_AND_PART = re.compile(r"(?<![\w.,/+\-])([+-]\s?\d\s[1-3]/[234])\s?(?:ev|stops?|lw|il|blenden?)(?!\w)", re.I)
_NO_FLASH = re.compile(rf"(?<!\w)(?:{NO_FLASH})(?!\w)", re.IGNORECASE)
_FLASH = re.compile(rf"(?<!\w)(?:{FLASH})(?!\w)", re.IGNORECASE)
_PLACE = re.compile(rf"(?<!\w)@\s?([^\W\d][^,;|{_GAP}]*)")
_BARE = re.compile(r"(?<![\w/.,+\-:])(\d{1,5})(?![\w/,.:\"'+\-]*\d|\w|°|\s?(?:mm|m\b))")
_SUSPECT = re.compile(r"(?<![\w/])(?:f/?\d[\w.,/]*|\d+/\d+[^\W\d]\w*|1/[^\W\d]\w*|\d+mm\w+)", re.IGNORECASE)
_DIAL = frozenset(mark.text for step in ("full", "half", "third") for mark in shutter_scale(step))


@dataclass
class Pieces:
    """What a line says; `shutters` and `biases` are lists because a range may give one for each of its frames."""

    values: dict[str, Any] = field(default_factory=dict)
    shutters: list[tuple[str, float | None]] = field(default_factory=list)
    biases: list[float] = field(default_factory=list)
    keywords: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    day: date | None = None
    clock: Clock | None = None
    rest: str = ""

    def put(self, name: str, value: Any) -> None:
        """Set a value.

        Raises
        ------
        Refusal
            If the line says it twice, and differently.
        """
        known = self.values.get(name)
        if known is not None and known != value:
            raise Refusal(name.replace("_", " "), f"the line gives {known} and {value}", "Keep one of them.")
        self.values[name] = value


def plain_signs(text: str) -> str:
    """`text` with the quotes, dashes and blanks that phones put in made plain (en dashes stay, for ranges)."""
    return text.translate(_QUOTES)


def read_pieces(text: str, assume: Assumptions) -> Pieces:
    """Read the pieces of one line, whose label was taken off.

    Raises
    ------
    Refusal
        If a piece has the form of a field and cannot be one, or is said twice.
    """
    scan = _Scan(plain_signs(text), assume)
    for reader in _READERS:
        reader(scan)
    found = scan.found
    if match := _SUSPECT.search(scan.text):
        raise Refusal(f"{match.group(0)!r}", "it looks like an exposure and is none", "Write it like 1/250 f8.")
    found.rest = " ".join([*scan.captions, _tidy(scan.text)]).strip()
    return found


class _Scan:
    """A line from which pieces are taken one after the other."""

    def __init__(self, text: str, assume: Assumptions) -> None:
        self.text = text
        self.assume = assume
        self.found = Pieces()
        self.captions: list[str] = []

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """The next match, cut out of the text."""
        match = pattern.search(self.text)
        if match:
            self.cut(match.start(), match.end())
        return match

    def cut(self, start: int, end: int) -> None:
        self.text = f"{self.text[:start]}{_GAP}{self.text[end:]}"


def _comment(scan: _Scan) -> None:
    if (match := scan.take(_COMMENT)) and match[1].strip():
        scan.found.notes.append(match[1].strip())


def _quoted(scan: _Scan) -> None:
    while match := scan.take(_QUOTED):
        scan.captions.append(match[1].strip())


def _named(scan: _Scan) -> None:
    at = 0
    while match := _NAMED.search(scan.text, at):
        column = field_of(match[1])
        if column in _TO_END:
            match = _NAMED_TO_END.search(scan.text, at) or match
        end = match.end()
        if column == "person" and (more := _MORE_NAMES.match(scan.text, end)):
            end = more.end()
        value = scan.text[match.start(2) : end].strip()
        if column in ("time", "date", "taken_at", "label") or not value:
            # The name goes, what follows is read as any date or time is.
            scan.text = f"{scan.text[: match.start()]}{_GAP}{scan.text[match.start(2) :]}"
            continue
        scan.cut(match.start(), end)
        put_field(scan.found, column or "notes", value)
        at = 0


def put_field(found: Pieces, column: str, value: str) -> None:
    """Read the value of a named field into `found`; used by lines and by sheets.

    Raises
    ------
    Refusal
        If the value cannot be read.
    """
    value = plain_signs(value).strip()
    if column == "shutter":
        time = parse_shutter(value, bare="fraction")
        found.shutters.append((time.text, time.seconds))
    elif column == "keywords":
        found.keywords += [word.strip(" #") for word in re.split(r"[,;]|\s(?=#)", value) if word.strip(" #")]
    elif column == "notes":
        found.notes.append(value)
    elif column == "exposure_bias":
        found.biases.append(_stops(value))
    elif column in _READ_FIELD:
        found.put(column, _READ_FIELD[column](value))
    else:
        found.put(column, value)


def _position(scan: _Scan) -> None:
    if match := scan.take(PAIR):
        latitude, longitude = read_pair(match)
        scan.found.put("latitude", latitude)
        scan.found.put("longitude", longitude)
    if match := scan.take(ALTITUDE):
        scan.found.put("altitude_m", _decimal(match[1] or match[2]))


def _moment(scan: _Scan) -> None:
    if match := scan.take(DATE):
        scan.found.day = read_date(match, scan.assume)
    if match := scan.take(TIME):
        scan.found.clock = read_time(match)


def _speed(scan: _Scan) -> None:
    if match := scan.take(_EI):
        scan.found.put("exposure_index", parse_speed(match[1] or match[2]))


def _words(scan: _Scan) -> None:
    while match := scan.take(_KEYWORD):
        scan.found.keywords.append(match[1])
    if match := scan.take(_RATING):
        scan.found.put("rating", len(match[1].replace("☆", "")) if match[1] else int(match[2]))


def _aperture(scan: _Scan) -> None:
    while match := _APERTURE.search(scan.text):
        end = match.end()
        text = match.group(0)
        if match["part"]:
            # 'f2 1/2' is half a stop past f2 only if the line has another time; else 1/2 is the time.
            others = scan.text[: match.start()] + _GAP + scan.text[match.end() :]
            if not _SHUTTER.search(others):
                end = match.start("part")
                text = scan.text[match.start() : end]
        scan.cut(match.start(), end)
        plain = re.sub(r"^[^\d]*", "f", text)
        scan.found.put("aperture", parse_aperture(plain.replace("+", " ")))


def _shutter(scan: _Scan) -> None:
    while match := _next_shutter(scan):
        scan.cut(match.start(), match.end())
        text = match.group(0)
        if match["held"]:
            time = parse_shutter(re.sub(r"sek|seg|segundos?|secondes?|sekunden?", "s", text.replace("bulb", "B")))
        elif match["minutes"]:
            time = parse_shutter(f"{match['minutes']}m{match['and']}s")
        elif match["min_only"]:
            time = parse_shutter(f"{match['min_only']}m")
        else:
            number = match["fraction"] or match["odd"] or match["engraved"] or f'{match["seconds"]}"'
            time = parse_shutter(number)
        scan.found.shutters.append((match["fraction"] or time.text, time.seconds))  # as marked: 1/2 and not 0.5"


def _next_shutter(scan: _Scan) -> re.Match[str] | None:
    """The next time; B and T alone only where no word stands before them, so that 'Plan B' stays a caption."""
    for match in _SHUTTER.finditer(scan.text):
        alone = match["held"] in ("B", "T")
        before = scan.text[: match.start()].rstrip(" ,;:")
        if not alone or not before or before.endswith(_GAP):
            return match
    return None


def _focal(scan: _Scan) -> None:
    if match := scan.take(_FOCAL):
        if match[4]:
            scan.found.put("focal_mm", _decimal(match[4]))
        else:
            scan.found.put("lens", f"{match[1]}-{match[2]}mm")
            if match[3]:
                scan.found.put("focal_mm", float(match[3]))


def _bias_and_part(scan: _Scan) -> None:
    """'+1 1/2 stops', before its half is taken for half a second."""
    while match := scan.take(_BIAS_AND_PART):
        scan.found.biases.append(_stops(match[1]))


def _bias(scan: _Scan) -> None:
    while match := scan.take(_BIAS):
        scan.found.biases.append(_stops(f"{match[1]}{match[2]}") if match[1] else 0.0)


def _flash(scan: _Scan) -> None:
    if scan.take(_NO_FLASH):
        scan.found.put("flash", False)
    elif scan.take(_FLASH):
        scan.found.put("flash", True)


def _place(scan: _Scan) -> None:
    if match := scan.take(_PLACE):
        scan.found.put("place", match[1].strip())


def _dial(scan: _Scan) -> None:
    """A bare number beside the aperture, as on the dial: '250 f8'. 30 and below may be seconds, and are refused."""
    if scan.found.shutters or "aperture" not in scan.found.values:
        return
    for match in _BARE.finditer(scan.text):
        before, after = scan.text[: match.start()].rstrip(" ,@"), scan.text[match.end() :].lstrip(" ,@")
        beside = before.endswith(_GAP) or after.startswith(_GAP)
        if not beside or (f"1/{match[1]}" not in _DIAL and int(match[1]) > 30):
            continue
        time = parse_shutter(match[1], bare="fraction" if int(match[1]) > 30 else "refuse")
        scan.cut(match.start(), match.end())
        scan.found.shutters.append((time.text, time.seconds))
        return


_READERS: tuple[Callable[[_Scan], None], ...] = (
    _comment, _quoted, _named, _position, _moment, _focal, _speed, _words, _bias_and_part, _aperture, _shutter, _bias,
    _flash, _place, _dial,
)  # fmt: skip


def _decimal(text: str) -> float:
    try:
        return float(text.replace(",", ".").replace("−", "-").strip(" m"))
    except ValueError as error:
        raise Refusal(f"{text!r}", "not a number", "Write it like 50 or 3.5.") from error


def _stops(text: str) -> float:
    plain = re.sub(r"\s?(ev|stops?|lw|il|blenden?)$", "", text.strip().lower()).replace(",", ".").strip()
    match = re.fullmatch(r"([+-]?)\s?(?:(\d+)\s)?(\d+)/(\d+)|([+-]?)\s?(\d+(?:\.\d+)?)", plain)
    if not match or match[4] == "0":
        raise Refusal(f"compensation {text!r}", "not a number of stops", "Write +1 or -2/3.")
    sign = -1 if (match[1] or match[5]) == "-" else 1
    return sign * (round(int(match[2] or 0) + int(match[3]) / int(match[4]), 4) if match[4] else float(match[6]))


def _truth(text: str) -> bool:
    plain = text.strip().lower()
    if plain in TRUE or plain in FALSE:
        return plain in TRUE
    raise Refusal(f"{text!r}", "neither yes nor no", "Write yes or no.")


def _stars(text: str) -> int:
    plain = text.strip()
    if plain and set(plain) <= set("*★☆⭐"):
        return len(plain.replace("☆", ""))
    if plain.isdigit() and 0 <= int(plain) <= 5:
        return int(plain)
    raise Refusal(f"rating {text!r}", "it is 0 to 5", "Write 3 or ***.")


def _angle(limit: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = degrees(text) * (-1 if re.search(r"[SWsw]", text) else 1)
        if abs(value) > limit:
            raise Refusal(f"{text!r}", f"beyond {limit:g} degrees", "Look at it again.")
        return value

    return read


_READ_FIELD: dict[str, Callable[[str], Any]] = {
    "aperture": parse_aperture,
    "focal_mm": _decimal,
    "exposure_index": parse_speed,
    "flash": _truth,
    "blank": _truth,
    "printed": _truth,
    "rating": _stars,
    "altitude_m": _decimal,
    "latitude": _angle(90),
    "longitude": _angle(180),
}


def _tidy(text: str) -> str:
    """The words that are left, without the commas that stood around pieces."""
    joined = re.sub(rf"[\s,;|·•@/]*{_GAP}[\s,;|·•@/]*", _GAP, text)
    words = [part.strip(" \t,;|-–—:·•.@/") for part in re.split(_GAP, joined)]
    return ", ".join(word for word in words if word)
