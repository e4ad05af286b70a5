"""What is known of one picture on film, to be written into its file. What is not known is None and stays absent."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

NEGATIVE = "negativeFilm"
POSITIVE = "positiveFilm"
PAIR = ", "  # between the labels of two half frames that one file shows
_FULL_TIME = re.compile(r"^(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d)(?::(\d\d)(?:\.\d+)?)?(Z|[+-]\d\d:?\d\d)?$")


@dataclass(frozen=True)
class PictureFacts:
    """Facts of one picture.

    Attributes
    ----------
    roll, frame, strip : str or None
        Where it lies: the roll's code, the frame's label, the strip's number.
    taken_at : str or None
        ISO 8601, as the photographer's clock stood; offset, seconds and even the time of day may be missing.
    shutter : str or None
        As marked: `1/250`, `2`.
    aperture, focal_mm : float or None
        f-number as marked; mm.
    exposure_index : int or None
        What the meter was set to.
    maker, model, lens : str or None
        Camera and lens.
    latitude, longitude, altitude_m : float or None
        Degrees, north and east positive (WGS 84); m above the sea.
    creator, caption, title, place, rights : str or None
        In words.
    keywords : tuple of str
        Any number.
    source_type : str or None
        `negativeFilm` or `positiveFilm` of the IPTC vocabulary of digital source types.
    stock, process, lab : str or None
        For our own namespace.
    digitised_by : str
        `scanner` or `camera`: Exif's file source.
    """

    roll: str | None = None
    frame: str | None = None
    strip: str | None = None
    taken_at: str | None = None
    shutter: str | None = None
    aperture: float | None = None
    focal_mm: float | None = None
    exposure_index: int | None = None
    maker: str | None = None
    model: str | None = None
    lens: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude_m: float | None = None
    creator: str | None = None
    caption: str | None = None
    title: str | None = None
    place: str | None = None
    rights: str | None = None
    keywords: tuple[str, ...] = ()
    source_type: str | None = None
    stock: str | None = None
    process: str | None = None
    lab: str | None = None
    digitised_by: str = "scanner"


def facts_of_both(first: PictureFacts, second: PictureFacts) -> PictureFacts:
    """Facts of a file that shows two half frames: what holds for both, and the earlier one's time.

    Labels, captions, places and keywords are those of the one and the other. Exposure, lens and position stay only
    where they are the same.
    """
    same: dict[str, Any] = {
        name: getattr(first, name) if getattr(first, name) == getattr(second, name) else None
        for name in ("shutter", "aperture", "focal_mm", "lens", "strip")
    }
    here = (first.latitude, first.longitude, first.altitude_m)
    where = here if here == (second.latitude, second.longitude, second.altitude_m) else (None, None, None)
    return replace(
        first,
        frame=_joined(first.frame, second.frame, PAIR),
        caption=_joined(first.caption, second.caption, " / "),
        place=_joined(first.place, second.place, " / "),
        keywords=tuple(dict.fromkeys((*first.keywords, *second.keywords))),
        taken_at=first.taken_at,
        latitude=where[0],
        longitude=where[1],
        altitude_m=where[2],
        **same,
    )


def _joined(one: str | None, other: str | None, between: str) -> str | None:
    return between.join(dict.fromkeys(text for text in (one, other) if text)) or None


@dataclass(frozen=True)
class ExifInstant:
    """An instant in Exif's two parts: `YYYY:MM:DD HH:MM:SS`, and the offset `+HH:MM` where it is known."""

    date_time: str
    offset: str | None


def exif_instant(taken_at: str | None) -> ExifInstant | None:
    """Split an instant for Exif; None where the day or the time of day is not known, since Exif has no half dates.

    Seconds that nobody noted are written as 00.
    """
    match = _FULL_TIME.match(taken_at or "")
    if match is None:
        return None
    year, month, day, hour, minute, second, offset = match.groups()
    if offset == "Z":
        offset = "+00:00"
    elif offset and ":" not in offset:
        offset = f"{offset[:3]}:{offset[3:]}"
    return ExifInstant(f"{year}:{month}:{day} {hour}:{minute}:{second or '00'}", offset)
