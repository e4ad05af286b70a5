"""Exposure arithmetic and marked values against published ones."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import exposure as e
from dryside.film.refusal import Refusal

# --- EV and light

# Calculated from EV = log2(N^2 / t), a page on the arithmetic of camera settings (read); four decimals.
EV_ROWS = [
    (16, 1 / 125, 14.9658),
    (16, 1 / 128, 15.0000),
    (1, 1, 0.0000),
    (8, 1 / 60, 11.9069),
    (4 * math.sqrt(2), 1 / 64, 11.0000),
    (5.6, 1 / 60, 10.8777),
    (2.8, 1 / 30, 7.8777),
]


@pytest.mark.parametrize(("f_number", "seconds", "ev"), EV_ROWS)
def test_ev_of_aperture_and_time(f_number, seconds, ev):
    assert e.exposure_value(f_number, seconds) == pytest.approx(ev, abs=0.00005)


def test_the_rows_would_catch_true_values_in_place_of_marked_ones():
    assert abs(e.exposure_value(16, 1 / 128) - 14.9658) > 0.00005


def test_true_values_of_the_marks_give_whole_ev():
    assert e.exposure_value(e.true_f_number(5.6), e.true_seconds(1 / 60)) == pytest.approx(11)
    assert e.exposure_value(e.true_f_number(22), e.true_seconds(30)) == pytest.approx(4)


def test_luminance_at_iso_100_is_two_to_the_ev_less_three():
    # Encyclopedia article 'Exposure value' (read): L = 2^(EV-3) cd/m2 at K = 12.5.
    for ev, cd_m2 in ((0, 0.125), (3, 1.0), (15, 4096.0)):
        assert e.luminance_cd_m2(ev) == cd_m2
        assert e.ev_of_luminance(cd_m2) == ev


def test_illuminance_at_iso_100():
    # E = 2.5 * 2^EV lx at C = 250 (encyclopedia article 'Light meter', arithmetic).
    assert e.illuminance_lx(15) == 81920


def test_sunny_16_is_3200_cd_m2():
    # Forum transcript of the ANSI exposure meter standard (read): f/16 and 1/S; 256 * 12.5.
    assert e.luminance_cd_m2(e.exposure_value(16, 1 / 100)) == pytest.approx(3200)


@pytest.mark.parametrize(("k", "pct"), [(12.5, 15.7), (14, 17.6)])
def test_the_reflectance_on_which_meters_agree(k, pct):
    # Encyclopedia article 'Light meter' (read): pi K / C.
    assert 100 * e.meter_reflectance(k, 250) == pytest.approx(pct, abs=0.05)


def test_a_meter_gives_the_film_8_over_s_lux_seconds():
    assert e.metered_exposure_lx_s(100) == pytest.approx(0.08, abs=0.0015)  # 8 / S rounded from 8.125 (read)


def test_light_does_not_change_with_the_film():
    assert e.light_value(8, 1 / 60, 400) == pytest.approx(e.light_value(8, 1 / 15, 100))


@pytest.mark.parametrize(
    ("call", "name"),
    [(lambda: e.exposure_value(0, 1), "f_number"), (lambda: e.exposure_value(8, -1), "seconds"),
     (lambda: e.light_value(8, 1, 0), "iso"), (lambda: e.luminance_cd_m2(1, 0), "iso"),
     (lambda: e.illuminance_lx(1, c=0), "c"), (lambda: e.ev_of_luminance(0), "cd_m2"),
     (lambda: e.meter_reflectance(-1), "k"), (lambda: e.metered_exposure_lx_s(100, q=0), "q"),
     (lambda: e.true_seconds(0), "marked_s"), (lambda: e.true_f_number(math.nan), "marked")],
)  # fmt: skip
def test_nothing_at_or_below_zero_is_taken(call, name):
    with pytest.raises(ValueError, match=rf"^{name} is .*; it must be above 0$"):
        call()


@given(st.floats(0.7, 90), st.floats(1e-4, 1e3), st.integers(-5, 5))
def test_opening_one_stop_and_halving_the_time_keep_ev(f_number, seconds, stops):
    other = e.exposure_value(f_number * 2 ** (stops / 2), seconds * 2**stops)
    assert other == pytest.approx(e.exposure_value(f_number, seconds), abs=1e-9)


# --- Marks

# Page on the arithmetic of camera settings (read: 1/1000 means 1/1024, 1/30 means 1/32); f-number tables (read). The
# design values are powers of two, calculated: exponent of the time in thirds or halves of a stop.
MARKED_TIMES = [
    ("full", "1/8000", -13), ("full", "1/1000", -10), ("full", "1/125", -7), ("full", "1/60", -6), ("full", "1/30", -5),
    ("full", "1/15", -4), ("full", "0.5", -1), ("full", "1", 0), ("full", "15", 4), ("full", "30", 5),
    ("third", "1/640", -28 / 3), ("third", "1/50", -17 / 3), ("third", "1/13", -11 / 3), ("third", "0.3", -5 / 3),
    ("third", "1/20", -13 / 3), ("third", "6", 8 / 3), ("third", "25", 14 / 3), ("half", "1/20", -9 / 2),
    ("half", "1/45", -11 / 2), ("half", "1/3", -3 / 2), ("half", "6", 5 / 2), ("half", "20", 9 / 2),
]  # fmt: skip
MARKED_APERTURES = [
    ("full", "1.4", 1.414214), ("full", "5.6", 5.656854), ("full", "11", 11.313708), ("full", "22", 22.627417),
    ("full", "90", 90.509668), ("third", "1.2", 1.259921), ("third", "3.5", 3.563595), ("third", "6.3", 6.349604),
    ("third", "13", 12.699208), ("third", "29", 28.508759), ("third", "57", 57.017518), ("half", "1.2", 1.189207),
    ("half", "4.8", 4.756828), ("half", "9.5", 9.513657), ("half", "13", 13.454343), ("half", "27", 26.908685),
]  # fmt: skip


@pytest.mark.parametrize(("step", "mark", "exponent"), MARKED_TIMES)
def test_marked_times_stand_for_powers_of_two(step, mark, exponent):
    found = {one.text: one for one in e.shutter_scale(step)}[mark]
    assert math.log2(found.true) == pytest.approx(exponent)
    assert e.true_seconds(found.marked, step) == found.true


@pytest.mark.parametrize(("step", "mark", "f_number"), MARKED_APERTURES)
def test_marked_apertures_stand_for_roots_of_powers_of_two(step, mark, f_number):
    found = {one.text: one for one in e.aperture_scale(step)}[mark]
    assert found.true == pytest.approx(f_number, abs=0.0000005)
    assert e.true_f_number(float(mark), step) == found.true


def test_a_mark_of_two_scales_needs_its_step():
    assert e.true_seconds(1 / 20, "third") != e.true_seconds(1 / 20, "half")


# Worst disagreement of mark and design value in stops, by arithmetic on the published scales; three decimals.
@pytest.mark.parametrize(("step", "worst"), [("full", 0.093), ("third", 0.093), ("half", 0.178)])
def test_times_disagree_with_their_marks_by_no_more_than_known(step, worst):
    found = max(abs(mark.error_stops) for mark in e.shutter_scale(step))
    assert found == pytest.approx(worst, abs=0.0005)
    assert found < e.WIDEST_MARK_ERROR_STOPS[step]


@pytest.mark.parametrize(("step", "worst"), [("full", 0.081), ("third", 0.141), ("half", 0.099)])
def test_apertures_disagree_with_their_marks_by_no_more_than_known(step, worst):
    found = max(2 * abs(mark.error_stops) for mark in e.aperture_scale(step) if mark.marked not in (0.8, 38, 54, 76))
    assert found == pytest.approx(worst, abs=0.0005)
    assert found < e.WIDEST_MARK_ERROR_STOPS[step]


@pytest.mark.parametrize("step", ["full", "half", "third"])
@pytest.mark.parametrize("scale", [e.shutter_scale, e.aperture_scale])
def test_scales_rise_by_one_step_at_a_time(scale, step):
    marks = scale(step)
    ratios = {round(math.log2(b.true / a.true), 9) for a, b in pairwise(marks)}
    assert len(ratios) == 1
    assert [mark.marked for mark in marks] == sorted({mark.marked for mark in marks})


def test_what_is_no_mark_stays_as_it_is():
    assert e.true_seconds(1 / 37) == 1 / 37
    assert e.true_f_number(8.7) == 8.7


def test_old_shutters_mark_what_they_mean():
    assert "1/25" in e.OLD_SHUTTER_MARKS


@given(st.floats(1e-4, 30))
def test_the_nearest_mark_is_within_a_sixth_of_a_stop(seconds):
    assert abs(math.log2(seconds / e.nearest_shutter_mark(seconds).true)) <= 1 / 6 + 0.34 * (seconds < 1.2e-4) + 1e-9


# --- As people write them


@pytest.mark.parametrize(
    ("written", "seconds"),
    [("1/250", 1 / 250), ("1/250s", 1 / 250), ("1/60th", 1 / 60), ("1 / 30", 1 / 30), ("1/2.5", 0.4), ('2"', 2),
     ("2s", 2),
     ("2 sec", 2), ("2″", 2), ("0.3", 0.3), ("0,3", 0.3), (".5", 0.5), ('0"3', 0.3), ('1"5', 1.5), ("1.5 s", 1.5),
     ("1", 1), ("2m30s", 150), ("2'30\"", 150), ("2m", 120), ("1h", 3600), ("90 seconds", 90), ("2''", 2)],
)  # fmt: skip
def test_times_are_read_as_people_write_them(written, seconds):
    assert e.parse_shutter(written) == e.ShutterTime("timed", pytest.approx(seconds))


@pytest.mark.parametrize(
    ("written", "mode", "seconds"),
    [("B", "B", None), ("bulb", "B", None), ("B 45s", "B", 45), ("b30", "B", 30), ("T", "T", None), ("T 2m", "T", 120),
     ("B: 1m30s", "B", 90), ("time 10", "T", 10)],
)  # fmt: skip
def test_held_shutters_carry_their_counted_seconds(written, mode, seconds):
    assert e.parse_shutter(written) == e.ShutterTime(mode, seconds)


@pytest.mark.parametrize("written", ["250", "30", "4", "2"])
def test_a_whole_number_alone_is_ambiguous(written):
    with pytest.raises(Refusal, match=rf"it may be 1/{written} s or {written} s. Write 1/{written} or {written}\""):
        e.parse_shutter(written)


def test_a_whole_number_is_read_where_the_caller_knows():
    assert e.parse_shutter("250", bare="fraction").seconds == 1 / 250
    assert e.parse_shutter("8", bare="seconds").seconds == 8


@pytest.mark.parametrize("written", ["", "x", "0", "1/0", "1/", "s", "1/250/3", "fast", "2x"])
def test_what_is_no_time_is_refused(written):
    with pytest.raises(Refusal, match="not a shutter time"):
        e.parse_shutter(written)


@pytest.mark.parametrize("written", ["1/64000", "30h", "0.00001"])
def test_times_no_shutter_has_are_refused(written):
    with pytest.raises(Refusal, match="outside 1/32000 s to 24 h"):
        e.parse_shutter(written)


@pytest.mark.parametrize("step", ["full", "half", "third"])
def test_every_marked_time_is_written_and_read_back(step):
    for mark in e.shutter_scale(step):
        text = e.format_seconds(mark.marked)
        assert e.parse_shutter(text).seconds == pytest.approx(mark.marked, rel=1e-3)


@given(st.integers(3, 16000))
def test_fractions_are_written_and_read_back(n):
    assert e.parse_shutter(e.format_seconds(1 / n)).seconds == pytest.approx(1 / n)


@given(st.integers(1, 86400))
def test_whole_seconds_are_written_and_read_back(seconds):
    assert e.parse_shutter(e.format_seconds(seconds)).seconds == pytest.approx(seconds, rel=6e-3)


@pytest.mark.parametrize(
    ("time", "text"),
    [(e.ShutterTime("timed", 1 / 250), "1/250"), (e.ShutterTime("B", 45), 'B 45"'), (e.ShutterTime("T", None), "T"),
     (e.ShutterTime("timed", 150), "2m30s"), (e.ShutterTime("timed", 7500), "2h05m"),
     (e.ShutterTime("timed", 0.3), '0.3"')],
)  # fmt: skip
def test_times_are_shown_as_logs_show_them(time, text):
    assert time.text == text


@pytest.mark.parametrize(
    ("written", "f_number"),
    [("f8", 8), ("f/5.6", 5.6), ("F 5,6", 5.6), ("f:4", 4), ("1:2.8", 2.8), ("ƒ/2", 2), ("5.6", 5.6), ("f8-11", 9.5),
     ("f/5.6-8", 6.7), ("f8 1/2", 9.5), ("f8½", 9.5), ("f/8 +1/3", 9), ("f11 1/2", 13), ("f/9.5", 9.5),
     ("f/2 2/3", 2.5)],
)  # fmt: skip
def test_apertures_are_read_as_people_write_them(written, f_number):
    assert e.parse_aperture(written) == f_number


@pytest.mark.parametrize(
    ("written", "message"),
    [("f", "not an f-number"), ("0", "not an f-number"), ("f/1000", "not an f-number"), ("wide", "not an f-number"),
     ("f8-22", "its ends are not next to each other"), ("f11-8", "its ends are not next to each other")],
)  # fmt: skip
def test_what_is_no_aperture_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        e.parse_aperture(written)


@pytest.mark.parametrize("step", ["full", "half", "third"])
def test_true_apertures_are_shown_as_their_marks(step):
    for mark in e.aperture_scale(step):
        if abs(2 * mark.error_stops) <= 0.15:
            assert e.format_f_number(mark.true, step) == mark.text


def test_apertures_between_the_marks_keep_their_number():
    assert e.format_f_number(6.0, "full") == "6"
    assert e.format_f_number(150, "full") == "150"
