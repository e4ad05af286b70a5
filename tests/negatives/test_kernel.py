from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.negatives.kernel import HELD, TABLE_BITS, develop_rows
from dryside.negatives.kernel_numbers import TABLE_BITS as TABLE_BITS_OF_NUMBERS
from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.recipe import Recipe, apply_reference
from dryside.negatives.rendering import SCENE
from dryside.negatives.spaces import ADOBE_RGB, DISPLAY_P3, print_rendering

# A colour negative's numbers: unmixing, contrast, orange base, toe and shoulder.
NEGATIVE = Recipe(
    density_matrix=((1.78, 0.07, 0.02), (-0.09, 1.81, -0.30), (0.08, -0.57, 1.90)),
    offset=(-3.1, -4.6, -6.5),
    colour_matrix=((1.47, -0.43, -0.04), (-0.06, 1.03, 0.03), (-0.03, 0.0, 1.03)),
)
TOE = {"toe": (0.09, 0.08, 0.08)}
SHOULDER = {**TOE, "shoulder": (0.001, 0.0008, 0.001)}
SLIDE = Recipe(((-0.62, 0.02, 0.02), (0.03, -0.62, 0.03), (0.02, 0.05, -0.6)), (0.0, 0.0, 0.0))
RECIPES = {
    "scene, power law": NEGATIVE,
    "scene, toe": replace(NEGATIVE, **TOE),
    "scene, toe and shoulder": replace(NEGATIVE, **SHOULDER),
    "print": replace(NEGATIVE, **SHOULDER, rendering=print_rendering()),
    "print, power law": replace(NEGATIVE, rendering=print_rendering()),
    "print, Display P3": replace(NEGATIVE, **TOE, rendering=print_rendering(DISPLAY_P3)),
    "print, Adobe RGB": replace(NEGATIVE, **TOE, rendering=print_rendering(ADOBE_RGB)),
    "slide": SLIDE,
}
LIGHT = np.array([55000.0, 52000.0, 48000.0])


def film(rows=24, columns=700, seed=1, spread=0.05):
    """Levels of a negative's densities: greys from base to dense, colours around them."""
    rng = np.random.default_rng(seed)
    base = np.array([0.25, 0.6, 0.85])
    density = base + rng.uniform(0.05, 1.3, (rows, columns, 1)) + rng.normal(0, spread, (rows, columns, 3))
    return np.clip(np.rint(LIGHT * 10.0**-density), 1, 65535).astype(np.uint16)


def develop(recipe, pixels, light=LIGHT, first_row=0, cell=8):
    """The kernel over even or mapped light in levels (shape (3,) or (map rows, columns, 3))."""
    wide = np.broadcast_to(
        np.atleast_2d(light).reshape(-1, *np.shape(light)[-2:] if np.ndim(light) == 3 else (1, 3)),
        (np.shape(light)[0] if np.ndim(light) == 3 else 1, pixels.shape[1], 3),
    )
    log2_light = np.ascontiguousarray(np.log2(wide) - 16, np.float32).reshape(len(wide), -1)
    n = kernel_numbers(recipe)
    out = np.empty_like(pixels)
    develop_rows(
        pixels.reshape(len(pixels), -1),
        log2_light,
        first_row,
        cell,
        out.reshape(len(out), -1),
        n.constants,
        n.shoulder,
        n.prints,
        n.table,
    )
    return out


@pytest.mark.parametrize("name", RECIPES)
def test_the_kernel_is_within_three_levels_of_float64(name):
    pixels = film()
    exact = np.floor(apply_reference(RECIPES[name], pixels, LIGHT) * 65535 + 0.5)
    assert np.abs(develop(RECIPES[name], pixels) - exact).max() <= 3


def test_the_kernel_and_its_numbers_index_one_table():
    assert TABLE_BITS == TABLE_BITS_OF_NUMBERS


@given(seed=st.integers(0, 10**6), rows=st.integers(1, 4), columns=st.integers(1, 600))
def test_any_size_gives_each_pixel_the_same_value(seed, rows, columns):
    recipe = RECIPES["print"]
    pixels = film(rows, columns, seed)
    exact = np.floor(apply_reference(recipe, pixels, LIGHT) * 65535 + 0.5)
    assert np.abs(develop(recipe, pixels) - exact).max() <= 3


def test_a_map_of_light_is_followed_between_its_cells():
    cell, rows, columns = 8, 40, 300
    rng = np.random.default_rng(5)
    light = LIGHT * rng.uniform(0.7, 1.0, (rows // cell, columns, 3))
    pixels = film(rows, columns)
    place = np.clip((np.arange(rows) + 0.5) / cell - 0.5, 0, len(light) - 1)
    between = np.stack(
        [[np.interp(place, np.arange(len(light)), np.log2(light[:, x, c])) for c in range(3)] for x in range(columns)]
    )
    exact = np.floor(apply_reference(RECIPES["print"], pixels, np.exp2(between.transpose(2, 0, 1))) * 65535 + 0.5)
    assert np.abs(develop(RECIPES["print"], pixels, light, cell=cell) - exact).max() <= 3


def test_rows_further_down_find_their_own_light():
    light = LIGHT * np.linspace(0.6, 1.0, 10)[:, None, None] * np.ones((10, 200, 1))
    pixels = film(80, 200)
    whole = develop(RECIPES["print"], pixels, light)
    part = develop(RECIPES["print"], pixels[33:50], light, first_row=33)
    assert np.array_equal(part, whole[33:50])


def test_black_and_clipped_pixels_give_samples_not_noise():
    pixels = np.array([[[0, 0, 0], [65535, 65535, 65535], [1, 65535, 0]]], np.uint16)
    for recipe in RECIPES.values():
        out = develop(recipe, pixels)
        assert out.shape == pixels.shape
    assert (develop(RECIPES["print"], pixels)[0, 0] > 60000).all()
    assert (develop(RECIPES["print"], pixels)[0, 1] < 500).all()


def test_a_recipe_of_large_numbers_that_nearly_cancel_is_held_and_right_where_it_matters():
    wild = replace(
        NEGATIVE, density_matrix=((9.0, -7.3, 0.1), (-3.0, 9.0, -4.4), (0.1, -7.5, 9.0)), offset=(-2.0, -3.0, -4.0)
    )
    pixels = film(spread=0.0)
    exact = np.floor(apply_reference(wild, pixels, LIGHT) * 65535 + 0.5)
    assert np.abs(develop(wild, pixels) - exact).max() <= 12
    extremes = np.array([[[1, 65535, 1], [65535, 1, 65535]]], np.uint16)
    assert develop(wild, extremes).shape == extremes.shape


def test_the_scene_file_holds_light_over_full_scale():
    # Unit recipe: pixel over light is the scene itself, at SCENE's full scale.
    unit = Recipe(((-1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)), (0.0, 0.0, 0.0), rendering=SCENE)
    pixels = film()
    light = pixels / LIGHT
    assert np.abs(develop(unit, pixels) - light / SCENE.full_scale * 65535).max() <= 1


def test_a_recipe_beyond_what_float32_holds_is_held_and_stays_within_three_levels():
    # A sensor whose layers overlap: large numbers that nearly cancel along the greys.
    overlapping = Recipe(
        density_matrix=((9.3, -9.9, 2.4), (-6.4, 10.4, -2.2), (3.8, -18.9, 17.0)),
        offset=(-0.45, -0.45, -0.5),
        colour_matrix=NEGATIVE.colour_matrix,
        toe=(0.09, 0.08, 0.08),
        shoulder=(0.001, 0.0008, 0.001),
    )
    rng = np.random.default_rng(4)
    density = 0.1 + rng.uniform(0.02, 0.5, (24, 300, 1)) + rng.normal(0, 0.004, (24, 300, 3))
    pixels = np.clip(np.rint(60000 * 10.0**-density), 1, 65535).astype(np.uint16)
    pixels[0, 0] = (1, 65535, 1)  # far outside of anything: 3 times what float32 holds
    assert kernel_numbers(overlapping).shoulder == HELD
    light = np.full(3, 60000.0)
    found, wanted = (
        develop(overlapping, pixels, light)[1:].astype(float),
        apply_reference(overlapping, pixels[1:].astype(float), light),
    )
    assert ((wanted > 0.05) & (wanted < 0.95)).mean() > 0.1  # there is something to compare
    levels = np.abs(found - np.clip(wanted, 0, 1) * 65535)
    assert levels.max() <= 3
