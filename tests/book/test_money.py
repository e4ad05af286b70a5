"""Money: strict to read, exact to divide."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.money import Money, decimals, quantum, split_cents, total
from dryside.film.refusal import Refusal

CENTS = st.integers(-(10**9), 10**9)
WEIGHTS = st.lists(st.integers(0, 10**6), min_size=1, max_size=40)


# ISO 4217 list one: the minor units of these currencies; value from memory.
@pytest.mark.parametrize(("code", "digits"), [("EUR", 2), ("USD", 2), ("JPY", 0), ("KWD", 3), ("CLF", 4), ("ISK", 0)])
def test_a_currency_has_the_digits_that_iso_4217_gives_it(code, digits):
    assert decimals(code) == digits
    assert quantum(code) == Decimal(10) ** -digits


@pytest.mark.parametrize("text", ["7.0.0", "7,00", "1e3", "", "7.", ".5", "7.005", "NaN", "٧", "7 00", "--7"])
def test_what_is_no_amount_is_refused(text):
    with pytest.raises(Refusal, match=r"amount of money|digits after the point"):
        Money.parse(text, "EUR")


def test_amounts_are_kept_at_the_digits_of_their_currency():
    assert str(Money.parse("7", "EUR")) == "7.00 EUR"
    assert str(Money.parse(" -3.5 ", "EUR")) == "-3.50 EUR"
    assert str(Money.parse("-0.00", "EUR")) == "0.00 EUR"
    assert Money.parse("7.00", "JPY").amount == 7
    with pytest.raises(Refusal, match="JPY has 0 digits"):
        Money.parse("7.50", "JPY")
    with pytest.raises(Refusal, match="no currency code"):
        Money.parse("7", "euro")


def test_two_currencies_are_never_added():
    with pytest.raises(ValueError, match="two currencies"):
        Money.parse("1", "EUR") + Money.parse("1", "USD")
    with pytest.raises(ValueError, match="two currencies"):
        assert Money.parse("1", "EUR") < Money.parse("2", "USD")


@given(CENTS, WEIGHTS)
def test_shares_add_up_and_each_is_within_a_cent_of_its_proportion(cents, weights):
    shares = split_cents(cents, weights)
    assert sum(shares) == cents
    whole = sum(weights)
    for share, weight in zip(shares, weights, strict=True):
        exact = Fraction(cents * weight, whole) if whole else Fraction(cents, len(weights))
        assert abs(share - exact) < 1


@given(st.integers(0, 10**6), WEIGHTS)
def test_who_weighs_more_never_gets_less(cents, weights):
    shares = split_cents(cents, weights)
    for a, weight_a in zip(shares, weights, strict=True):
        for b, weight_b in zip(shares, weights, strict=True):
            assert weight_a <= weight_b or a >= b


# Largest-remainder (Hamilton) apportionment as textbooks show it: 10 seats for 43, 31 and 26 votes are 4, 3 and 3.
def test_the_largest_remainder_gets_the_coin():
    assert split_cents(10, [43, 31, 26]) == [4, 3, 3]
    assert split_cents(100, [1, 1, 1]) == [34, 33, 33]
    assert split_cents(-100, [1, 1, 1]) == [-34, -33, -33]
    with pytest.raises(ValueError, match="empty"):
        split_cents(1, [])
    with pytest.raises(ValueError, match="at least 0"):
        split_cents(1, [2, -1])


@given(st.decimals(-(10**6), 10**6, places=2), WEIGHTS)
def test_splitting_money_loses_nothing(amount, weights):
    money = Money(amount, "EUR")
    assert total(money.split(weights), "EUR") == money
