"""What names say, read from the whole set."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.scans.numbering import group_names, read_numbering


def labels(stems):
    return [number.label if number else None for number in read_numbering(stems).numbers]


@pytest.mark.parametrize(
    ("stems", "pattern", "first"),
    [
        (["R1_01", "R1_02", "R1_03"], "R1_#", "1"),
        (["000612340001", "000612340002", "000612340003"], "00061234#", "1"),
        (["00", "0", "1", "2"], "#", "00"),
        (["00", "01", "02", "03"], "#", "0"),
        (["612-00A", "612-01A", "612-02A"], "612-#", "0"),
        (["IMG_4471", "IMG_4472"], "IMG_#", "4471"),
        (["2026-05-03_1", "2026-05-03_2"], "2026-05-03_#", "1"),
        (["12", "12A", "13", "13A"], "#", "12"),
    ],
)
def test_the_running_number_is_found(stems, pattern, first):
    found = read_numbering(stems)
    assert found.pattern == pattern
    assert found.numbers[0].label == first
    assert found.is_run


def test_half_numbers_stay_when_only_some_have_them():
    assert labels(["12", "12A", "13", "13A"]) == ["12", "12A", "13", "13A"]


def test_numbers_left_out_are_named():
    assert read_numbering([f"a{n:02d}" for n in (1, 2, 4, 5, 6, 7, 9)]).missing == (3, 8)


def test_two_half_frames_in_a_file_are_a_pair():
    found = read_numbering([f"h{n:02d}-{n + 1:02d}" for n in range(1, 73, 2)])
    assert found.is_paired
    assert [(n.value, n.second) for n in found.numbers[:2]] == [(1, 2), (3, 4)]
    assert found.missing == ()


def test_names_without_a_running_number_have_no_pattern():
    assert read_numbering(["a81f", "zz9", "q", "9d0c"]).pattern == ""


def test_no_names_are_no_trouble():
    assert read_numbering([]).numbers == ()
    assert group_names([]) == []


@pytest.mark.parametrize(
    ("names", "sizes"),
    [
        ([f"A_{n:02d}.jpg" for n in range(1, 37)] + [f"B_{n:02d}.jpg" for n in range(1, 25)], [36, 24]),
        ([f"61234-{n:02d}.jpg" for n in range(1, 37)] + [f"61235-{n:02d}.jpg" for n in range(0, 37)], [36, 37]),
        ([f"000612340{n:03d}.jpg" for n in range(1, 37)] + [f"000612350{n:03d}.jpg" for n in range(1, 25)], [36, 24]),
        ([f"x/{n}.jpg" for n in range(1, 4)] + [f"y/{n}.jpg" for n in range(1, 4)], [3, 3]),
        ([f"{n:03d}.jpg" for n in range(1, 73)], [72]),
    ],
)
def test_rolls_are_told_apart_by_what_stays(names, sizes):
    assert [len(group.members) for group in group_names(names)] == sizes


@given(st.integers(1, 30), st.integers(2, 38), st.sampled_from(["", "roll_", "2207-1_", "x9y", "IMG"]))
def test_any_run_of_numbers_behind_any_prefix_is_read(start, count, prefix):
    found = read_numbering([f"{prefix}{n:03d}" for n in range(start, start + count)])
    assert [number.value for number in found.numbers] == list(range(start, start + count))
    assert found.is_run


@given(st.lists(st.text(min_size=1, max_size=12), max_size=20))
def test_no_names_break_it(stems):
    assert len(read_numbering(stems).numbers) == len(stems)
    assert sorted(i for group in group_names(stems) for i in group.members) == list(range(len(stems)))
