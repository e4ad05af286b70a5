"""A phone's folder of pictures: the shots with times and places, and what in it is no shot made beside a frame."""

from __future__ import annotations

import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from dryside.film.refusal import NotFound
from dryside.scans.parcel import Aside, natural_key, open_parcel, plain_names
from dryside.scans.picture_files import SUFFIXES, media_type

_SCREEN_NAME = re.compile(r"screen[ _-]?(shot|recording)|bildschirmfoto|captura|capture d.?.cran|skjermbilde", re.I)
_EXIF, _GPS = 0x8769, 0x8825
_DATE_ORIGINAL, _OFFSET_ORIGINAL, _USER_COMMENT = 0x9003, 0x9011, 0x9286
_QUARTER_S = 900
LARGEST_OFFSET_S = 14 * 3600
SAME_MOMENT_S = 120.0  # a phone shot is made within two minutes of the exposure (common practice)
_ENOUGH_TIMES = 0.8


@dataclass(frozen=True)
class PhoneShot:
    """One phone picture.

    Attributes
    ----------
    path : Path
        The file.
    name : str
        Its name in the folder.
    taken : datetime or None
        As the phone's clock stood, without offset.
    offset_s : int or None
        The clock's offset from UTC: from Exif, or from the satellites' time that is written beside it.
    latitude, longitude, altitude_m : float or None
        Degrees, north and east positive; metres above the sea.
    """

    path: Path
    name: str
    taken: datetime | None = None
    offset_s: int | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude_m: float | None = None

    @property
    def utc(self) -> float | None:
        """Seconds since 1970; a clock without offset is taken for UTC, and `clock_offset` finds the difference."""
        if self.taken is None:
            return None
        return self.taken.replace(tzinfo=UTC).timestamp() - (self.offset_s or 0)

    def taken_at(self, assumed_offset_s: int | None = None) -> str | None:
        """ISO 8601 with offset; `assumed_offset_s` for a phone that wrote none. None if neither is known."""
        offset = self.offset_s if self.offset_s is not None else assumed_offset_s
        if self.taken is None or offset is None:
            return None
        return self.taken.replace(tzinfo=timezone(timedelta(seconds=offset))).isoformat(timespec="seconds")


@dataclass(frozen=True)
class PhoneFolder:
    """Shots in the order of time (of names where times are missing), and what was left out and why."""

    shots: tuple[PhoneShot, ...]
    asides: tuple[Aside, ...]
    by_time: bool


@dataclass(frozen=True)
class ClockOffset:
    """How far the log's clock is ahead of the phone's, seconds; from how many pairs, and how far they spread."""

    seconds: float
    pairs: int
    spread_s: float

    @property
    def says(self) -> str:
        """In words."""
        whole = round(self.seconds / _QUARTER_S) * _QUARTER_S
        size = abs(self.seconds)
        text = f"{size / 3600:.2f} h" if size >= 3600 else f"{size / 60:.0f} min" if size >= 90 else f"{size:.0f} s"
        zone = (
            " (a whole time zone: likely a wrong or missing zone)" if whole and abs(self.seconds - whole) < 90 else ""
        )
        way = "behind" if self.seconds > 0 else "ahead of"
        return "the clocks agree" if size < 60 else f"the phone's clock is {text} {way} the log{zone}"


def read_phone_folder(folder: Path) -> PhoneFolder:
    """List a phone's shots.

    Videos, the moving halves of live pictures, screenshots and second copies of a shot (HEIC and JPEG) are left out,
    each with its reason.

    Raises
    ------
    NotFound
        If the folder is not there, or holds no picture.
    """
    if not folder.is_dir():
        raise NotFound(str(folder), "there is no such folder", "Name the folder with the phone's pictures.")
    parcel = open_parcel([folder])
    asides = list(parcel.asides)
    shots: list[PhoneShot] = []
    stems: dict[tuple[str, datetime | None], str] = {}
    for entry in plain_names(parcel.entries):
        kind = media_type(entry.source)
        if kind not in SUFFIXES:
            video = (kind or "").startswith("video/")
            asides.append(
                Aside(entry.name, "a video or the moving half of a live picture" if video else "not a picture")
            )
            continue
        exif = _exif(entry.source)
        if _SCREEN_NAME.search(entry.base_name) or "screenshot" in str(exif.get("comment", "")).lower():
            asides.append(Aside(entry.name, "a picture of the screen"))
            continue
        shot = PhoneShot(
            entry.source, entry.name, exif.get("taken"), exif.get("offset"), *exif.get("place", (None,) * 3)
        )
        key = (entry.name.rsplit(".", 1)[0].casefold(), shot.taken)
        if key in stems and shot.taken is not None:
            asides.append(Aside(entry.name, f"a second copy of {stems[key]}"))
            continue
        stems[key] = entry.name
        shots.append(shot)
    if not shots:
        raise NotFound(str(folder), "no picture is in it", "Name the folder with the phone's pictures.")
    return _in_order(shots, asides)


def _in_order(shots: list[PhoneShot], asides: list[Aside]) -> PhoneFolder:
    timed = [shot for shot in shots if shot.taken is not None]
    by_time = len(timed) >= _ENOUGH_TIMES * len(shots) and len({shot.taken for shot in timed}) * 2 > len(timed)
    if not by_time:
        return PhoneFolder(tuple(sorted(shots, key=lambda s: natural_key(s.name))), tuple(asides), False)
    zoned = all(shot.offset_s is not None for shot in timed)

    def when(shot: PhoneShot) -> float:
        assert shot.taken is not None
        return shot.taken.replace(tzinfo=UTC).timestamp() - (shot.offset_s or 0 if zoned else 0)

    ordered = sorted(timed, key=lambda shot: (when(shot), natural_key(shot.name)))
    for shot in (shot for shot in shots if shot.taken is None):
        names = [natural_key(other.name) for other in ordered]
        place = sum(name < natural_key(shot.name) for name in names)
        ordered.insert(place, shot)
    return PhoneFolder(tuple(ordered), tuple(asides), True)


def _exif(path: Path) -> dict[str, Any]:
    """Time, offset, place and comment; what is missing or senseless is left out."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    try:
        with Image.open(path) as picture:
            exif = picture.getexif()
            inner, gps = dict(exif.get_ifd(_EXIF)), dict(exif.get_ifd(_GPS))
    except (OSError, ValueError, SyntaxError, TypeError, KeyError):
        return {}
    found: dict[str, Any] = {"comment": inner.get(_USER_COMMENT, "")}
    taken = _date(inner.get(_DATE_ORIGINAL))
    if taken is not None:
        found["taken"] = taken
        offset = _offset(inner.get(_OFFSET_ORIGINAL))
        found["offset"] = offset if offset is not None else _offset_by_satellite(taken, gps)
    place = _place(gps)
    if place is not None:
        found["place"] = place
    return found


def _date(text: Any) -> datetime | None:
    try:
        taken = datetime.strptime(str(text).strip("\x00 ")[:19], "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007  no zone is written
    except ValueError:
        return None
    return taken if 1990 <= taken.year <= 2100 else None


def _offset(text: Any) -> int | None:
    match = re.fullmatch(r"([+-])(\d\d):?(\d\d)", str(text or "").strip("\x00 "))
    if match is None:
        return 0 if str(text or "").strip("\x00 ") == "Z" else None
    seconds = (int(match[2]) * 60 + int(match[3])) * 60
    return seconds * (1 if match[1] == "+" else -1) if seconds <= LARGEST_OFFSET_S else None


def _offset_by_satellite(taken: datetime, gps: dict[int, Any]) -> int | None:
    """Local time less the satellites' UTC, to a quarter of an hour: all zones are whole quarters."""
    try:
        hours, minutes, seconds = (float(part) for part in gps[0x0007])
        day = datetime.strptime(str(gps[0x001D]).strip("\x00 "), "%Y:%m:%d")  # noqa: DTZ007
    except (KeyError, ValueError, TypeError, ZeroDivisionError):
        return None
    utc = day + timedelta(hours=hours, minutes=minutes, seconds=seconds)
    apart = (taken - utc).total_seconds()
    whole = round(apart / _QUARTER_S) * _QUARTER_S
    # A fix may be minutes old; more than seven and it could be the wrong quarter.
    return int(whole) if abs(whole) <= LARGEST_OFFSET_S and abs(apart - whole) <= 420 else None


def _place(gps: dict[int, Any]) -> tuple[float, float, float | None] | None:
    try:
        latitude = _angle(gps[2]) * (-1 if str(gps.get(1, "N")).upper().startswith("S") else 1)
        longitude = _angle(gps[4]) * (-1 if str(gps.get(3, "E")).upper().startswith("W") else 1)
    except (KeyError, ValueError, TypeError, ZeroDivisionError):
        return None
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180) or (latitude == 0 and longitude == 0):
        return None
    try:
        below = gps.get(5) in (1, b"\x01", "1")
        altitude: float | None = float(gps[6]) * (-1 if below else 1)
    except (KeyError, ValueError, TypeError, ZeroDivisionError):
        altitude = None
    return latitude, longitude, altitude


def _angle(parts: Any) -> float:
    degrees, minutes, seconds = (float(part) for part in parts)
    return degrees + minutes / 60 + seconds / 3600


def clock_offset(log_utc: Sequence[float], shot_utc: Sequence[float]) -> ClockOffset | None:
    """The shift that lays most of the phone's times on the log's, of two lists that need not pair up.

    Returns
    -------
    ClockOffset or None
        None where fewer than three times, or less than a third of the shorter list, agree on one shift.
    """
    apart = sorted(log - shot for log in log_utc for shot in shot_utc if abs(log - shot) <= 2 * LARGEST_OFFSET_S)
    best: tuple[int, float, list[float]] = (0, 0.0, [])
    start = 0
    for end, value in enumerate(apart):
        while value - apart[start] > SAME_MOMENT_S:
            start += 1
        cluster = apart[start : end + 1]
        middle = statistics.median(cluster)
        # Of equal numbers the smaller shift: clocks that agree are the usual case.
        best = max(best, (len(cluster), -abs(middle), cluster), key=lambda item: item[:2])
    need = max(3, min(len(log_utc), len(shot_utc)) / 3)
    if best[0] < need:
        return None
    middle = statistics.median(best[2])
    spread = statistics.median([abs(value - middle) for value in best[2]])
    return ClockOffset(middle, best[0], spread)
