"""Deliveries laid along logs: what is sure is right, what could be otherwise is asked."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.scans.alignment import FrameLogged, ScanSeen, align, film_number
from dryside.scans.alignment import settings as rules


def scans(numbers):
    return [ScanSeen(number=n) for n in numbers]


def frames(numbers, blank=()):
    return [FrameLogged(float(n), blank=n in blank) for n in numbers]


def run(a, b):
    return [float(n) for n in range(a, b + 1)]


def chosen(found):
    return [place.frame for place in found.places]


@pytest.mark.parametrize(
    ("label", "number"), [("00", -1), ("0", 0), ("1", 1), ("12", 12), ("12A", 12.5), ("sky", None)]
)
def test_labels_lie_along_the_film(label, number):
    assert film_number(label) == number


def test_a_straight_delivery_is_sure():
    found = align(scans(run(1, 36)), frames(run(1, 36)))
    assert chosen(found) == list(range(36))
    assert all(place.sure for place in found.places)
    assert found.missing == ()


def test_36_and_2_more_with_labels_00_and_0_are_sure():
    found = align(scans(run(-1, 36)), frames(run(1, 36)))
    assert chosen(found) == [None, None, *range(36)]
    assert all(place.sure for place in found.places)


def test_38_counted_from_1_for_36_logged_is_asked():
    found = align(scans(run(1, 38)), frames(run(1, 36)))
    assert not any(place.sure for place in found.places)
    assert len(found.places[10].others) >= 1


def test_a_number_left_out_in_the_middle_is_the_missing_frame():
    found = align(scans([n for n in run(1, 36) if n != 14]), frames(run(1, 36)))
    assert found.missing == (13,)
    assert all(place.sure for place in found.places)


def test_one_less_without_a_gap_in_the_numbers_is_asked():
    assert not all(place.sure for place in align(scans(run(1, 35)), frames(run(1, 36))).places)


def test_a_logged_blank_explains_one_less():
    found = align(scans(run(1, 35)), frames(run(1, 36), blank=(14.0,)))
    assert found.missing == (13,)
    assert chosen(found)[:13] == list(range(13))
    assert chosen(found)[13:] == list(range(14, 36))


def test_numbers_of_a_counter_are_read_from_their_first():
    found = align(scans(run(4471, 4506)), frames(run(1, 36)))
    assert chosen(found) == list(range(36))
    assert all(place.sure for place in found.places)


def test_phone_shots_turn_a_reversed_delivery_round():
    seen = [ScanSeen(number=float(k + 1), shot_utc=1000.0 * (36 - k), shot_confidence=0.95) for k in range(36)]
    logged = [FrameLogged(float(k + 1), taken_utc=1000.0 * (k + 1)) for k in range(36)]
    found = align(seen, logged)
    assert found.backwards
    assert chosen(found) == list(range(35, -1, -1))
    assert all(place.sure for place in found.places)
    assert found.backwards_probability > 0.99


def test_names_that_say_nothing_are_asked_even_where_the_count_agrees():
    found = align(scans([None] * 36), frames(run(1, 36)))
    assert chosen(found) == list(range(36))
    assert {place.confidence for place in found.places} == {rules()["caps"]["order_unknown"]}
    assert found.places[0].reasons[-1].name == "order_unknown"


def test_half_frames_counted_on_meet_labels_with_a():
    found = align(scans(run(1, 72)), frames([1 + k / 2 for k in range(72)]))
    assert chosen(found) == list(range(72))
    assert all(place.sure for place in found.places)


def test_files_with_two_half_frames_take_two_each():
    found = align(scans(run(1, 36)), frames(run(1, 72)), pairs=True)
    assert [(place.frame, place.also) for place in found.places[:3]] == [(0, 1), (2, 3), (4, 5)]
    assert all(place.sure for place in found.places)


def test_a_frame_scanned_twice_is_given_twice_and_asked():
    numbers = [*run(1, 8), 8.0, *run(9, 12)]
    seen = [ScanSeen(number=n, like_previous=k == 8) for k, n in enumerate(numbers)]
    found = align(seen, frames(run(1, 12)))
    assert chosen(found)[7:10] == [7, 7, 8]
    assert not found.places[8].sure


def test_reasons_are_named_with_their_cost():
    place = align([ScanSeen(number=1.0, blank=True)], frames([1.0])).places[0]
    assert ("blank_scan_for_picture", 3.0) in [(reason.name, reason.cost) for reason in place.reasons]


def test_without_a_log_nothing_is_placed():
    found = align(scans(run(1, 3)), [])
    assert chosen(found) == [None] * 3
    assert align([], frames(run(1, 3))).missing == (0, 1, 2)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 14), st.data())
def test_pairs_that_are_sure_rise_together_and_probabilities_stay_below_one(count, data):
    kept = data.draw(st.lists(st.integers(0, count + 3), unique=True, min_size=1, max_size=12).map(sorted))
    found = align(scans([float(n) for n in kept]), frames(run(1, count)))
    sure = [place.frame for place in found.places if place.sure and place.frame is not None]
    assert sure == sorted(sure)
    assert len(sure) == len(set(sure))
    assert all(0.0 <= place.confidence <= 1.0 for place in found.places)
