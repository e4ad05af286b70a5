"""The closed form that everything per pixel goes through."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.negatives.recipe import IDENTITY, Recipe, apply_reference, as_matrix, density_log2, layer_exposures
from dryside.negatives.rendering import PRINT

LOG10_2 = np.log10(2.0)
NO_MIXING = np.eye(3)
GAMMA = np.array([0.55, 0.60, 0.65])  # usual slopes of colour negatives (handbook range, from memory)
D_MIN = np.array([0.32, 0.63, 0.72])  # a control strip's published Status M base


def straight(mixing=NO_MIXING):
    """The recipe of D = D_MIN + mixing @ (GAMMA log10 H)."""
    matrix = np.diag(1 / GAMMA) @ np.linalg.inv(mixing)
    return Recipe(as_matrix(matrix), tuple(-matrix @ (D_MIN / LOG10_2)))


def test_a_ramp_through_a_straight_line_comes_back():
    log_h = np.linspace(-1, 2, 31)[:, None] * np.ones(3)
    film = 10 ** -(D_MIN + GAMMA * log_h)
    back = layer_exposures(straight(), density_log2(film, np.ones(3)))
    np.testing.assert_allclose(np.log10(back), log_h, atol=1e-12)


def test_mixed_densities_are_told_apart():
    mixing = np.array([[1.0, 0.12, 0.03], [0.15, 1.0, 0.10], [0.05, 0.22, 1.0]])
    log_h = np.random.default_rng(1).uniform(-0.5, 1.5, (50, 3))
    film = 10 ** -(D_MIN + (GAMMA * log_h) @ mixing.T)
    back = layer_exposures(straight(mixing), density_log2(film, np.ones(3)))
    np.testing.assert_allclose(np.log10(back), log_h, atol=1e-10)


@given(st.floats(0.01, 100))
def test_the_unit_of_a_capture_vanishes_against_its_flat(factor):
    film, flat = np.array([[0.2, 0.1, 0.05]]), np.array([0.9, 0.8, 0.7])
    np.testing.assert_allclose(density_log2(film * factor, flat * factor), density_log2(film, flat), atol=1e-9)


def test_one_stop_is_the_printed_step_of_density():
    # FACTS 10: D step 0.1656 / 0.1806 / 0.1957 at gamma 0.55 / 0.60 / 0.65, from 0.30103 log exposure a stop.
    film = 10 ** -(D_MIN + np.array([[0, 0, 0], [0.1656, 0.1806, 0.1957]]))
    back = layer_exposures(straight(), density_log2(film, np.ones(3)))
    np.testing.assert_allclose(np.log2(back[1] / back[0]), 1.0, atol=0.00005 / 0.55 / LOG10_2 + 1e-4)


@pytest.mark.parametrize("latitude", [1.5, 2.5, 3.5])
def test_toe_and_shoulder_invert_the_characteristic_curve(latitude):
    """D = gamma log10((1 + E / E0) / (1 + E / E1)): the inverse is E0 (u - 1) / (1 - u E0 / E1)."""
    exposure = np.logspace(-2, latitude - 0.2, 40)[:, None] * np.ones(3)
    density = GAMMA * np.log10((1 + exposure) / (1 + exposure * 10**-latitude))
    recipe = Recipe(as_matrix(np.diag(1 / GAMMA)), (0, 0, 0), (1, 1, 1), (10**-latitude,) * 3)
    back = layer_exposures(recipe, density / LOG10_2)
    # Above the film's last tenth the inverse goes on as a straight line instead.
    straight_part = 1 - 10**-latitude * (1 + exposure) / (1 + exposure * 10**-latitude) > 0.1
    assert straight_part.sum() > 90
    np.testing.assert_allclose(back[straight_part], exposure[straight_part], rtol=1e-9)


def test_the_curve_never_turns_back_at_the_films_densest():
    recipe = Recipe(IDENTITY, (0, 0, 0), (1, 1, 1), (0.02, 0.02, 0.02))
    exposed = layer_exposures(recipe, np.linspace(0, 14, 200)[:, None] * np.ones(3))
    assert (np.diff(exposed, axis=0) > 0).all()


def test_a_recipe_survives_json_exactly():
    recipe = Recipe(as_matrix(np.random.default_rng(2).normal(size=(3, 3))), (0.1, 0.2, 0.3), rendering=PRINT)
    assert Recipe.from_dict(json.loads(json.dumps(recipe.as_dict()))) == recipe


def test_one_stop_more_doubles_a_scenes_light():
    recipe = straight()
    film = 10 ** -(D_MIN + np.array([[0.3, 0.3, 0.3]]))
    once, twice = (apply_reference(one, film, np.ones(3)) for one in (recipe, recipe.exposed(-1)))
    np.testing.assert_allclose(once, 2 * twice)


def test_shape_is_kept_and_nan_stays_nan():
    film = np.full((2, 4, 3), 0.3)
    film[0, 0, 0] = np.nan
    out = apply_reference(straight(), film, np.ones(3))
    assert out.shape == (2, 4, 3)
    assert np.isnan(out[0, 0, 0])
    assert np.isfinite(out[1]).all()


def test_black_pixels_stay_finite():
    assert np.isfinite(apply_reference(straight(), np.zeros((1, 3)), np.ones(3))).all()
