"""The journey of a roll."""

from datetime import date

import pytest

from dryside.book.events import list_events
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll, add_roll_name, find_roll, get_roll, list_rolls, move_roll, names_of
from dryside.film.refusal import NotFound, Refusal

SPRING = date(2026, 4, 3)


def roll_in(book, **columns):
    with book.write() as conn:
        return add_roll(conn, film_format="135", process="c41", on=SPRING, **columns)


def test_each_move_is_one_event_and_the_state_follows(book):
    roll = roll_in(book, who="Ida")
    way = [RollState.EXPOSED, RollState.AT_LAB, RollState.SCANS_BACK, RollState.NEGATIVES_BACK, RollState.SLEEVED]
    with book.write() as conn:
        for to in way:
            roll = move_roll(conn, roll, to, at="2026-05-01T12:00:00+02:00", who="Ida", detail={"to": to})
    with book.read() as conn:
        assert get_roll(conn, roll.id).place is RollState.SLEEVED
        events = list_events(conn, roll.id)
    assert [event.to_state for event in events] == ["camera", *map(str, way)]
    assert events[-1].from_state == "negatives back"
    assert events[1].at_utc == 1777629600.0


def test_an_impossible_move_is_refused_in_words_and_leaves_the_roll_alone(book):
    roll = roll_in(book)
    words = r"it is in a camera; it cannot go to 'sleeved' from there\. Finish it first"
    with pytest.raises(Refusal, match=words), book.write() as conn:
        move_roll(conn, roll, RollState.SLEEVED)
    with book.read() as conn:
        assert get_roll(conn, roll.id) == roll
        assert len(list_events(conn, roll.id)) == 1


def test_scans_that_come_after_the_negatives_leave_the_film_where_it_is(book):
    roll = roll_in(book, state=RollState.AT_LAB)
    with book.write() as conn:
        roll = move_roll(conn, roll, RollState.NEGATIVES_BACK)
        roll = move_roll(conn, roll, RollState.SCANS_BACK)
        events = list_events(conn, roll.id)
    assert roll.place is RollState.NEGATIVES_BACK
    assert events[-1].kind == "scans back"


def test_codes_run_on_through_the_year_and_skip_the_letters_o_and_i(book):
    with book.write() as conn:
        codes = [add_roll(conn, film_format="135", process="bw", on=SPRING).code for _ in range(120)]
    assert codes[0] == "26-001-N"
    assert len(set(codes)) == 120
    assert not {code[-1] for code in codes} & {"O", "I"}


def test_a_roll_is_found_by_code_in_any_spelling_and_by_its_second_names(book):
    roll = roll_in(book, names=["Harbour 7", "1998/3"])
    with book.read() as conn:
        for text in ("26-001-N", "26001n", " 26 001 n ", "26-OO1-N", "26-1-n", "harbour 7", "1998/3"):
            assert find_roll(conn, text).id == roll.id
        assert names_of(conn, roll.id) == ["Harbour 7", "1998/3"]


def test_a_mistyped_code_is_refused_with_the_nearest_named(book):
    with book.write() as conn:
        for _ in range(20):
            add_roll(conn, film_format="135", process="bw", on=SPRING)
        known = [roll.code for roll in list_rolls(conn)]
    with book.read() as conn:
        with pytest.raises(NotFound, match=r"mistyped.*Did you mean 26-001-N"):
            find_roll(conn, "26-001-M")
        with pytest.raises(NotFound, match=known[11]):
            find_roll(conn, known[11].replace("26", "62"))
        with pytest.raises(NotFound, match=r"not in this book\. List the rolls"):
            find_roll(conn, "the one from the ferry")


def test_a_second_name_cannot_be_another_rolls(book):
    first, second = roll_in(book, names=["seven"]), roll_in(book)
    with book.write() as conn:
        with pytest.raises(Refusal, match=f"belongs to roll {first.code}"):
            add_roll_name(conn, second.id, "SEVEN")
        with pytest.raises(Refusal, match=f"this is the code of roll {first.code}"):
            add_roll_name(conn, second.id, first.code)
        add_roll_name(conn, first.id, "Seven")
        assert names_of(conn, first.id) == ["seven"]
