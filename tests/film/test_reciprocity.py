"""Reciprocity laws against published corrections. Film names stand here only to say whose values are checked."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import reciprocity as r
from dryside.film.refusal import Refusal

# A maker's technical note 'Reciprocity failure compensation', exponents in two copies (read); corrected seconds at 2,
# 5, 10, 30, 60 and 120 s by arithmetic on its formula, two decimals.
POWERS = {
    1.25: (2.38, 7.48, 17.78, 70.21, 166.99, 397.17),  # Ortho Plus
    1.26: (2.39, 7.60, 18.20, 72.64, 173.97, 416.65),  # FP4 Plus, Delta 100, Kentmere 100
    1.30: (2.46, 8.10, 19.95, 83.23, 204.93, 504.59),  # Kentmere 400
    1.31: (2.48, 8.23, 20.42, 86.11, 213.49, 529.33),  # HP5 Plus, XP2 Super
    1.33: (2.51, 8.50, 21.38, 92.17, 231.71, 582.52),  # Pan F Plus, Delta 3200
    1.41: (2.66, 9.67, 25.70, 120.99, 321.51, 854.37),  # Delta 400
    1.43: (2.69, 9.99, 26.92, 129.50, 348.94, 940.22),  # SFX 200
}
METERED_S = (2, 5, 10, 30, 60, 120)


@pytest.mark.parametrize(("exponent", "corrected"), POWERS.items())
def test_powers(exponent, corrected):
    law = r.reciprocity_law(f"power {exponent:.2f}")
    found = [r.corrected(one, law).corrected_s for one in METERED_S]
    assert found == pytest.approx(corrected, abs=0.005)


def test_the_makers_own_example():
    # p = 1.31, 10 s -> 20.4 s, rounded to 20 s (read).
    assert r.corrected(10, r.LAWS["power 1.31"]).corrected_s == pytest.approx(20.4, abs=0.05)


def test_a_wrong_exponent_would_be_caught():
    assert abs(r.corrected(10, r.LAWS["power 1.30"]).corrected_s - 20.4) > 0.05


@pytest.mark.parametrize("metered_s", [1 / 1000, 0.5, 1.0])
def test_powers_correct_nothing_up_to_a_second(metered_s):
    assert r.corrected(metered_s, r.LAWS["power 1.43"]).corrected_s == metered_s


# B. Barnbaum, The Art of Photography (1994), p. 77, as tabulated on a page (read): Tri-X Pan and T-Max 100.
TABLES = {
    "table, conventional grain": {2: 3, 5: 8, 10: 18, 30: 75, 120: 420, 600: 3000, 1800: 14400},
    "table, tabular grain": {2: 2.5, 5: 7, 10: 15, 30: 50, 120: 270, 600: 1680, 1800: 6600},
    "table, old rule": {10: 50, 100: 1200},  # 10 s read, 100 s from memory
}


@pytest.mark.parametrize(("name", "rows"), TABLES.items())
def test_tables_give_their_rows(name, rows):
    for metered_s, corrected_s in rows.items():
        assert r.corrected(metered_s, r.reciprocity_law(name)).corrected_s == pytest.approx(corrected_s)


def test_a_table_is_read_between_its_rows():
    between = r.corrected(math.sqrt(10 * 15), r.LAWS["table, conventional grain"]).corrected_s
    assert between == pytest.approx(math.sqrt(18 * 30))


def test_no_single_power_fits_the_published_table():
    rows = TABLES["table, conventional grain"]
    powers = [math.log(corrected) / math.log(metered) for metered, corrected in rows.items()]
    assert max(powers) - min(powers) > 0.3


def test_the_additive_law():
    # A forum's published measurements (read): t + 0.169 t^1.62 for Tri-X, 10 s -> 17.0 s.
    assert r.corrected(10, r.LAWS["additive 0.169"]).corrected_s == pytest.approx(17.0, abs=0.05)


@given(st.sampled_from(sorted(r.LAWS)), st.floats(0.001, 3000), st.floats(0.001, 3000))
def test_a_longer_time_is_never_corrected_to_a_shorter_one(name, a, b):
    law, (low, high) = r.LAWS[name], sorted((a, b))
    assert r.corrected(low, law).corrected_s <= r.corrected(high, law).corrected_s
    assert r.corrected(low, law).corrected_s >= low
    assert r.corrected(low, law).added_stops >= 0


@pytest.mark.parametrize(
    ("name", "metered_s", "beyond"),
    [("table, old rule", 100, False), ("table, old rule", 101, True), ("power 1.31", 3600, False),
     ("power 1.31", 7200, True), ("additive 0.169", 7200, True)],
)  # fmt: skip
def test_times_beyond_the_published_ones_are_marked(name, metered_s, beyond):
    assert r.corrected(metered_s, r.LAWS[name]).beyond is beyond


def test_every_law_names_its_source():
    assert all(law.source for law in r.LAWS.values())


@pytest.mark.parametrize(("name", "law"), [("Power 1.28", r.PowerLaw), ("additive  0.08", r.AdditiveLaw)])
def test_a_stock_may_state_its_own_number(name, law):
    found = r.reciprocity_law(name)
    assert isinstance(found, law)
    assert found.source == "stated with the stock"


@pytest.mark.parametrize(
    ("name", "message"),
    [("tabel, old rule", "no law of that name. Near it: table, old rule"),
     ("power 3", "exponent is 3.0; it must be 1 to 2"), ("power x", "no law of that name. Near it: power")],
)  # fmt: skip
def test_what_is_no_law_is_refused(name, message):
    with pytest.raises(Refusal, match=message):
        r.reciprocity_law(name)


@pytest.mark.parametrize(
    ("make", "message"),
    [(lambda: r.PowerLaw(0.9, "x"), "exponent is 0.9"),
     (lambda: r.PowerLaw(1.3, "x", threshold_s=0.5), "threshold_s is 0.5"),
     (lambda: r.AdditiveLaw(-0.1, "x"), "coefficient is -0.1"), (lambda: r.TableLaw(((2, 3),
     (2, 4)), "x"), "rows must rise"),
     (lambda: r.TableLaw(((2, 1.5),), "x"), "rows must rise"),
     (lambda: r.corrected(0, r.LAWS["none"]), "metered_s is 0")],
)  # fmt: skip
def test_laws_of_no_sense_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
