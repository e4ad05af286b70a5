"""Loading: the shelf, the process, and what is said before."""

from datetime import date

import pytest

from dryside.book.journey import MOVES, RollState, parse_state, place_in_words, state_after
from dryside.book.loading import NewRoll, load_roll
from dryside.book.money import Money
from dryside.book.stocks import add_stock, add_to_shelf, days_to_expiry, list_shelf, shelf_worth
from dryside.film.refusal import NotFound, Refusal

DAY = date(2026, 7, 1)


@pytest.fixture
def shelf(book):
    with book.write() as conn:
        add_stock(conn, "Fennel 400", process="c41", kind="colour negative", iso=400)
        add_stock(conn, "Tansy 500", process="ecn2", kind="colour negative", iso=500, remjet="yes")
        add_stock(conn, "Rye 100", process="bw", kind="black-and-white", iso=100)
        for expires, kept in (("2027-01-31", "room"), ("2026-06-30", "frozen")):
            add_to_shelf(
                conn, "fennel 400", film_format="35 mm", quantity=2, exposures=24, expires_on=expires, kept=kept,
                price_each=Money.parse("9.50", "EUR"),
            )  # fmt: skip
    return book


def load(book, **said):
    with book.write() as conn:
        return load_roll(conn, NewRoll(on=DAY, **said))


def test_the_roll_that_expires_first_leaves_the_shelf_and_its_state_is_said(shelf):
    loaded = load(shelf, stock="Fennel 400", camera="Ondine 35", owner="Ida")
    assert (loaded.roll.exposures, loaded.roll.expires_on, loaded.roll.state) == (24, "2026-06-30", "camera")
    assert loaded.from_shelf.quantity == 1
    assert any("let it warm up closed for 5 h" in words for words in loaded.warnings)
    assert any("it expired on 2026-06-30" in words for words in loaded.warnings)
    with shelf.read() as conn:
        assert shelf_worth(conn) == {"EUR": Money.parse("28.50", "EUR")}
        assert [days_to_expiry(row, DAY) for row in list_shelf(conn)] == [-1, 214]


def test_an_empty_shelf_stops_nobody_and_a_finished_roll_takes_none(shelf):
    assert load(shelf, stock="Rye 100").from_shelf is None
    assert load(shelf, stock="Fennel 400", is_exposed=True).from_shelf is None
    assert load(shelf, stock="Rye 100", film_format="6x6").roll.exposures == 12


def test_film_that_would_harm_a_line_is_refused_whatever_is_asked(shelf):
    for asked in (False, True):
        with pytest.raises(Refusal, match=r"Tansy 500 in C-41.*rem-jet"):
            load(shelf, stock="Tansy 500", process="c41", cross_process=asked)
    with shelf.read() as conn:
        assert len(list_shelf(conn)) == 2


def test_another_exposure_index_without_a_push_is_remarked(shelf):
    assert "dryside roll set ROLL --push +2" in " ".join(load(shelf, stock="Fennel 400", exposure_index=1600).warnings)
    pushed = load(shelf, stock="Fennel 400", exposure_index=1600, push_stops=2.0)
    assert not any("no push" in words for words in pushed.warnings)


def test_neither_stock_nor_process_is_refused(shelf):
    with pytest.raises(Refusal, match="neither stock nor process"):
        load(shelf)
    with pytest.raises(NotFound, match=r"stock Fenel: not in this book\. In it: Fennel 400"):
        load(shelf, stock="Fenel")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"quantity": 0}, "at least 1"),
        ({"kept": "attic"}, "none of room, cool, cold, frozen"),
        ({"expires_on": "soon"}, "no day"),
        ({"film_format": "6x66"}, "no film format"),
    ],
)
def test_a_shelf_lot_that_cannot_be_is_refused(shelf, said, words):
    lot = {"film_format": "135", "quantity": 1, **said}
    with pytest.raises(Refusal, match=words), shelf.write() as conn:
        add_to_shelf(conn, "Fennel 400", **lot)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"name": " "}, "name is empty"),
        ({"name": "FENNEL 400"}, "already in this book"),
        ({"process": "c42"}, "process 'c42' is none of"),
        ({"iso": 0}, "no film speed"),
        ({"base": "paper"}, "base 'paper' is none of"),
    ],
)
def test_a_stock_that_cannot_be_is_refused(shelf, said, words):
    stock = {"name": "New", "process": "c41", "kind": "colour negative", "iso": 100, **said}
    with pytest.raises(Refusal, match=words), shelf.write() as conn:
        add_stock(conn, stock.pop("name"), **stock)


def test_every_move_is_possible_or_refused_in_words():
    for state in RollState:
        for to in RollState:
            if to in MOVES[state]:
                assert state_after(state, to) in (to, state)
            else:
                with pytest.raises(Refusal, match=f"it is {place_in_words(state)}; it cannot go to '{to}'"):
                    state_after(state, to, thing="roll 26-001-N")


def test_from_every_place_the_end_of_the_journey_can_be_reached():
    for state in RollState:
        reached = {state}
        while more := {to for one in reached for to in MOVES[one]} - reached:
            reached |= more
        assert RollState.SLEEVED in reached


def test_places_are_read_as_people_type_them():
    assert parse_state("At-the-lab") is RollState.AT_LAB
    with pytest.raises(Refusal, match="Use one of: shelf, camera"):
        parse_state("nowhere")
