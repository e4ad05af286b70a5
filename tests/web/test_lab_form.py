"""A lab's price list from a form is a file that the labs read, whatever is typed; and what came of it is drawn."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.datastructures import FormData

from dryside.book.schema import developments
from dryside.film.refusal import Refusal
from dryside.labs.lab_file import read_lab
from dryside.web.lab_form import price_list_of
from dryside.web.lab_plots import developing_plots


def lab_of(**fields):
    return read_lab(price_list_of(FormData(list(fields.items()))))


def test_prices_formats_days_and_what_is_left_empty():
    lab = lab_of(**{"name": "Mill Bridge", "develop-c41": "7,50", "formats-c41": "135, 120", "days-c41": "3",
                    "push-c41": "2", "scan-0": "standard", "scan-price-0": "4", "scan-1": "large",
                    "print-0": "4R", "print-price-0": "0.5", "closed": "Sunday", "postage": ""})  # fmt: skip
    (developing,) = lab.develop
    assert (developing.process, developing.price.amount, developing.working_days) == ("c41", Decimal("7.50"), 3)
    assert set(developing.formats) >= {"135"}
    assert [(one.name, one.price.amount) for one in lab.scan] == [("standard", Decimal(4))]
    assert [(one.size, one.price.amount) for one in lab.print] == [("4R", Decimal("0.5"))]
    assert lab.closed == {6}


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=40).filter(lambda name: name.strip() and name.isprintable()))
def test_any_name_comes_through_as_it_was_typed(name):
    assert lab_of(**{"name": name, "develop-c41": "7"}).name == " ".join(name.split())


@pytest.mark.parametrize("price", ["seven", "-1", "NaN", "1e999999", '7"\nname = "x'])
def test_what_is_no_price_is_refused(price):
    with pytest.raises(Refusal, match=r"no price|\[\[develop\]\]|price"):
        lab_of(**{"name": "Mill Bridge", "develop-c41": price})


def test_a_lab_without_a_process_is_refused():
    with pytest.raises(Refusal, match="no process has a price"):
        lab_of(name="Mill Bridge")


def test_film_base_and_contrast_of_its_developing_are_drawn(book_folder):
    from dryside.book.folder import open_book

    with open_book(book_folder) as book, book.write() as conn:
        for roll in range(1, 4):
            values = {"base_red": 0.28, "base_green": 0.62, "base_blue": 0.94 + roll / 100, "contrast": 0.6,
                      "measured_on": str(date(2026, 5, 20) + timedelta(days=roll))}  # fmt: skip
            conn.execute(developments.insert().values(roll_id=roll, **values))
        drawn = developing_plots(conn, "Quarry Street")
    assert [one["title"] for one in drawn] == ["Film base, Almen Colour 200", "Contrast, Almen Colour 200"]
    for name in ("red", "green", "blue"):
        assert f">{name}</text>" in drawn[0]["drawn"]
