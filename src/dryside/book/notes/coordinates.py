"""Coordinates as people write them: decimal degrees, degrees and minutes, hemispheres before or after."""

from __future__ import annotations

import re

from dryside.film.refusal import Refusal

_DECIMAL = r"[+\-−]?\d{1,3}[.,]\d{2,}"
_SEXAGESIMAL = r"\d{1,3}\s?°\s?(?:\d{1,2}(?:[.,]\d+)?\s?['′’]\s?)?(?:\d{1,2}(?:[.,]\d+)?\s?(?:\"|″|”|''))?"
_ONE = rf"(?:{_SEXAGESIMAL}|[+\-−]?\d{{1,3}}[.,]\d+\s?°?)"  # beside a hemisphere one digit is enough
PAIR = re.compile(
    rf"""(?<![\w.,/])(?:geo:|gps:?\s*|@)?(?:
      (?P<pre_lat>[NS])\s?(?P<lat1>{_ONE})[\s,;/]*(?P<pre_lon>[EWO])\s?(?P<lon1>{_ONE})
    | (?P<lat2>{_ONE})\s?(?P<post_lat>[NS])\b[\s,;/]*(?P<lon2>{_ONE})\s?(?P<post_lon>[EWO])\b
    | (?P<lat3>{_DECIMAL})\s?°?(?:\s*[;,/]\s*|\s+)(?P<lon3>{_DECIMAL})\s?°?
    )(?![\d.]*\w)""",
    re.VERBOSE | re.IGNORECASE,
)
ALTITUDE = re.compile(
    r"\b(?:alt(?:itude)?|ele(?:vation)?|höhe|altitud)[.:]?\s*([+\-−]?\d{1,4}(?:[.,]\d+)?)\s?m?\b"
    r"|\b([+\-−]?\d{1,4})\s?m\s?(?:a\.?s\.?l\.?|ü\.?\s?n\.?\s?n\.?|ü\.?\s?m\.?)(?!\w)",
    re.IGNORECASE,
)


def read_pair(match: re.Match[str]) -> tuple[float, float]:
    """Latitude and longitude in degrees of a match of `PAIR`, north and east positive.

    `O` is east in German (Ost) and west in the Romance languages (ouest, oeste), so it is refused.

    Raises
    ------
    Refusal
        If they lie outside 90 and 180 degrees, a minute or second is 60 or more, or the hemisphere is `O`.
    """
    found = match.group(0).strip()
    latitude_text = match["lat1"] or match["lat2"] or match["lat3"]
    longitude_text = match["lon1"] or match["lon2"] or match["lon3"]
    north_south = (match["pre_lat"] or match["post_lat"] or "N").upper()
    east_west = (match["pre_lon"] or match["post_lon"] or "E").upper()
    if east_west == "O":
        raise Refusal(f"position {found!r}", "O is east in German and west in French and Spanish", "Write E or W.")
    latitude = degrees(latitude_text) * (-1 if north_south == "S" else 1)
    longitude = degrees(longitude_text) * (-1 if east_west == "W" else 1)
    if not -90 <= latitude <= 90 or not -180 <= longitude <= 180:
        raise Refusal(f"position {found!r}", "no such place on Earth", "Latitude first: 41.1456, -8.6109.")
    return round(latitude, 7), round(longitude, 7)


def degrees(text: str) -> float:
    """Degrees of `41.1456`, `-8,6109` or `41°8'44"`.

    Raises
    ------
    Refusal
        If it is no angle, or its minutes or seconds are 60 or more.
    """
    plain = text.strip().replace(",", ".").replace("−", "-")
    parts = re.findall(r"[+-]?\d+(?:\.\d+)?", plain)
    if not parts or len(parts) > 3:
        raise Refusal(f"angle {text!r}", "not an angle", "Write it like 41.1456.")
    whole, minutes, seconds = (float(parts[i]) if i < len(parts) else 0.0 for i in range(3))
    if minutes >= 60 or seconds >= 60:
        raise Refusal(f"angle {text!r}", "minutes and seconds end at 60", "Look at it again.")
    sign = -1 if plain.startswith("-") else 1
    return sign * (abs(whole) + minutes / 60 + seconds / 3600)
