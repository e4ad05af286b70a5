"""Rolls as lists show them: every roll once, page after page, narrowed as asked."""

from __future__ import annotations

from datetime import date

import pytest

from dryside.book.folder import open_book
from dryside.book.frames import add_frame
from dryside.book.journey import RollState
from dryside.book.roll_list import RollFilter, count_by_state, list_roll_page, rolls_in
from dryside.book.rolls import add_roll
from dryside.book.to_do import work_at_home


@pytest.fixture
def book(tmp_path):
    with open_book(tmp_path / "book") as opened:
        with opened.write() as conn:
            for number in range(23):
                state = RollState.SLEEVED if number % 2 else RollState.NEGATIVES_BACK
                roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1), state=state,
                                title=f"Walk{number}x", names=(f"old{number}y",))  # fmt: skip
                add_frame(conn, roll.id, position=0, label="1")
        yield opened


def test_pages_give_every_roll_once_the_newest_first(book):
    seen, after = [], None
    with book.read() as conn:
        while True:
            page = list_roll_page(conn, limit=5, after=after)
            seen += [one.title for one in page.rolls]
            assert page.found == 23
            if (after := page.after) is None:
                break
    assert seen == [f"Walk{number}x" for number in reversed(range(23))]


def test_filters_narrow_and_words_find_titles_and_second_names(book):
    with book.read() as conn:
        assert list_roll_page(conn, RollFilter(states=(RollState.SLEEVED,))).found == 11
        assert [one.title for one in list_roll_page(conn, RollFilter(words="WALK22X")).rolls] == ["Walk22x"]
        assert [one.title for one in list_roll_page(conn, RollFilter(words="old7y")).rolls] == ["Walk7x"]
        assert list_roll_page(conn, RollFilter(words="100%")).found == 0
        assert len(rolls_in(conn, (RollState.NEGATIVES_BACK,))) == 12
        assert count_by_state(conn)[RollState.CAMERA] == 0


def test_loose_negatives_and_an_empty_shelf_are_something_to_do(book):
    with book.read() as conn:
        found = {one.kind: one.count for one in work_at_home(conn)}
    assert found == {"sleeve": 12, "buy film": 0}
