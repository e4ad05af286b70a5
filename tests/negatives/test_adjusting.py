"""A person's changes of a recipe: laws that hold whatever the recipe is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.negatives.adjusting import RANGES, Adjustment, adjusted, neutral_balance
from dryside.negatives.recipe import Recipe, as_matrix, density_log2, layer_exposures
from dryside.negatives.rendering import PRINT
from dryside.negatives.small_frames import BARE_LEVEL, SmallFrame, develop_small

MATRIX = as_matrix([[1.1, -0.1, 0.0], [-0.05, 1.1, -0.05], [0.0, -0.1, 1.1]])
RECIPE = Recipe(MATRIX, (-2.0, -2.5, -3.0), colour_matrix=MATRIX, rendering=PRINT)


def light(recipe, density):
    return layer_exposures(recipe, density) @ np.asarray(recipe.colour_matrix).T


def values(name):
    return st.floats(*RANGES[name], allow_nan=False)


@given(stops=values("exposure_stops"), red=values("red_stops"), blue=values("blue_stops"))
def test_exposure_and_balance_multiply_light(stops, red, blue):
    density = np.array([[1.2, 1.6, 2.2]])
    changed = light(adjusted(RECIPE, Adjustment(exposure_stops=stops, red_stops=red, blue_stops=blue)), density)
    expected = light(RECIPE, density) * 2.0 ** (np.array([red, 0.0, blue]) + stops)
    assert changed == pytest.approx(expected, rel=1e-9)


@given(black=values("black"))
def test_black_is_taken_off_light_and_a_white_of_one_stays_one(black):
    density = np.array([[1.2, 1.6, 2.2]])
    changed = light(adjusted(RECIPE, Adjustment(black=black)), density)
    assert changed == pytest.approx((light(RECIPE, density) - black) / (1 - black), abs=1e-9)


def test_nothing_changed_is_the_same_recipe():
    assert adjusted(RECIPE, Adjustment()) is RECIPE


def test_a_tapped_patch_becomes_grey():
    density = np.array([[1.2, 1.6, 2.2]])
    red, blue = neutral_balance(RECIPE, density)
    made = light(adjusted(RECIPE, Adjustment(red_stops=red, blue_stops=blue)), density)
    assert np.ptp(made) < 1e-9


def test_numbers_out_of_range_and_no_numbers_are_brought_back():
    found = Adjustment.from_dict({"exposure_stops": 99, "contrast": float("nan"), "other": 3})
    assert (found.exposure_stops, found.contrast) == (4.0, 0.0)


def test_the_small_positive_is_the_reference_s():
    """Against the 64-bit closed form in `recipe.apply_reference`."""
    from dryside.negatives.recipe import apply_reference

    levels = np.linspace(3000, 45000, 40 * 60 * 3).reshape(40, 60, 3).astype(np.uint16)
    made = develop_small(SmallFrame(levels), RECIPE)
    expected = apply_reference(RECIPE, levels.astype(float), np.full(3, float(BARE_LEVEL))) * 255
    assert np.abs(made.astype(float) - np.floor(expected)).max() <= 1.01
    assert density_log2(np.full(3, float(BARE_LEVEL)), np.full(3, float(BARE_LEVEL))) == pytest.approx(np.zeros(3))
