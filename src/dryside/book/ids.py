"""Roll codes that survive a marker: `26-014-D` is year, number in the year, check character.

The check character is ISO 7064 Mod 37,36 (by python-stdnum) over the digits, so anybody can verify it. It catches every
single wrong digit and every wrong check character; of two neighbouring digits swapped, the one in about
200 that the system lets through is caught only if no such roll is in the book. Numbers whose check character would
be the letter O or I are never given out, so a handwritten O is always a zero and an I always a one; B for 8, S for 5,
Z for 2 and G for 6 are told by the check character and refused with the code that was likely meant.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from dryside.film.refusal import Refusal

_FORM = re.compile(r"(\d{2})[\s.\-_/–—]*(\d{1,5}?)[\s.\-_/–—]*([0-9A-Z])")
_SHAPE = re.compile(r"\d{2}\W*\d+\W*[0-9A-Z]", re.ASCII)
_NEVER_GIVEN = "OI"
DIGITS = 3  # at least; the thousandth roll of a year is 26-1000-X


@dataclass(frozen=True)
class RollCode:
    """A roll's code.

    Attributes
    ----------
    year : int
        Last two digits of the year the roll was loaded in, 0 to 99.
    number : int
        Which roll of the year, from 1.
    check : str
        One character, 0-9 or A-Z without O and I.
    """

    year: int
    number: int
    check: str

    def __str__(self) -> str:
        return f"{self.year:02d}-{self.number:0{DIGITS}d}-{self.check}"


def check_character(year: int, number: int) -> str:
    """The ISO 7064 Mod 37,36 check character of a year and number."""
    from stdnum.iso7064 import mod_37_36

    return str(mod_37_36.calc_check_digit(f"{year:02d}{number:0{DIGITS}d}"))


def make_code(year: int, number: int) -> RollCode:
    """The code of the `number`-th roll of `year` (the last two digits count).

    Raises
    ------
    ValueError
        If `number` is below 1 or above 99999.
    """
    if not 1 <= number <= 99_999:
        raise ValueError(f"number is {number}; a roll's number is 1 to 99999")
    return RollCode(year % 100, number, check_character(year % 100, number))


def can_be_given(code: RollCode) -> bool:
    """Whether the code is free of the two letters that are never given out."""
    return code.check not in _NEVER_GIVEN


def next_code(year: int, last_number: int) -> RollCode:
    """The code after `last_number` (0 for the first of the year)."""
    number = last_number + 1
    while not can_be_given(code := make_code(year, number)):
        number += 1
    return code


def looks_like_code(text: str) -> bool:
    """Whether `text` has the shape of a code (right or mistyped), and not of a name of the photographer's own."""
    return bool(_SHAPE.fullmatch(_fold(text)))


def parse_code(text: str) -> RollCode:
    """A code as typed or read from a can: any case, with or without dashes and spaces, O for 0, I for 1.

    Raises
    ------
    Refusal
        If it has not the form of a code, or the check character does not belong to the number.
    """
    match = _FORM.fullmatch(_fold(text))
    if not match:
        raise Refusal(f"roll {text.strip()}", "this is no roll code", "It has year, number and check: 26-014-D.")
    year, number, check = int(match[1]), int(match[2]), match[3]
    if number < 1:
        raise Refusal(f"roll {text.strip()}", "rolls are numbered from 1", "Look at the can again.")
    code = make_code(year, number)
    if code.check != check:
        raise Refusal(
            f"roll {text.strip()}",
            f"mistyped: {check} is not the check character of {year:02d}-{number:0{DIGITS}d}",
            "Look at the can again.",
        )
    return code


def nearest_codes(text: str, known: list[str]) -> list[str]:
    """Codes of the book that one slip away would have been typed as `text`, the likeliest first.

    One wrong, missing, added or swapped character (Damerau's four slips), reading the same look-alikes as `parse_code`.

    Parameters
    ----------
    text : str
        What was typed.
    known : list of str
        Codes and names in the book.
    """
    typed = _bare(text)
    near = [(slips, name) for name in known if (slips := _slips(typed, _bare(name))) is not None]
    return [name for _, name in sorted(near)]


def _fold(text: str) -> str:
    return text.strip().upper().replace("O", "0").replace("I", "1")


def _bare(text: str) -> str:
    return re.sub(r"[\W_]", "", _fold(text))


def _slips(typed: str, meant: str) -> int | None:
    """0 for the same, 1 to 3 by how likely the one slip is (look-alike, swapped, other), None for more than one."""
    if typed == meant:
        return 0
    if len(typed) == len(meant):
        wrong = [i for i, (a, b) in enumerate(zip(typed, meant, strict=True)) if a != b]
        if len(wrong) == 1:
            pair = {typed[wrong[0]], meant[wrong[0]]}
            return 1 if pair in _LOOK_ALIKE else 3
        if (
            len(wrong) == 2
            and wrong[1] == wrong[0] + 1
            and typed[wrong[0]] + typed[wrong[1]] == (meant[wrong[1]] + meant[wrong[0]])
        ):
            return 2
        return None
    short, long = sorted((typed, meant), key=len)
    one_less = len(long) - len(short) == 1 and any(long[:i] + long[i + 1 :] == short for i in range(len(long)))
    return 3 if one_less else None


_LOOK_ALIKE = (
    {"8", "B"},
    {"5", "S"},
    {"2", "Z"},
    {"6", "G"},
    {"1", "7"},
    {"U", "V"},
    {"0", "D"},
    {"0", "Q"},
    {"1", "L"},
)
