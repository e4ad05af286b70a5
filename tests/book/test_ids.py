"""Roll codes: the check character, and what a slip of the pen becomes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.ids import can_be_given, check_character, make_code, nearest_codes, next_code, parse_code
from dryside.film.refusal import Refusal

YEARS = st.integers(0, 99)
NUMBERS = st.integers(1, 99_999)
ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def mod_37_36(text):
    """ISO 7064 Mod 37,36 by the standard's recursive rule, written out a second time."""
    carry = 36
    for sign in text:
        carry = (carry + ALPHABET.index(sign)) % 36 or 36
        carry = carry * 2 % 37
    return ALPHABET[(37 - carry) % 36]


# The identifier of the Global Release Identifier Standard's own example, A1-2425G-ABC1234002-M (ISO 7064 Mod 37,36).
def test_the_rule_gives_the_published_check_character():
    assert mod_37_36("A12425GABC1234002") == "M"


@given(YEARS, NUMBERS)
def test_check_characters_follow_the_standards_rule(year, number):
    assert check_character(year, number) == mod_37_36(f"{year:02d}{number:03d}")


@given(YEARS, NUMBERS)
def test_a_code_is_read_however_it_is_written(year, number):
    code = make_code(year, number)
    if not can_be_given(code):
        return
    for text in (
        str(code),
        str(code).lower(),
        str(code).replace("-", ""),
        str(code).replace("-", " "),
        str(code).replace("0", "o").replace("1", "I"),
        f" {str(code).replace('-', '–')} ",
    ):
        assert parse_code(text) == code


@given(YEARS, NUMBERS, st.data())
def test_every_single_wrong_digit_is_caught(year, number, data):
    code = make_code(year, number)
    if not can_be_given(code):
        return
    digits = f"{year:02d}{number:03d}"
    place = data.draw(st.integers(0, len(digits) - 1))
    wrong = data.draw(st.sampled_from([one for one in "0123456789" if one != digits[place]]))
    typed = digits[:place] + wrong + digits[place + 1 :]
    with pytest.raises(Refusal, match=r"mistyped|numbered from 1"):
        parse_code(f"{typed[:2]}-{typed[2:]}-{code.check}")


def test_few_swaps_of_neighbours_escape_and_no_wrong_check_character_does():
    escaped = swaps = 0
    for year in (24, 25, 26):
        for number in range(1, 1000):
            text = f"{year}{number:03d}{check_character(year, number)}"
            for i in range(4):
                swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
                swaps += swapped != text
                escaped += swapped != text and mod_37_36(swapped[:5]) == swapped[5]
    assert 0 < escaped / swaps < 0.01  # 'about one in 200', as the module says


def test_letters_that_look_like_digits_are_never_given_out():
    number, seen = 0, []
    for _ in range(900):
        code = next_code(2026, number)
        number = code.number
        seen.append(code.check)
    assert not {"O", "I"} & set(seen)
    assert number < 960


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("26-013-4", "26-012-4"), ("62-012-4", "26-012-4"), ("26-12-4", "26-012-4"), ("26-012-A", "26-012-4")],
)
def test_the_nearest_code_is_named(typed, meant):
    assert nearest_codes(typed, ["26-012-4", "25-871-Q"]) == [meant]


def test_a_look_alike_is_named_before_another_slip():
    assert nearest_codes("26-0B1-K", ["26-071-K", "26-081-K"])[0] == "26-081-K"
    assert nearest_codes("something else", ["26-071-K"]) == []


@pytest.mark.parametrize("text", ["", "26", "K", "26-", "abc", "26-000-1", "2026-014-K-K", "26-014-?"])
def test_what_is_no_code_is_refused(text):
    with pytest.raises(Refusal, match=r"no roll code|numbered from 1|mistyped"):
        parse_code(text)
