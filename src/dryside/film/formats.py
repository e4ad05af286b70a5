"""Film formats: what a frame measures, how far apart frames lie, how many are on a roll.

Frame sizes: encyclopedia articles '135 film', '120 film' and 'List of photographic film formats' (read); 127, sheet
sizes, widths of 110, 120 and 127 film and the counts of panoramic frames from memory. The gates of real cameras differ
by about half a millimetre.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dryside.film.nearest import in_words, nearest_names
from dryside.film.perforations import FILM_WIDTH_MM, FRAME_PITCH_MM, HALF_FRAME_PITCH_MM
from dryside.film.refusal import Refusal, quoted

# From memory: the pages read disagree (61 to 62 mm).
_WIDTH_120_MM = 61.5
_WIDTH_127_MM = 46.0


@dataclass(frozen=True)
class FilmFormat:
    """One frame size on one kind of film; lengths in mm.

    Attributes
    ----------
    key : str
        How Dryside writes it: `135`, `half`, `120-6x7`.
    film : str
        The material it is exposed on: `135`, `120`, `127`, `110` or `sheet`.
    frame_name : str
        The frame's name in the trade.
    along_mm, across_mm : float
        The frame's sides along and across the film. A sheet's long side counts as along.
    frame_pitch_mm : float or None
        From frame to frame; None where cameras do not agree on one (see `usual_pitch_mm`).
    film_width_mm : float or None
        None for sheets, whose outer size is `sheet_mm`.
    perforations_per_frame : int or None
        How many holes one frame advances; None where there are none or cameras differ.
    frames_per_roll : tuple of int
        Usual numbers of frames, the most usual first; a roll loaded with care has up to 3 more.
    frames_per_220_roll : tuple of int
        The same for 220, the double length of 120 film; empty elsewhere.
    """

    key: str
    film: str
    frame_name: str
    along_mm: float
    across_mm: float
    frame_pitch_mm: float | None
    film_width_mm: float | None
    perforations_per_frame: int | None
    frames_per_roll: tuple[int, ...]
    frames_per_220_roll: tuple[int, ...] = ()

    @property
    def aspect(self) -> float:
        """Long side over short side, 1 or more."""
        return max(self.along_mm, self.across_mm) / min(self.along_mm, self.across_mm)

    @property
    def long_mm(self) -> float:
        """The longer side of the frame."""
        return max(self.along_mm, self.across_mm)

    @property
    def short_mm(self) -> float:
        """The shorter side of the frame."""
        return min(self.along_mm, self.across_mm)

    @property
    def gap_mm(self) -> float:
        """Film between two frames where the pitch is known, else the usual gap (common practice)."""
        if self.frame_pitch_mm is not None:
            return self.frame_pitch_mm - self.along_mm
        return _USUAL_GAP_MM[self.film]

    @property
    def usual_pitch_mm(self) -> float:
        """From frame to frame: the pitch, or frame and usual gap where there is no fixed one."""
        return self.along_mm + self.gap_mm

    @property
    def rebate_mm(self) -> float | None:
        """Film beside the frame at either edge, perforations included; None for sheets."""
        return None if self.film_width_mm is None else (self.film_width_mm - self.across_mm) / 2

    @property
    def is_perforated(self) -> bool:
        """Whether 135 perforations run along both edges, so that they give scale and tilt."""
        return self.film == "135"

    @property
    def family(self) -> str:
        """The name a lab's price list has for it: see `family`."""
        return family(self.key)


# Common practice, no source: what is left between frames where no standard fixes it.
_USUAL_GAP_MM = {"135": 2.0, "120": 5.0, "127": 4.0, "110": 8.4, "sheet": 0.0}

# Frames of a 36 and a 24 roll at 2 mm gaps, for the sizes whose counts no source gives: 36 frames of 38 mm are 1368 mm,
# 24 are 912 mm.
_ALL = (
    FilmFormat("135", "135", "24x36 full frame", 36, 24, FRAME_PITCH_MM, FILM_WIDTH_MM, 8, (36, 24, 12, 20)),
    FilmFormat("half", "135", "18x24 half frame", 18, 24, HALF_FRAME_PITCH_MM, FILM_WIDTH_MM, 4, (72, 48, 24)),
    FilmFormat("panoramic", "135", "24x65 panoramic", 65, 24, None, FILM_WIDTH_MM, None, (20, 21, 13)),
    FilmFormat("135-24x24", "135", "24x24 square", 24, 24, None, FILM_WIDTH_MM, None, (52, 35)),
    FilmFormat("135-24x32", "135", "24x32", 32, 24, None, FILM_WIDTH_MM, None, (40, 26)),
    FilmFormat("135-24x34", "135", "24x34", 34, 24, None, FILM_WIDTH_MM, None, (38, 25)),
    FilmFormat("120-6x4.5", "120", "6x4.5", 41.5, 56, None, _WIDTH_120_MM, None, (16, 15), (32, 30)),
    FilmFormat("120-6x6", "120", "6x6", 56, 56, None, _WIDTH_120_MM, None, (12, 13), (24, 27)),
    FilmFormat("120-6x7", "120", "6x7", 70, 56, None, _WIDTH_120_MM, None, (10,), (21,)),
    FilmFormat("120-6x8", "120", "6x8", 77, 56, None, _WIDTH_120_MM, None, (9,), (19,)),
    FilmFormat("120-6x9", "120", "6x9", 84, 56, None, _WIDTH_120_MM, None, (8,), (18,)),
    FilmFormat("120-6x12", "120", "6x12", 118, 56, None, _WIDTH_120_MM, None, (6,), (12,)),
    FilmFormat("120-6x17", "120", "6x17", 168, 56, None, _WIDTH_120_MM, None, (4,), (9,)),
    FilmFormat("120-6x24", "120", "6x24", 224, 56, None, _WIDTH_120_MM, None, (3,), (6,)),
    FilmFormat("4x5", "sheet", "4x5 in sheet", 120, 95, None, None, None, (1,)),
    FilmFormat("110", "110", "13x17 cartridge", 17, 13, 25.4, 16, 1, (24, 12, 20)),
    FilmFormat("127-4x4", "127", "4x4", 40, 40, None, _WIDTH_127_MM, None, (12,)),
    FilmFormat("127-4x6.5", "127", "4x6.5", 65, 40, None, _WIDTH_127_MM, None, (8,)),
    FilmFormat("127-3x4", "127", "3x4", 30, 40, None, _WIDTH_127_MM, None, (16,)),
)

FORMATS: Mapping[str, FilmFormat] = MappingProxyType({one.key: one for one in _ALL})
"""Every format by its key, 135 first."""

SHEET_MM: Mapping[str, tuple[float, float]] = MappingProxyType({"4x5": (125.0, 100.0)})
"""Outer size of cut sheet film, long side first (from memory; the image is smaller than the sheet)."""

# A price list has its own line for half frame and panoramic; every other size goes by the name of its film.
_OWN_NAME = ("half", "panoramic")
FAMILIES: tuple[str, ...] = ("135", "half", "panoramic", "120", "4x5", "110", "127")
"""The names that price lists use."""

_BY_OTHER_NAMES = {
    "35": "135", "35mm": "135", "24x36": "135", "36x24": "135", "fullframe": "135", "135full": "135",
    "135fullframe": "135",
    "135half": "half", "halfframe": "half", "18x24": "half", "24x18": "half", "135halfframe": "half",
    "135-half": "half",
    "pano": "panoramic", "panorama": "panoramic", "24x65": "panoramic", "65x24": "panoramic",
    "135panoramic": "panoramic",
    "135-24x36": "135", "135-18x24": "half", "135-24x65": "panoramic", "135-panoramic": "panoramic",
    "135-pano": "panoramic",
    "645": "120-6x4.5", "120645": "120-6x4.5", "4.5x6": "120-6x4.5", "120-645": "120-6x4.5",
    "66": "120-6x6", "67": "120-6x7", "68": "120-6x8", "69": "120-6x9", "612": "120-6x12", "617": "120-6x17",
    "4x5in": "4x5", "5x4": "4x5", "sheet4x5": "4x5", "4x5sheet": "4x5", "sheet-4x5": "4x5", "220": "120",
    "mediumformat": "120",
}  # fmt: skip


def film_format(key: str) -> FilmFormat:
    """The format of a key of `FORMATS`.

    Raises
    ------
    Refusal
        If there is no such key; the nearest is named. A film of several frame sizes (`120`) is refused with them.
    """
    if key in FORMATS:
        return FORMATS[key]
    sizes = [one.key for one in _ALL if one.film == key]
    if sizes:
        raise Refusal(f"format {key}", f"{key} film takes several frame sizes", f"Write {in_words(sizes)}.")
    raise _unknown(key, tuple(FORMATS))


def parse_format(text: str) -> str:
    """A format's key, or a film's name (`120`, `127`), from what people write: `35 mm`, `6x7`, `Half frame`, `120 6×6`.

    Returns
    -------
    str
        A key of `FORMATS` or a name of `FAMILIES`.

    Raises
    ------
    Refusal
        If it names nothing known; the nearest names are given.
    """
    plain = re.sub(r"[×*]", "x", text.strip().lower())
    plain = re.sub(r"\b(film|roll|frame size)\b", "", plain).replace(",", ".")
    plain = re.sub(r"(\d)\s*x\s*(\d)", r"\1x\2", plain).strip()
    dashed = re.sub(r"[\s/_-]+", "-", plain).strip("-")
    closed = re.sub(r"[\s/_-]+", "", plain)
    for word in (dashed, closed, *(f"{film}-{dashed}" for film in ("120", "127"))):
        if word in FORMATS or word in FAMILIES:
            return word
        if word in _BY_OTHER_NAMES:
            return _BY_OTHER_NAMES[word]
    if dashed.startswith("220-"):
        return parse_format(dashed.replace("220-", "120-", 1))
    raise _unknown(text, (*FORMATS, *FAMILIES))


def family(key: str) -> str:
    """What a lab's price list calls a format: `120-6x7` is `120`, `135-24x32` is `135`, `half` is its own.

    Raises
    ------
    Refusal
        If `key` is neither a key of `FORMATS` nor a name of `FAMILIES`.
    """
    if key in FAMILIES:
        return key
    if key not in FORMATS:
        raise _unknown(key, (*FORMATS, *FAMILIES))
    return FORMATS[key].film


def covers(listed: str, wanted: str) -> bool:
    """Whether a lab that lists `listed` takes a roll of `wanted`.

    A film's name covers all its frame sizes (`120` covers `120-6x7`), a frame size only itself. `half` and
    `panoramic` must be listed by their own name: they cost more work than 135. A roll known only as `120` may have
    frames of any size, so a list of single sizes does not cover it.

    Raises
    ------
    Refusal
        If either is neither a key of `FORMATS` nor a name of `FAMILIES`.
    """
    wanted_family = family(wanted)
    family(listed)  # refuses what is no format
    return listed in (wanted, wanted_family)


def _unknown(word: str, names: tuple[str, ...]) -> Refusal:
    near = nearest_names(word, dict.fromkeys(names), count=3)
    return Refusal(f"format {quoted(word)}", "no film format of that name", f"Near it: {', '.join(near)}.")
