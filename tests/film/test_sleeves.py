"""Sleeve pages and strips. Layouts are common practice; lengths are arithmetic on the published frame pitch."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import sleeves as s
from dryside.film.refusal import Refusal


@pytest.mark.parametrize(("layout", "frames"), [("7x5", 35), ("6x6", 36), ("7x6", 42)])
def test_what_usual_135_pages_hold(layout, frames):
    page = s.sleeve_page(layout)
    assert page.capacity == frames == page.capacity_of("135")
    assert page in s.SLEEVE_PAGES["135"]


def test_a_roll_with_an_extra_frame_overflows_where_it_is_known_to():
    # 36 + 1 frames do not fit 7x5, 38 not 6x6 (arithmetic).
    assert s.sleeve_page("7x5").capacity < 37
    assert s.sleeve_page("6x6").capacity < 38 <= s.sleeve_page("7x6").capacity


@pytest.mark.parametrize("layout", ["3x4", "4x3"])
def test_120_pages_hold_a_roll_of_twelve(layout):
    page = s.sleeve_page(layout, film="120")
    assert (page.capacity, page.frame_format) == (12, "120-6x6")


# Strips of 4, 5 and 6 frames of 135: 152, 190 and 228 mm (arithmetic on the 38.0 mm pitch).
@pytest.mark.parametrize(("frames", "length_mm"), [(4, 152), (5, 190), (6, 228), (0, 0)])
def test_strip_lengths(frames, length_mm):
    assert s.strip_length_mm(frames, "135") == length_mm


def test_half_frames_take_half_the_length():
    assert s.strip_length_mm(12, "half") == s.strip_length_mm(6, "135")
    assert s.sleeve_page("6x6").capacity_of("half") == 72


def test_larger_frames_leave_fewer_in_a_row():
    page = s.sleeve_page("3x4", film="120")
    rows = [page.frames_per_row_of(f"120-{size}") for size in ("6x4.5", "6x6", "6x7", "6x9", "6x17")]
    assert rows == [5, 4, 3, 2, 1]


def test_a_strip_that_is_too_long_does_not_go_in():
    page = s.sleeve_page("7x5")
    assert page.takes_strip(190)
    assert not page.takes_strip(228)
    assert not page.takes_strip(0)


def test_pages_are_named_by_any_format_on_their_film():
    assert s.sleeve_page("6 × 6", film="half") == s.sleeve_page("6x6")
    assert s.sleeve_page("3x4", film="120-6x7").film == "120"


@pytest.mark.parametrize(
    ("layout", "film", "message"),
    [("7by5", "135", "not rows x frames a row. Write it as 7x5 or 6x6"),
     ("0x5", "135", "rows and frames a row run from 1"),
     ("7x21", "135", "rows and frames a row run from 1"), ("1x1", "4x5", "no page is known for sheet"),
     ("", "135", "not rows")],
)  # fmt: skip
def test_what_is_no_page_is_refused(layout, film, message):
    with pytest.raises(Refusal, match=message):
        s.sleeve_page(layout, film=film)


def test_a_page_for_another_film_is_refused():
    with pytest.raises(Refusal, match=r"120-6x6 is on 120, the page takes 135\. Choose a page for 120"):
        s.sleeve_page("6x6").capacity_of("120-6x6")


def test_a_strip_has_no_fewer_than_no_frames():
    with pytest.raises(ValueError, match="frames is -1; it must be 0 or more"):
        s.strip_length_mm(-1, "135")


@given(st.integers(1, 20), st.integers(1, 20), st.sampled_from(["135", "120", "127"]))
def test_a_row_takes_just_the_frames_it_is_named_by(rows, per_row, film):
    page = s.page(rows, per_row, film=film)
    assert page.frames_per_row_of(page.frame_format) == per_row
    assert s.sleeve_page(page.key, film=film) == page
