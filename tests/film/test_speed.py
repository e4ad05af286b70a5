"""Film speed against the table that ISO 6, 5800 and 2240 share."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import speed
from dryside.film.refusal import Refusal

# Encyclopedia article 'Film speed' (pairs read); lower and upper ends of the intervals by arithmetic, as a published
# page on ISO 5800 describes the rounding. Arithmetic speed, degrees, lower, upper.
TABLE = """
6 9 5.62 7.08
8 10 7.08 8.91
10 11 8.91 11.22
12 12 11.22 14.13
16 13 14.13 17.78
20 14 17.78 22.39
25 15 22.39 28.18
32 16 28.18 35.48
40 17 35.48 44.67
50 18 44.67 56.23
64 19 56.23 70.79
80 20 70.79 89.13
100 21 89.13 112.20
125 22 112.20 141.25
160 23 141.25 177.83
200 24 177.83 223.87
250 25 223.87 281.84
320 26 281.84 354.81
400 27 354.81 446.68
500 28 446.68 562.34
640 29 562.34 707.95
800 30 707.95 891.25
1000 31 891.25 1122.02
1250 32 1122.02 1412.54
1600 33 1412.54 1778.28
2000 34 1778.28 2238.72
2500 35 2238.72 2818.38
3200 36 2818.38 3548.13
4000 37 3548.13 4466.84
5000 38 4466.84 5623.41
6400 39 5623.41 7079.46
"""
ROWS = [tuple(float(cell) for cell in line.split()) for line in TABLE.split("\n") if line]
HALF_LAST_DIGIT = 0.005


@pytest.mark.parametrize(("iso", "degrees", "lower", "upper"), ROWS)
def test_the_published_table_holds(iso, degrees, lower, upper):
    assert speed.speed_degrees(iso) == degrees
    assert speed.speed_of_degrees(int(degrees)) == iso
    assert speed.speed_interval(int(degrees)) == (
        pytest.approx(lower, abs=HALF_LAST_DIGIT),
        pytest.approx(upper, abs=HALF_LAST_DIGIT),
    )


@pytest.mark.parametrize(("iso", "degrees", "lower", "upper"), ROWS)
def test_measured_speeds_within_a_row_are_stated_as_it(iso, degrees, lower, upper):
    assert speed.nearest_standard_speed(lower + 2 * HALF_LAST_DIGIT) == iso
    assert speed.nearest_standard_speed(upper - 2 * HALF_LAST_DIGIT) == iso


def test_a_wrong_row_would_be_caught():
    assert speed.speed_degrees(100) != 20
    assert not ROWS[0][2] - HALF_LAST_DIGIT < speed.exact_speed(9) - 1 < ROWS[0][3]


@given(st.integers(9, 45))
def test_degrees_and_speed_go_round(degrees):
    assert speed.speed_degrees(speed.speed_of_degrees(degrees)) == degrees


@given(st.floats(6, 20000), st.floats(6, 20000))
def test_more_speed_never_has_fewer_degrees(a, b):
    low, high = sorted((a, b))
    assert speed.speed_degrees(low) <= speed.speed_degrees(high)


@pytest.mark.parametrize("degrees", [8, 46])
def test_degrees_off_the_table_are_refused(degrees):
    with pytest.raises(ValueError, match=f"degrees is {degrees}; standard speeds run from 9 to 45"):
        speed.speed_of_degrees(degrees)


@pytest.mark.parametrize("iso", [0, -100, float("nan")])
def test_a_speed_must_be_above_zero(iso):
    with pytest.raises(ValueError, match=r"iso is .*; it must be above 0"):
        speed.speed_degrees(iso)


# --- Push and pull


@pytest.mark.parametrize(
    ("box", "index", "stops"),
    [(400, 1600, Fraction(2)), (400, 800, Fraction(1)), (100, 50, Fraction(-1)), (125, 200, Fraction(2, 3)),
     (400, 320, Fraction(-1, 3)), (400, 400, Fraction(0)), (3200, 6400, Fraction(1)), (64, 80, Fraction(1, 3))],
)  # fmt: skip
def test_push_is_the_difference_of_the_marks_in_thirds(box, index, stops):
    assert speed.push_for_index(box, index) == stops
    assert speed.index_for_push(box, stops) == index


@given(st.sampled_from([row[0] for row in speed.STANDARD_SPEEDS[:25]]), st.integers(0, 9))
def test_push_and_index_go_round(box, thirds):
    stops = Fraction(thirds, 3)
    assert speed.push_for_index(box, speed.index_for_push(box, stops)) == stops


@pytest.mark.parametrize(
    ("written", "stops"),
    [("+1", 1), ("-2/3", Fraction(-2, 3)), ("1 1/2", Fraction(3, 2)), ("push 2", 2), ("pushed 1", 1), ("pull 1", -1),
     ("N+1", 1), ("N-1", -1), ("N", 0), ("", 0), ("0", 0), ("+0", 0), ("0.5", Fraction(1, 2)), ("0,5", Fraction(1, 2)),
     ("0.33", Fraction(1, 3)), ("-0.7", Fraction(-2, 3)), ("1.3", Fraction(4, 3)), ("+1 2/3", Fraction(5, 3)),
     ("−1", -1), ("2 stops", 2), ("+1 stop", 1), ("1+1/3", Fraction(4, 3)), ("normal", 0)],
)  # fmt: skip
def test_stops_are_read_as_people_write_them(written, stops):
    assert speed.parse_push(written) == stops


def test_quarters_of_a_stop_are_refused_with_near_ones():
    with pytest.raises(Refusal, match=r"push '\+3/4': neither thirds nor halves of a stop. Write \+1/2 or \+2/3"):
        speed.parse_push("+3/4")


@pytest.mark.parametrize("written", ["x", "1/0", "++1", "1.2.3", "one", "+1 1"])
def test_what_is_no_number_of_stops_is_refused(written):
    with pytest.raises(Refusal, match=r"not a number of stops\. Write"):
        speed.parse_push(written)


@given(st.integers(-30, 30), st.sampled_from([1, 2, 3]))
def test_written_stops_read_back_the_same(numerator, denominator):
    stops = Fraction(numerator, denominator)
    assert speed.parse_push(speed.format_push(stops)) == stops
    assert speed.format_push(float(stops)) == speed.format_push(stops)


# --- As people write speeds


@pytest.mark.parametrize(
    ("written", "iso"),
    [("400", 400), ("ISO 400", 400), ("iso400", 400), ("ISO 400 ", 400), ("@ 800", 800),
     ("400/27°", 400), ("ISO 400/27", 400), ("27°", 400),
     ("27 DIN", 400), ("EI 1600", 1600), ("@800", 800), ("400 ASA", 400), ("EI1600", 1600)],
)  # fmt: skip
def test_speeds_are_read_as_people_write_them(written, iso):
    assert speed.parse_speed(written) == iso


@pytest.mark.parametrize(
    ("written", "message"),
    [("400/26", "the two parts disagree. ISO 400 is 27°"), ("0", "not an ISO speed"), ("fast", "not an ISO speed"),
     ("99°", "no film has 99°"), ("-100", "not an ISO speed")],
)  # fmt: skip
def test_what_is_no_speed_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        speed.parse_speed(written)


@given(st.sampled_from([row[0] for row in speed.STANDARD_SPEEDS]))
def test_a_written_speed_reads_back(iso):
    assert speed.parse_speed(speed.format_speed(iso)) == iso


# --- Speed points. Formulas of the three standards are values from memory; the anchors below are worked by hand from
# them.


def test_black_and_white_speed_point():
    assert speed.iso6_speed(0.008) == pytest.approx(100)  # 0.8 / Hm


def test_colour_negative_speed_point():
    assert speed.iso5800_speed(0.01, 0.02) == pytest.approx(100)  # Hm = sqrt(2) / 100


def test_colour_reversal_speed_point():
    assert speed.iso2240_speed(0.01, 1.0) == pytest.approx(100)  # Hm = 0.1


def test_metered_exposure_lies_3_34_stops_above_the_black_and_white_speed_point():
    # 8.125 / S against 0.8 / S: log10 of the ratio is 1.007 (arithmetic on ISO 6 and ISO 2720 with q 0.65, K 12.5).
    assert speed.iso6_speed(0.08125) == pytest.approx(100 / 10**1.007, rel=0.0012)


@pytest.mark.parametrize(
    "call", [lambda: speed.iso6_speed(0), lambda: speed.iso5800_speed(1, -1), lambda: speed.iso2240_speed(0, 1)]
)
def test_exposures_must_be_above_zero(call):
    with pytest.raises(ValueError, match=r"_lx_s is .*; it must be above 0"):
        call()


@given(st.floats(1e-4, 10), st.floats(1e-4, 10))
def test_less_exposure_needed_is_more_speed(a, b):
    low, high = sorted((a, b))
    assert speed.iso6_speed(low) >= speed.iso6_speed(high)
