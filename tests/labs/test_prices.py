"""Prices of a roll, line by line, and the reasons why a lab does not take one."""

from __future__ import annotations

from fractions import Fraction

import pytest

from dryside.labs.lab_file import read_lab
from dryside.labs.prices import Quote, push_price, quote
from labs.lab_maker import QUAY, TERN, euro, make_developing, make_lab, make_wish

quay, tern = read_lab(QUAY), read_lab(TERN)


def lines(found):
    return [(line.service, line.quantity, str(line.amount.amount)) for line in found.lines]


def test_common_practice_comes_out_of_an_ordinary_list():
    # Common practice in euro or dollars (value from memory): about 12 for develop and scan, 0.50 for a 4R print.
    assert quote(make_wish(scan="standard"), quay).price == euro("12.00")
    (print_line,) = [one for one in quote(make_wish(prints=(("4R", 1),)), quay).lines if one.service == "print 4R"]
    assert print_line.amount == euro("0.50")


def test_a_roll_is_develop_push_scan_and_prints():
    wish = make_wish(push_stops=Fraction(2), scan="Standard", prints=(("4R", 10),))
    assert lines(quote(wish, quay)) == [
        ("develop", 1, "7.00"), ("push", 1, "5.00"), ("scan", 1, "5.00"), ("print 4R", 10, "5.00"),
    ]  # fmt: skip


def test_a_pull_costs_as_much_as_a_push_and_parts_of_a_stop_in_proportion():
    develop = quay.develop[0]
    assert push_price(develop, make_wish(push_stops=Fraction(-1))) == euro("2.50")
    assert push_price(develop, make_wish(push_stops=Fraction(1, 3))) == euro("0.83")
    assert push_price(develop, make_wish(push_stops=Fraction(3, 2))) == euro("3.75")
    with pytest.raises(ValueError, match="push_per_stop is None"):
        push_price(make_developing(push_per_stop=None), make_wish(push_stops=Fraction(1)))


def test_rush_is_a_line_of_its_own():
    assert ("rush", 1, "6.00") in lines(quote(make_wish(rush=True), tern))


def test_where_two_lines_fit_the_cheaper_is_meant_push_and_all():
    cheap_but_dear_push = make_developing(price=euro(5), push_per_stop=euro(4))
    other = make_developing(price=euro(6), push_per_stop=euro(1))
    lab = make_lab(develop=(other, cheap_but_dear_push))
    assert quote(make_wish(), lab).price == euro(5)
    assert quote(make_wish(push_stops=Fraction(1)), lab).price == euro(7)
    no_push = make_lab(develop=(make_developing(price=euro(5), push_per_stop=None), other))
    assert quote(make_wish(push_stops=Fraction(1)), no_push).price == euro(7)


@pytest.mark.parametrize(
    ("listed", "wanted", "is_taken"),
    [
        ("120", "120-6x7", True), ("120-6x6", "120-6x6", True), ("120-6x6", "120-6x7", False),
        ("120-6x6", "120", False),
        ("135", "half", False), ("half", "half", True), ("135", "panoramic", False), ("half", "135", False),
    ],
)  # fmt: skip
def test_formats_are_taken_as_the_list_names_them(listed, wanted, is_taken):
    lab = make_lab(develop=(make_developing(formats=(listed,)),))
    assert isinstance(quote(make_wish(format=wanted), lab), Quote) == is_taken


@pytest.mark.parametrize("size", ["4R", "4r", "4x6 in", "10x15 cm"])
def test_a_print_size_is_known_by_its_name_and_by_its_sides(size):
    assert lines(quote(make_wish(prints=((size, 2),)), quay))[-1][1:] == (2, "1.00")


@pytest.mark.parametrize(
    ("lab", "changes", "reasons"),
    [
        (quay, {"process": "e6"}, ("slide film (E-6) is not taken",)),
        (quay, {"process": "ecn2"},
         ("cine film (ECN-2) is not taken, only C-41: a rem-jet backing would spoil its line",)),
        (quay, {"format": "half"}, ("C-41 is not taken in half",)),
        (tern, {"push_stops": Fraction(1)}, ("no push",)),
        (tern, {"push_stops": Fraction(-1)}, ("no pull",)),
        (quay, {"scan": "huge"}, ("no scan 'huge'",)),
        (quay, {"prints": (("8R", 1), ("11R", 1))}, ("no prints in 8R, 11R",)),
        (quay, {"rush": True}, ("no rush",)),
        (quay, {"process": "bw", "scan": "huge"}, ("black-and-white film (B&W) is not taken", "no scan 'huge'")),
    ],
)  # fmt: skip
def test_every_reason_of_a_refusal_is_told(lab, changes, reasons):
    assert quote(make_wish(**changes), lab) == reasons


def test_a_roller_line_is_named_where_it_cannot_push():
    lab = make_lab(machine=("roller",), develop=(make_developing(push_per_stop=None),))
    assert quote(make_wish(push_stops=Fraction(1)), lab) == ("no push (its roller line has fixed times)",)
