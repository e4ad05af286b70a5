"""Changes made by functions that know nothing of undoing are taken back: rows that came, went or changed, and moves."""

from __future__ import annotations

from datetime import date

import pytest

from dryside.book.events import list_events
from dryside.book.frames import add_frame
from dryside.book.journey import RollState
from dryside.book.loading import NewRoll, load_roll
from dryside.book.rolls import find_roll, get_roll, move_roll, update_roll
from dryside.book.schema import events, rolls, shelf
from dryside.book.stocks import add_stock, add_to_shelf, list_shelf
from dryside.book.undoing import Ledger, take_back
from dryside.film.refusal import NotFound, Refusal

AT = "2026-06-05T12:00:00+02:00"


@pytest.fixture
def conn(book):
    with book.write() as opened:
        add_stock(opened, "Almen Colour 200", process="c41", kind="colour negative", iso=200)
        add_to_shelf(opened, "Almen Colour 200", film_format="135", quantity=3)
        yield opened


def loaded(conn):
    return load_roll(conn, NewRoll(on=date(2026, 6, 5), stock="Almen Colour 200"), at=AT).roll


def test_a_roll_that_was_loaded_by_mistake_goes_back_to_the_shelf(conn):
    ledger = Ledger(conn)
    with ledger.around((rolls, rolls.c.id > 0), (events, events.c.roll_id.isnot(None)), (shelf, shelf.c.id > 0)):
        code = loaded(conn).code
    undo_id = ledger.save("loading a roll")
    assert [lot.quantity for lot in list_shelf(conn)] == [2]
    take_back(conn, undo_id)
    assert [lot.quantity for lot in list_shelf(conn)] == [3]
    with pytest.raises(NotFound, match=code):
        find_roll(conn, code)


def test_a_roll_with_frames_by_now_is_not_taken_away(conn):
    ledger = Ledger(conn)
    with ledger.around((rolls, rolls.c.id > 0), (events, events.c.roll_id.isnot(None))):
        roll = loaded(conn)
    undo_id = ledger.save("loading a roll")
    add_frame(conn, roll.id, position=0, label="1")
    with pytest.raises(Refusal, match="rests on it by now"), conn.begin_nested():
        take_back(conn, undo_id)
    assert get_roll(conn, roll.id).code == roll.code


def test_a_move_is_taken_back_by_an_event_of_its_own_even_where_life_has_no_way_back(conn):
    roll = loaded(conn)
    for place in (RollState.EXPOSED, RollState.NEGATIVES_BACK, RollState.SLEEVED):
        move_roll(conn, roll, place, at=AT)
    ledger = Ledger(conn)
    with ledger.around((rolls, rolls.c.id == roll.id)):
        move_roll(conn, roll, RollState.LOST, at=AT)
    take_back(conn, ledger.save("a move"), at=AT)
    assert get_roll(conn, roll.id).place is RollState.SLEEVED
    last = list_events(conn, roll.id)[-1]
    assert (last.from_state, last.to_state, last.detail) == ("lost", "sleeved", {"taken back": "a move"})


def test_only_the_columns_that_changed_are_put_back(conn):
    roll = loaded(conn)
    ledger = Ledger(conn)
    with ledger.around((rolls, rolls.c.id == roll.id)):
        update_roll(conn, roll.id, title="Ferry")
    undo_id = ledger.save("the title")
    update_roll(conn, roll.id, notes="light leak")
    take_back(conn, undo_id)
    after = get_roll(conn, roll.id)
    assert (after.title, after.notes) == (None, "light leak")
    update_roll(conn, roll.id, title="Ferry")


def test_what_was_changed_again_is_not_overwritten(conn):
    roll = loaded(conn)
    ledger = Ledger(conn)
    with ledger.around((rolls, rolls.c.id == roll.id)):
        update_roll(conn, roll.id, title="Ferry")
    undo_id = ledger.save("the title")
    update_roll(conn, roll.id, title="Ferry, evening")
    with pytest.raises(Refusal, match="changed again since"):
        take_back(conn, undo_id)
