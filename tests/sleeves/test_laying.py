"""Strips that were cut elsewhere, laid into pages: never more pages than the best way needs."""

from collections import defaultdict
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import sleeve_page
from dryside.sleeves.laying import LooseLength, fewest_rows, lay_strips


def strips(*frames):
    return [LooseLength(number, 38.0 * count) for number, count in enumerate(frames, 1)]


# The oracle puts the strips into rows in every possible way (all set partitions), without any bound or order.
def least_rows_by_trying_all(places, room):
    best = len(places)

    def lay(index, rows):
        nonlocal best
        if index == len(places):
            best = min(best, len(rows))
            return
        for row in range(len(rows)):
            if rows[row] + places[index] <= room:
                lay(index + 1, [*rows[:row], rows[row] + places[index], *rows[row + 1 :]])
        lay(index + 1, [*rows, places[index]])

    lay(0, [])
    return best


@settings(max_examples=150, deadline=None)
@given(room=st.integers(2, 7), data=st.data())
def test_both_ways_need_no_more_rows_than_trying_all(room, data):
    places = data.draw(st.lists(st.integers(1, room), min_size=1, max_size=8))
    expected = least_rows_by_trying_all(places, room)
    assert fewest_rows(places, room, method="search") == expected
    assert fewest_rows(places, room, method="programme") == expected


@settings(max_examples=150, deadline=None)
@given(counts=st.lists(st.integers(1, 5), min_size=1, max_size=40), method=st.sampled_from(["auto", "programme"]))
def test_every_strip_lies_once_and_no_two_lie_on_one_place(counts, method):
    page = sleeve_page("7x5")
    lying = lay_strips(strips(*counts), page, method=method)
    taken = defaultdict(set)
    for one in lying:
        covered = set(range(one.place, one.place + one.places))
        assert max(covered) <= page.frames_per_row
        assert not covered & taken[one.page, one.row]
        taken[one.page, one.row] |= covered
    assert [one.number for one in lying] == list(range(1, len(counts) + 1))
    assert max(one.row for one in lying) <= page.rows
    # Each page holds 7 rows: no fewer pages can hold the film, and the rows come from the checked optimum.
    assert max(one.page for one in lying) == ceil(fewest_rows(counts, 5, method="programme") / 7)


def test_a_roll_cut_in_fours_lies_in_its_own_order_one_to_a_row():
    lying = lay_strips(strips(*[4] * 7), sleeve_page("7x5"))
    assert [(one.page, one.row, one.place) for one in lying] == [(1, row, 1) for row in range(1, 8)]


def test_short_ends_share_a_row_only_where_that_saves_a_page():
    seven_and_two_ends = strips(4, 4, 4, 4, 4, 4, 2, 3)
    lying = lay_strips(seven_and_two_ends, sleeve_page("7x5"))
    assert max(one.page for one in lying) == 1
    assert (lying[6].row, lying[6].place, lying[7].row, lying[7].place) == (7, 1, 7, 3)
    assert [one.row for one in lay_strips(strips(4, 4, 2, 3), sleeve_page("7x5"))] == [1, 2, 3, 4]


def test_a_strip_longer_than_the_row_is_refused_with_both_lengths():
    with pytest.raises(Refusal, match="strip 2: 228 mm long, a row of page 7x5 takes 196 mm"):
        lay_strips(strips(5, 6), sleeve_page("7x5"))


def test_no_strips_are_refused():
    with pytest.raises(NotFound, match="none is given"):
        lay_strips([], sleeve_page("7x5"))


def test_a_club_s_pile_of_strips_is_laid_at_once():
    lying = lay_strips(strips(*[1 + number % 6 for number in range(300)]), sleeve_page("6x6"))
    assert max(one.page for one in lying) == ceil((50 * 21 / 6) / 6)
