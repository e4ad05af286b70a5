"""Film base from samples of the rebate."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.negatives.base import FilmBase, NoBase, measure_base, pool_bases

# Status M densities of a colour negative's unexposed film: FACTS table of one control strip (R 0.32, G 0.63, B 0.72).
DENSITY = np.array([0.32, 0.63, 0.72])


def rebate(random, clear=200, printed=60, holes=25, spread=0.004):
    base = 10 ** -(DENSITY + random.normal(0, spread, (clear, 3)))
    marks = 10 ** -(DENSITY + random.uniform(0.3, 1.2, (printed, 1)))
    bare = np.ones((holes, 3)) * random.uniform(0.9, 1.0, (holes, 1))
    return random.permutation(np.concatenate([base, marks, bare]))


def test_clear_film_is_found_among_print_and_holes():
    found = measure_base(rebate(np.random.default_rng(1)))
    assert found
    np.testing.assert_allclose(found.density, DENSITY, atol=0.003)
    assert found.spread < 0.01
    assert found.samples >= 150


def test_powers_of_two_and_ten_say_the_same():
    base = FilmBase((0.30103, 0.60206, 0.90309), 0.0, 10)
    np.testing.assert_allclose(base.density_log2, [1, 2, 3], rtol=1e-5)


@given(st.floats(0.05, 5.0), st.integers(0, 1000))
def test_another_exposure_of_the_capture_adds_one_constant_to_all_densities(factor, seed):
    samples = rebate(np.random.default_rng(seed))
    once, again = measure_base(samples), measure_base(samples * factor)
    np.testing.assert_allclose(np.subtract(again.density, once.density), -np.log10(factor), atol=1e-9)


def test_too_few_samples_are_no_base_and_say_so():
    found = measure_base(np.full((5, 3), 0.3))
    assert not found
    assert "5 clean samples" in found.why


def test_samples_that_agree_on_nothing_are_no_base():
    random = np.random.default_rng(2)
    found = measure_base(10 ** -random.uniform(0, 3, (400, 3)))
    assert isinstance(found, NoBase)


def test_nan_and_zero_are_left_out():
    samples = rebate(np.random.default_rng(3))
    spoilt = np.concatenate([samples, np.full((50, 3), np.nan), np.zeros((50, 3))])
    np.testing.assert_allclose(measure_base(spoilt).density, measure_base(samples).density, atol=1e-12)


def test_a_rolls_base_is_the_median_of_its_captures():
    pooled = pool_bases([FilmBase((d, d + 0.3, d + 0.5), 0.01, 20) for d in (0.2, 0.21, 0.9)])
    assert pooled.density == pytest.approx((0.21, 0.51, 0.71))


def test_a_roll_without_captures_has_no_base():
    assert not pool_bases([])
