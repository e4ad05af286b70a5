"""DX codes of 135 film: the six digits on the cassette, its contacts for the camera, and the code on the film's edge.

Sources: encyclopedia articles 'DX number' and 'DX encoding' and a page that quotes ANSI/NAPM IT1.14:1994 (read; most
rows of the contact table from memory, in agreement with what was read); the reader of an open bar code library for the
edge code's layout (read). Standards: ISO 1007, ANSI/NAPM IT1.14.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dryside.film.refusal import Refusal, quoted
from dryside.film.speed import speed_degrees, speed_of_degrees

# --- The number of a product ------------------------------------------------------------------------------------------

PART1_MAX = 127
PART2_MAX = 15

EXPOSURES_OF_DIGIT: Mapping[int, int | None] = MappingProxyType(
    {0: 72, 1: 12, 2: 20, 3: 24, 4: 36, 5: 48, 6: 60, 7: None}
)
"""Exposures by the last of the six digits; 7 is a number off the list (24 + 3), given as None."""


@dataclass(frozen=True)
class CassetteNumber:
    """The six digits on a cassette, `P HHHH E` in interleaved 2 of 5.

    Attributes
    ----------
    prefix : int
        P, 0 to 9, chosen by the maker.
    part1 : int
        The product, 1 to 127.
    part2 : int
        Its generation, 0 to 15.
    exposures_digit : int
        E, 0 to 7: see `EXPOSURES_OF_DIGIT`.
    """

    prefix: int
    part1: int
    part2: int
    exposures_digit: int

    def __post_init__(self) -> None:
        _within("prefix", self.prefix, 0, 9)
        _within("part1", self.part1, 1, PART1_MAX)
        _within("part2", self.part2, 0, PART2_MAX)
        _within("exposures_digit", self.exposures_digit, 0, 7)

    @property
    def digits(self) -> str:
        """The six digits."""
        return f"{self.prefix}{16 * self.part1 + self.part2:04d}{self.exposures_digit}"

    @property
    def dx_number(self) -> str:
        """Product and generation, as on the film's edge: `115-4`."""
        return f"{self.part1}-{self.part2}"

    @property
    def exposures(self) -> int | None:
        """Full frames on the roll; None for a number off the list."""
        return EXPOSURES_OF_DIGIT[self.exposures_digit]


def parse_cassette_number(text: str) -> CassetteNumber:
    """The parts of a cassette's six digits; spaces and dashes between them are ignored.

    Raises
    ------
    Refusal
        If there are not six digits, or the product, its generation or the exposures lie outside the code.
    """
    digits = re.sub(r"[\s-]", "", text)
    if not re.fullmatch(r"[0-9]{6}", digits):
        raise Refusal(f"cassette number {quoted(text)}", "it must have six digits", "Copy all six under the bars.")
    part1, part2 = divmod(int(digits[1:5]), 16)
    if not 1 <= part1 <= PART1_MAX:
        found = f"the middle four are {digits[1:5]}; they run from 0016 to {16 * PART1_MAX + PART2_MAX}"
        raise Refusal(f"cassette number {quoted(text)}", found, "Copy all six digits again.")
    if int(digits[5]) not in EXPOSURES_OF_DIGIT:
        raise Refusal(
            f"cassette number {quoted(text)}", f"the last digit is {digits[5]}; it runs from 0 to 7", "Copy it again."
        )
    return CassetteNumber(int(digits[0]), part1, part2, int(digits[5]))


def parse_dx_number(text: str) -> tuple[int, int]:
    """Product and generation from `115-4`, or from the four digits of the cassette, `1844`.

    Raises
    ------
    Refusal
        If it is neither, or lies outside 1-0 to 127-15.
    """
    plain = text.strip()
    if matched := re.fullmatch(r"(\d{1,3})\s*[-/ ]\s*(\d{1,2})", plain):
        part1, part2 = int(matched[1]), int(matched[2])
    elif re.fullmatch(r"\d{4}", plain):
        part1, part2 = divmod(int(plain), 16)
    else:
        raise Refusal(f"DX number {quoted(text)}", "not a product and its generation", "Write it as 115-4.")
    if not (1 <= part1 <= PART1_MAX and 0 <= part2 <= PART2_MAX):
        raise Refusal(f"DX number {quoted(text)}", "it must lie between 1-0 and 127-15", "Look at the number again.")
    return part1, part2


# --- The contacts for the camera --------------------------------------------------------------------------------------

_THIRDS_OF_BITS = {"10": 0, "01": 1, "11": 2}
_ISO25_DEGREES = 15
# The eight lengths and four latitudes were read; which bits they have is from memory.
_EXPOSURES_OF_BITS = {"000": None, "100": 12, "010": 20, "110": 24, "001": 36, "101": 48, "011": 60, "111": 72}
_LATITUDE_OF_BITS = {"00": (0.5, 0.5), "10": (1.0, 1.0), "01": (2.0, 1.0), "11": (3.0, 1.0)}
_ALWAYS_BARE = frozenset({1, 7})


@dataclass(frozen=True)
class CassetteContacts:
    """What a cassette's twelve contacts tell a camera.

    Attributes
    ----------
    iso : int or None
        25 to 5000 in thirds of a stop; None where a number of `custom` is coded.
    custom : int or None
        1 to 8, of the codes kept for use by agreement.
    exposures : int or None
        None for a number off the list.
    latitude_over_stops, latitude_under_stops : float
        How far over and under the film may be exposed.
    """

    iso: int | None
    custom: int | None
    exposures: int | None
    latitude_over_stops: float
    latitude_under_stops: float


def contacts_from_areas(bare: frozenset[int] | set[int]) -> CassetteContacts:
    """What bare metal on the areas 1 to 12 means.

    Parameters
    ----------
    bare : set of int
        Areas that conduct. The cassette lies with the long spool end to the left and the exit lip up; 1 to 6 are the
        upper row, 7 to 12 the lower. 1 and 7 are common and always bare.

    Raises
    ------
    Refusal
        If an area has another number, or 1 or 7 is painted: then the cassette lies the other way, or has no such code.
    """
    if not bare <= set(range(1, 13)):
        raise Refusal("contacts", "areas are numbered 1 to 12", "Count with the long spool end to the left.")
    if not bare >= _ALWAYS_BARE:
        raise Refusal("contacts", "areas 1 and 7 must be bare", "Lay the long spool end to the left, exit lip up.")
    speed, lengths, latitude = (
        "".join("1" if area in bare else "0" for area in areas) for areas in (range(2, 7), range(8, 11), range(11, 13))
    )
    stop = int(speed[2::-1], 2)  # the first contact is the least significant
    thirds = _THIRDS_OF_BITS.get(speed[3:])
    iso = None if thirds is None else speed_of_degrees(_ISO25_DEGREES + 3 * stop + thirds)
    over, under = _LATITUDE_OF_BITS[latitude]
    return CassetteContacts(iso, stop + 1 if iso is None else None, _EXPOSURES_OF_BITS[lengths], over, under)


def areas_for_contacts(contacts: CassetteContacts) -> frozenset[int]:
    """Which of the areas 1 to 12 are bare for these contacts: the inverse of `contacts_from_areas`.

    Raises
    ------
    ValueError
        If a value has no code: a speed off the thirds from 25 to 5000, a length or a latitude off the list.
    """
    bits = _speed_bits(contacts) + _key_of("exposures", contacts.exposures, _EXPOSURES_OF_BITS)
    over_under = (contacts.latitude_over_stops, contacts.latitude_under_stops)
    bits += _key_of("latitude", over_under, _LATITUDE_OF_BITS)
    areas = (*range(2, 7), *range(8, 13))
    return _ALWAYS_BARE | {area for area, bit in zip(areas, bits, strict=True) if bit == "1"}


def _speed_bits(contacts: CassetteContacts) -> str:
    if contacts.iso is None:
        _within("custom", contacts.custom or 0, 1, 8)
        return f"{(contacts.custom or 0) - 1:03b}"[::-1] + "00"
    degrees = speed_degrees(contacts.iso)
    if speed_of_degrees(degrees) != contacts.iso or not 25 <= contacts.iso <= 5000:
        raise ValueError(f"iso is {contacts.iso}; contacts code 25 to 5000 in thirds of a stop")
    stop, thirds = divmod(degrees - _ISO25_DEGREES, 3)
    return f"{stop:03b}"[::-1] + _key_of("thirds", thirds, _THIRDS_OF_BITS)


# --- The code on the film's edge --------------------------------------------------------------------------------------

LONG_MODULES = 31
"""Modules of an edge code with frame number, in use since 1990."""
SHORT_MODULES = 23
"""Modules of the older code without one."""

_START, _STOP = "10101", "101"
_CLOCK_START, _CLOCK_STOP = "11111", "111"


@dataclass(frozen=True)
class EdgeCode:
    """A latent-image edge code: product, generation and, since 1990, half-frame number.

    Attributes
    ----------
    part1, part2 : int
        Product 1 to 127 and generation 0 to 15.
    frame : int or None
        0 to 63, None in the older short code. 62 stands for S or X, 63 for 00 or K, 0 also for F.
    half : bool
        Whether it is the second half frame, marked A.
    """

    part1: int
    part2: int
    frame: int | None = None
    half: bool = False

    def __post_init__(self) -> None:
        _within("part1", self.part1, 1, PART1_MAX)
        _within("part2", self.part2, 0, PART2_MAX)
        if self.frame is not None:
            _within("frame", self.frame, 0, 63)
        elif self.half:
            raise ValueError("half is True without a frame; the short code has neither")

    @property
    def dx_number(self) -> str:
        """Product and generation: `115-10`."""
        return f"{self.part1}-{self.part2}"

    @property
    def text(self) -> str:
        """As readers write it: `115-10/11A`, or `115-10` without a frame."""
        return self.dx_number if self.frame is None else f"{self.dx_number}/{self.frame}{'A' if self.half else ''}"

    @property
    def data_track(self) -> str:
        """Bits of the track nearest the film's edge, `1` a dense bar on the negative, from its start end."""
        head = f"0{self.part1:07b}0{self.part2:04b}"
        if self.frame is not None:
            head += f"{self.frame:06b}{int(self.half)}0"
        return f"{_START}{head}{head.count('1') % 2}0{_STOP}"

    @property
    def clock_track(self) -> str:
        """Bits of the track nearest the holes; five dense modules at the start, three at the stop."""
        return clock_track(LONG_MODULES if self.frame is not None else SHORT_MODULES)


def clock_track(modules: int) -> str:
    """The clock beside a data track of 31 or 23 modules; its two ends differ, which gives the reading direction.

    Raises
    ------
    ValueError
        If `modules` is neither.
    """
    if modules not in (LONG_MODULES, SHORT_MODULES):
        raise ValueError(f"modules is {modules}; an edge code has {LONG_MODULES} or {SHORT_MODULES}")
    between = modules - len(_CLOCK_START) - len(_CLOCK_STOP)
    return _CLOCK_START + "01" * (between // 2) + "0" + _CLOCK_STOP


def decode_edge(data_track: str) -> EdgeCode | None:
    """The code in a data track, or None where its layout or parity does not hold.

    A code alone proves little: about a quarter of the tracks decode just as well backwards (see `reversed_reading`),
    so a label needs agreement along the strip.

    Parameters
    ----------
    data_track : str
        31 or 23 characters `0` and `1`, from the start end.

    Raises
    ------
    ValueError
        If it holds anything but `0` and `1`.
    """
    if not set(data_track) <= {"0", "1"}:
        raise ValueError(f"data_track is {data_track!r}; it must hold only 0 and 1")
    if len(data_track) not in (LONG_MODULES, SHORT_MODULES):
        return None
    head, parity, gap = data_track[5:-5], data_track[-5], data_track[-4]
    framed = data_track.startswith(_START) and data_track.endswith(_STOP) and gap == "0"
    separated = head[0] == "0" and head[8] == "0" and (len(head) == 13 or head[20] == "0")
    part1 = int(head[1:8], 2)
    if not framed or not separated or head.count("1") % 2 != int(parity) or part1 == 0:
        return None
    if len(head) == 13:
        return EdgeCode(part1, int(head[9:13], 2))
    return EdgeCode(part1, int(head[9:13], 2), int(head[13:19], 2), head[19] == "1")


def reversed_reading(code: EdgeCode) -> EdgeCode | None:
    """What the same bars mean to who reads them from the stop end; None where that reading fails its checks."""
    return decode_edge(code.data_track[::-1])


def parse_edge_code(text: str) -> EdgeCode:
    """The code of a text as readers write it: `115-10/11A`, `115-10`.

    Raises
    ------
    Refusal
        If it is no such text or a number lies outside the code.
    """
    matched = re.fullmatch(r"(\d{1,3})-(\d{1,2})(?:/(\d{1,2})(A?))?", text.strip())
    if not matched:
        raise Refusal(f"edge code {quoted(text)}", "not product-generation/frame", "Write it as 115-10/11A.")
    frame = None if matched[3] is None else int(matched[3])
    try:
        return EdgeCode(int(matched[1]), int(matched[2]), frame, matched[4] == "A")
    except ValueError as outside:
        raise Refusal(f"edge code {quoted(text)}", str(outside)) from None


def _within(name: str, number: int, lowest: int, highest: int) -> None:
    if not lowest <= number <= highest:
        raise ValueError(f"{name} is {number}; it must be {lowest} to {highest}")


def _key_of(name: str, wanted: object, table: Mapping[str, object]) -> str:
    for key, found in table.items():
        if found == wanted:
            return key
    raise ValueError(f"{name} is {wanted}; contacts code only {', '.join(str(one) for one in table.values())}")
