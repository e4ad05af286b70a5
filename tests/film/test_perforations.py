"""Geometry of 135 perforations against published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import perforations as p

# Encyclopedia article 'Film perforations' (read), in inches to four decimals beside the mm it gives.
READ_INCHES = {
    "PITCH_MM": 0.1870,
    "SHORT_PITCH_MM": 0.1866,
    "HOLE_ALONG_MM": 0.0780,
    "HOLE_ACROSS_MM": 0.1100,
}
HALF_LAST_DIGIT_IN = 0.00005


@pytest.mark.parametrize(("name", "inches"), READ_INCHES.items())
def test_mm_and_inches_of_the_source_agree(name, inches):
    assert getattr(p, name) / 25.4 == pytest.approx(inches, abs=HALF_LAST_DIGIT_IN)


def test_the_inches_would_catch_the_other_pitch():
    assert abs(p.PITCH_MM / 25.4 - READ_INCHES["SHORT_PITCH_MM"]) > HALF_LAST_DIGIT_IN


def test_the_clear_width_between_the_rows_leaves_room_for_a_frame():
    # 34.975 - 2 (2.01 + 2.794) = 25.37 mm: arithmetic on ISO 491's figures (from memory).
    assert pytest.approx(25.37, abs=0.005) == p.CLEAR_WIDTH_MM
    assert p.CLEAR_WIDTH_MM > 24


def test_eight_holes_a_frame_and_four_a_half_frame():
    # Encyclopedia article 'Film perforations', 8 perforations a frame; 38.00 and 19.00 mm by arithmetic.
    assert (p.FRAME_PITCH_MM, p.HALF_FRAME_PITCH_MM) == (38.0, 19.0)
    assert (p.frame_pitch_mm(8), p.frame_pitch_mm(4)) == (38.0, 19.0)


def test_a_page_that_says_16_holes_are_72_mm_is_wrong():
    # One encyclopedia copy states 16 perforations per 72 mm, a pitch of 4.5 mm.
    assert p.run_length_mm(16) == 76.0


def test_36_frames_differ_by_2_9_mm_between_the_pitches():
    long, short = p.run_length_mm(36 * 8), p.run_length_mm(36 * 8, pitch_mm=p.SHORT_PITCH_MM)
    assert (long, round(short, 1), round(long - short, 1)) == (1368.0, 1365.1, 2.9)


def test_rows_lie_symmetrically_on_the_film():
    assert pytest.approx(p.FILM_WIDTH_MM) == 2 * p.HOLE_CENTRE_FROM_EDGE_MM + p.ROW_DISTANCE_MM
    assert pytest.approx(p.CLEAR_WIDTH_MM) == p.ROW_DISTANCE_MM - p.HOLE_ACROSS_MM


def test_an_advance_that_no_camera_has_is_named():
    with pytest.raises(ValueError, match="perforations is 7; a 135 frame advances 8, a half frame 4"):
        p.frame_pitch_mm(7)


@pytest.mark.parametrize(
    ("count", "pitch_mm", "message"), [(-1, 4.75, "perforations is -1"), (3, 0.0, "pitch_mm is 0.0")]
)
def test_lengths_of_no_sense_are_refused(count, pitch_mm, message):
    with pytest.raises(ValueError, match=message):
        p.run_length_mm(count, pitch_mm=pitch_mm)


@given(st.integers(0, 400), st.integers(0, 400))
def test_lengths_add_up(a, b):
    assert p.run_length_mm(a) + p.run_length_mm(b) == pytest.approx(p.run_length_mm(a + b))
