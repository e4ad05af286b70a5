"""Resolution on the film against a published table of arithmetic."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import scan_resolution as s
from dryside.film.formats import FORMATS
from dryside.film.refusal import Refusal

# px = mm / 25.4 * ppi, calculated: ppi, px along 36, 24, 56 and 84 mm, megapixels of 24x36, cycles/mm, pitch in
# micrometres.
TABLE = [
    (1200, 1700.79, 1133.86, 2645.67, 3968.50, 1.93, 23.622, 21.1667),
    (2400, 3401.57, 2267.72, 5291.34, 7937.01, 7.71, 47.244, 10.5833),
    (3600, 5102.36, 3401.57, 7937.01, 11905.51, 17.36, 70.866, 7.0556),
    (4000, 5669.29, 3779.53, 8818.90, 13228.35, 21.43, 78.740, 6.3500),
    (6400, 9070.87, 6047.24, 14110.24, 21165.35, 54.85, 125.984, 3.9688),
]


@pytest.mark.parametrize(("ppi", "px36", "px24", "px56", "px84", "megapixels", "cycles", "pitch_um"), TABLE)
def test_the_table_holds(ppi, px36, px24, px56, px84, megapixels, cycles, pitch_um):
    found = [s.pixels_along(mm, ppi) for mm in (36, 24, 56, 84)]
    assert found == pytest.approx([px36, px24, px56, px84], abs=0.005)
    assert s.frame_megapixels("135", ppi) == pytest.approx(megapixels, abs=0.005)
    assert s.nyquist_cycles_per_mm(ppi) == pytest.approx(cycles, abs=0.0005)
    assert s.pixel_pitch_um(ppi) == pytest.approx(pitch_um, abs=0.00005)


def test_nyquist_in_lines_instead_of_cycles_would_be_caught():
    assert abs(2 * s.nyquist_cycles_per_mm(4000) - 78.740) > 0.0005


def test_6000_pixels_along_a_frame_are_4233_ppi():
    assert s.ppi_on_film(6000, 36) == pytest.approx(4233, abs=0.5)


@given(st.floats(1, 300), st.floats(100, 12000))
def test_pixels_and_ppi_go_round(mm, ppi):
    assert s.ppi_on_film(s.pixels_along(mm, ppi), mm) == pytest.approx(ppi)
    assert s.pixels_per_mm(ppi) * mm == pytest.approx(s.pixels_along(mm, ppi))


@given(st.sampled_from(sorted(FORMATS)), st.integers(600, 6400))
def test_a_whole_frame_is_seen_as_whole_whichever_way_it_lies(key, ppi):
    long_px, short_px = (round(side) for side in s.frame_pixels(key, ppi))
    for shape in (s.scan_shape(long_px, short_px, key), s.scan_shape(short_px, long_px, key)):
        assert shape.is_whole
        assert shape.ppi == pytest.approx(ppi, rel=0.01)


def test_a_4_to_3_crop_of_a_3_to_2_frame_is_seen_as_cropped():
    shape = s.scan_shape(4000, 3000, "135")
    assert not shape.is_whole
    assert shape.cropped_pct == pytest.approx(11.11, abs=0.005)
    assert shape.ppi == pytest.approx(3000 / 24 * 25.4)


def test_an_overscan_of_one_per_cent_does_no_harm():
    assert s.scan_shape(3636, 2400, "135").is_whole


# Small, medium and large near 1800x1200, 3600x2400 and 6700x4500: common practice, from memory.
@pytest.mark.parametrize(
    ("width", "height", "name"),
    [(1818, 1228, "small"), (2400, 3637, "medium"), (6774, 4492, "large"), (90, 60, "small")],
)
def test_the_tier_that_was_delivered(width, height, name):
    assert s.nearest_tier(width, height).name == name


@pytest.mark.parametrize(
    ("call", "message"),
    [(lambda: s.pixels_along(0, 300), "mm is 0"), (lambda: s.pixel_pitch_um(-1), "ppi is -1"),
     (lambda: s.ppi_on_film(100, 0), "mm is 0"), (lambda: s.scan_shape(0, 10, "135"), "pixels is 0"),
     (lambda: s.nyquist_cycles_per_mm(0), "ppi is 0"), (lambda: s.nearest_tier(0, 5), "width_px is 0")],
)  # fmt: skip
def test_nothing_at_or_below_zero_is_taken(call, message):
    with pytest.raises(ValueError, match=f"{message}; it must be above 0"):
        call()


def test_a_scan_of_no_known_format_is_refused():
    with pytest.raises(Refusal, match="120 film takes several frame sizes"):
        s.scan_shape(100, 100, "120")
