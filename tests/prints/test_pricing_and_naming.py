"""What prints cost where, and names that every system takes."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film.printsizes import print_size
from dryside.film.refusal import Refusal
from dryside.prints.naming import file_name, safe_name
from dryside.prints.pricing import ListedPrice, prices_of

LISTED = [
    ListedPrice("Low Wharf", "4R", Decimal("0.60"), "EUR"),
    ListedPrice("Low Wharf", "10x15cm", Decimal("0.45"), "EUR"),
    ListedPrice("Quay Street Film", "4R", Decimal("0.50"), "EUR"),
    ListedPrice("Quay Street Film", "8R", Decimal("4.00"), "EUR"),
    ListedPrice("Far Pier", "4R", Decimal("0.10"), "USD"),
    ListedPrice("Far Pier", "photo book", Decimal("9.00"), "USD"),
]


def test_each_lab_that_sells_the_size_is_priced_the_cheapest_first_and_currencies_apart():
    prices = prices_of(print_size("4R"), 10, LISTED)
    assert [(p.lab, p.total, p.currency) for p in prices] == [
        ("Low Wharf", Decimal("4.50"), "EUR"),
        ("Quay Street Film", Decimal("5.00"), "EUR"),
        ("Far Pier", Decimal("1.00"), "USD"),
    ]


def test_a_size_that_nobody_sells_has_no_price_and_no_copies_is_misuse():
    assert prices_of(print_size("30R"), 1, LISTED) == ()
    with pytest.raises(ValueError, match="copies is 0"):
        prices_of(print_size("4R"), 0, LISTED)


@given(st.text(max_size=300))
def test_a_name_is_safe_on_every_system_whatever_the_caption(text):
    name = safe_name(text)
    assert name
    assert len(name) <= 121
    assert not set(name) - set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._+-")
    assert not name.startswith((".", "-", " "))
    assert not name.endswith(".")
    assert ".." not in name


@pytest.mark.parametrize("text", ["con", "COM1", "lpt9.txt", "Nul"])
def test_names_of_devices_are_not_given(text):
    assert safe_name(text) != text


def test_a_template_fills_in_and_two_of_one_name_are_told_apart():
    taken = set()
    values = {"size": "8R", "copies": 2, "name": "26-014-K-12"}
    assert file_name("{size}_x{copies}_{name}", values, taken=taken, ending=".jpg") == "8R_x2_26-014-K-12.jpg"
    assert file_name("{size}_x{copies}_{name}", values, taken=taken, ending=".jpg") == "8R_x2_26-014-K-12-2.jpg"


@pytest.mark.parametrize("template", ["{price}", "{size!r}", "{size:>10}", "{size.__class__}", "{", "{0}"])
def test_a_template_that_reaches_for_anything_else_is_refused(template):
    with pytest.raises(Refusal, match=r"no field|do not fit"):
        file_name(template, {}, taken=set(), ending=".jpg")
