"""Films by wavelength: published ranges, densitometry, and the curves' laws."""

import numpy as np
import pytest

from chart_film import film, log_exposure
from dryside.demo.simulator.spectral import (
    WAVELENGTHS_NM,
    Curve,
    blackbody,
    sensitometric_density,
    spectral_density,
)
from dryside.demo.simulator.spectral_random import (
    as_dense_as_published,
    random_camera,
    random_light,
    random_negative,
    random_reversal,
)

# Bells near the Status M spectral products (ISO 5-3; peaks 640, 540, 450 nm read from colormath 3.0.0's tables).
STATUS_M = np.stack(
    [np.exp(-0.5 * ((WAVELENGTHS_NM - nm) / width) ** 2) for nm, width in ((643, 11), (544, 16), (450, 14))]
)


def status_m(stock, log_h):
    from dryside.demo.simulator.spectral import dye_amounts

    return sensitometric_density(spectral_density(stock, dye_amounts(stock, log_h)), STATUS_M)


def test_film_bases_lie_where_control_strips_do():
    """Published: red 0.15-0.35, green 0.50-0.70, blue 0.70-1.00. The invented masks are thinner, at most by 0.3."""
    bases = np.array([status_m(random_negative(np.random.default_rng(i)), np.full((1, 3), -9.0))[0] for i in range(40)])
    middle = np.median(bases, axis=0)
    assert (np.array([0.05, 0.20, 0.40]) < middle).all()
    assert (middle < np.array([0.40, 0.80, 1.10])).all()
    assert (np.diff(bases, axis=1) > 0).all()  # orange: blue densest, then green, then red


def test_slopes_are_those_of_colour_negatives():
    """Usual slope of the straight line: 0.55 to 0.65, a little room on both sides (handbook range, from memory)."""
    slopes = []
    for seed in range(20):
        stock = random_negative(np.random.default_rng(seed))
        log_h = np.array([[-0.6] * 3, [0.0] * 3])
        low, high = status_m(stock, log_h)
        slopes.append((high - low) / 0.6)
    assert np.all(np.abs(np.median(slopes, axis=0) - 0.6) < 0.13)


def test_a_grey_card_has_the_density_the_makers_sheets_give():
    """Red Status M of an 18 % card, normally exposed: 0.75 to 0.95 in the sheet; the median at most 0.3 off."""
    reds = []
    for seed in range(30):
        stock = random_negative(np.random.default_rng(seed))
        reds.append(status_m(stock, np.full((1, 3), np.log10(0.18)))[0, 0])
    assert 0.45 < np.median(reds) < 1.25


def test_dense_stocks_have_the_published_densities():
    """Status M: base 0.15-0.30, 0.50-0.70, 0.75-1.00 (from memory); red of a grey card 0.75-0.95 (maker's sheet)."""
    bases, greys = [], []
    for seed in range(40):
        random = np.random.default_rng(seed)
        stock = as_dense_as_published(random_negative(random), random)
        bases.append(status_m(stock, np.full((1, 3), -9.0))[0])
        greys.append(status_m(stock, np.full((1, 3), np.log10(0.18)))[0, 0])
    middle = np.median(bases, axis=0)
    assert (np.array([0.15, 0.50, 0.75]) < middle).all()
    assert (middle < np.array([0.30, 0.70, 1.00])).all()
    assert 0.75 < np.median(greys) < 0.95


def test_transmittance_and_density_are_each_others_powers_of_ten():
    flat = np.zeros((1, len(WAVELENGTHS_NM))) + np.array([[0.30103], [1.0], [2.0], [3.0]])
    np.testing.assert_allclose(sensitometric_density(flat, STATUS_M), flat[:, :3], atol=1e-12)


@pytest.mark.parametrize("sharpness", [1.0, 1.5, 2.2])
def test_a_curve_runs_from_toe_over_its_slope_to_its_shoulder(sharpness):
    curve = Curve(0.6, -1.7, 3.0, sharpness)
    x = np.linspace(-6, 5, 500)
    density = curve(x)
    assert (np.diff(density) >= 0).all()
    assert density[0] == pytest.approx(0.0, abs=0.02)
    assert density[-1] == pytest.approx(1.8, abs=0.02)
    assert np.max(np.diff(density) / np.diff(x)) == pytest.approx(0.6, abs=0.06)


def test_slides_fall_with_exposure_and_end_clear():
    stock = random_reversal(np.random.default_rng(1))
    density = status_m(stock, np.linspace(-5, 2, 30)[:, None] * np.ones(3))
    assert (np.diff(density, axis=0) <= 1e-9).all()
    assert density[-1].max() < 0.35
    assert density[0].min() > 2.0


def test_a_neutral_exposes_the_layers_alike_in_its_own_light():
    stock = random_negative(np.random.default_rng(2))
    white = stock.sensitivity @ blackbody(5500)
    np.testing.assert_allclose(white, 1.0)


def test_the_table_for_pictures_agrees_with_the_wavelengths():
    stock = film("c41", 3)
    light = np.random.default_rng(4).uniform(0, 1, (200, 3)).astype(np.float32) ** 2
    exact = stock.by_log_exposure(np.log10(np.maximum(light @ stock.from_linear_srgb.T, 1e-9)))
    np.testing.assert_allclose(np.log10(stock(light)), np.log10(exact), atol=0.003)


def test_white_is_white_to_the_layers():
    stock = film("c41", 3)
    once = log_exposure(stock, np.ones((1, len(WAVELENGTHS_NM))))
    np.testing.assert_allclose(np.log10(np.ones((1, 3)) @ stock.from_linear_srgb.T), once, atol=1e-6)


@pytest.mark.parametrize("kind", ["phosphor LED", "three diodes", "fluorescent", "tungsten", "daylight"])
def test_lights_are_finite_and_reach_all_three_filters(kind):
    name, light = random_light(np.random.default_rng(5), kind)
    _, camera = random_camera(np.random.default_rng(6), "camera")
    assert name == kind
    assert np.isfinite(light).all()
    assert ((camera * light).sum(axis=1) > 0.01 * light.sum()).all()
