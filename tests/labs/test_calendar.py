"""Open days and ready days, worked by hand on a wall calendar and checked against the `holidays` library."""

from __future__ import annotations

from datetime import date, timedelta

import holidays
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.labs.calendar import add_open_days, first_open, first_ready, is_open, next_open, readiness
from dryside.labs.lab_file import read_lab
from labs.lab_maker import QUAY, TERN, make_developing, make_lab

quay, tern = read_lab(QUAY), read_lab(TERN)
C41, BW, E6 = range(3)

# Portuguese public holidays on these ways: 1 and 8 December 2026 (Tuesdays), Christmas and New Year (Fridays).
# lab, line of its list, from, handed in, developed, ready.
WORKED = [
    # Closed on Monday the 30th, Tuesday is a holiday: Wednesday; one open day on.
    (quay, C41, "2026-11-30", "2026-12-02", "2026-12-02", "2026-12-03"),
    # The 24th is a closed date, the 25th Christmas: Saturday.
    (quay, C41, "2026-12-23", "2026-12-23", "2026-12-23", "2026-12-26"),
    # Thursday and New Year's Day between: 31 December is open, so ready on the last day of the year.
    (quay, C41, "2026-12-30", "2026-12-30", "2026-12-30", "2026-12-31"),
    # Over the year's end: 1 January is a holiday, Saturday is open.
    (quay, C41, "2026-12-31", "2026-12-31", "2026-12-31", "2027-01-02"),
    # Five open days from Wednesday: Thu, Fri, Mon, (Tue holiday) Wed, Thu.
    (tern, C41, "2026-12-02", "2026-12-02", "2026-12-02", "2026-12-10"),
    # Handed in on the hand day itself: the next Wednesday counts.
    (tern, BW, "2026-12-02", "2026-12-02", "2026-12-09", "2026-12-11"),
    # The Wednesday after the year's end.
    (tern, BW, "2026-12-30", "2026-12-30", "2027-01-06", "2027-01-08"),
    # Tuesday 1 December is a holiday: Friday; then Mon, (Tue holiday) Wed, Thu.
    (tern, E6, "2026-11-27", "2026-11-27", "2026-12-04", "2026-12-10"),
    # A Saturday: handed in on Monday, developed on Tuesday.
    (tern, E6, "2026-10-31", "2026-11-02", "2026-11-03", "2026-11-06"),
]


@pytest.mark.parametrize(("lab", "line", "start", "handed_in", "developed", "ready"), WORKED)
def test_days_are_those_worked_by_hand(lab, line, start, handed_in, developed, ready):
    drop_off = first_open(lab, date.fromisoformat(start))
    days = readiness(lab, lab.develop[line], drop_off)
    assert [str(day) for day in (days.drop_off, days.developed, days.ready)] == [handed_in, developed, ready]


@pytest.mark.parametrize(("country", "part"), [("PT", None), ("PT", "20"), ("DE", "BY"), ("US", "CA"), ("TW", None)])
def test_closed_days_are_the_public_holidays_of_the_place(country, part):
    lab = make_lab(country=country, subdivision=part)
    known = holidays.country_holidays(country, subdiv=part)
    for count in range(730):
        day = date(2026, 1, 1) + timedelta(days=count)
        assert is_open(lab, day) == (day not in known)


def test_a_holiday_of_one_part_is_a_working_day_in_another():
    # Monday after Whit Sunday 2026 is the day of the Azores (PT-20); elsewhere in Portugal it is an ordinary Monday.
    day = date(2026, 5, 25)
    assert not is_open(make_lab(country="PT", subdivision="20"), day)
    assert is_open(make_lab(country="PT"), day)


def test_a_leap_day_and_month_ends_are_ordinary_days():
    lab = make_lab()
    assert add_open_days(lab, date(2028, 2, 28), 2) == date(2028, 3, 1)
    assert add_open_days(lab, date(2027, 2, 28), 1) == date(2027, 3, 1)
    assert add_open_days(lab, date(2026, 8, 31), 0) == date(2026, 8, 31)


def test_rush_days_stand_instead_of_the_usual_ones():
    days = readiness(tern, tern.develop[C41], date(2026, 9, 7), working_days=1)
    assert days.ready == date(2026, 9, 8)


def test_of_lines_at_one_price_the_one_ready_first_is_meant():
    by_hand = make_developing(hand_days=frozenset({1}), working_days=0)
    slow = make_developing(working_days=3)
    lab = make_lab(develop=(by_hand, slow))
    monday, tuesday = date(2026, 9, 7), date(2026, 9, 8)
    assert first_ready(lab, lab.develop, monday).ready == tuesday
    assert first_ready(lab, lab.develop, tuesday).ready == date(2026, 9, 11)  # the next Tuesday is the 15th


def test_a_lab_that_never_opens_ends_the_search():
    shut = make_lab(closed_dates=frozenset(date(2026, 1, 1) + timedelta(days=n) for n in range(700)))
    with pytest.raises(ValueError, match="has no such day within 550 days"):
        first_open(shut, date(2026, 1, 1))


@given(st.dates(date(2026, 1, 1), date(2028, 12, 31)), st.integers(0, 12))
def test_ready_is_an_open_day_with_so_many_open_days_before_it(start, count):
    lab = make_lab(country="PT", closed=frozenset({0, 6}), develop=(make_developing(working_days=count),))
    drop_off = first_open(lab, start)
    ready = readiness(lab, lab.develop[0], drop_off).ready
    between = [drop_off + timedelta(days=n) for n in range(1, (ready - drop_off).days + 1)]
    assert sum(is_open(lab, day) for day in between) == count
    assert is_open(lab, ready)
    assert next_open(lab, ready) > ready
