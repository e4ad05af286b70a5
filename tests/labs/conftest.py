"""A book with two labs, three people, stocks, and rolls that wait."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import pytest

from dryside.book.journey import RollState
from dryside.book.people import add_person
from dryside.book.rolls import add_roll
from dryside.book.stocks import add_stock
from dryside.labs.book_labs import add_lab
from labs.lab_maker import QUAY, TERN

TODAY = date(2026, 9, 7)  # a Monday


@pytest.fixture
def shop(book):
    """The book's things by name; `shop.roll(...)` adds a roll that waits."""
    with book.write() as conn:
        labs = {
            name: add_lab(conn, text, source=name, today=TODAY)[0] for name, text in (("quay", QUAY), ("tern", TERN))
        }
        people = {
            "ilse": add_person(conn, "Ilse Marquardt", phone="000 111", email="ilse@post.example", is_keeper=True).id,
            "rui": add_person(conn, "Rui Tavora").id,
        }
        stocks = {
            "colour": add_stock(conn, "Tidewater 400", process="c41", kind="colour negative", iso=400).id,
            "grey": add_stock(conn, "Harbour Pan 125", process="bw", kind="black-and-white", iso=125).id,
            "cine": add_stock(conn, "Lantern 500T", process="ecn2", kind="colour negative", iso=500, remjet="yes").id,
            "nitrate": add_stock(
                conn, "Attic Find", process="bw", kind="black-and-white", iso=25, base="nitrate", remjet="no"
            ).id,
        }

    def roll(owner="ilse", stock="colour", **columns):
        fields = {"film_format": "135", "process": "c41", "exposed_on": "2026-08-30"} | columns
        with book.write() as conn:
            return add_roll(
                conn, on=date(2026, 8, 20), state=RollState.EXPOSED, owner_id=people.get(owner),
                stock_id=stocks.get(stock), **fields,
            )  # fmt: skip

    return SimpleNamespace(book=book, labs=labs, people=people, stocks=stocks, roll=roll)
