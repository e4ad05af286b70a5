"""Silver negatives: one density, paper-like contrast."""

import numpy as np
import pytest

from chart_film import base_of, chart_patches, film, log_exposure
from dryside.negatives.recipe import density_log2, layer_exposures
from dryside.negatives.silver import chart_luminance, fit_silver, silver_recipe

LOG10_2 = np.log10(2.0)


@pytest.mark.parametrize("contrast", [0.45, 0.58, 0.8])
def test_contrast_and_toe_of_a_known_curve_come_back(contrast):
    light = np.logspace(-1.6, 0.3, 12)
    density = contrast * np.log10(light / 0.01 + 1.0) / LOG10_2
    found, toe = fit_silver(density[:, None] * np.ones(3), light)
    assert found == pytest.approx(contrast, rel=0.03)
    assert toe == pytest.approx(1.0, abs=0.1)


def test_a_colour_cast_of_base_and_light_vanishes():
    base = np.array([0.8, 1.1, 1.5])
    grey = layer_exposures(silver_recipe(base), base + np.array([[1.0, 1.0, 1.0]]))
    same = layer_exposures(silver_recipe(np.zeros(3)), np.array([[1.0, 1.0, 1.0]]))
    np.testing.assert_allclose(grey, same)


def test_a_charts_greys_come_back_in_their_ratios():
    stock = film("bw", 3)
    base = base_of(stock).density_log2
    density = density_log2(chart_patches(stock), np.ones(3))
    contrast, toe = fit_silver(density - base, chart_luminance())
    light = layer_exposures(silver_recipe(base, contrast, toe), density)[18:23, 0]
    known = chart_luminance()[18:23]
    np.testing.assert_allclose(np.log2(light / light[2]), np.log2(known / known[2]), atol=0.35)


def test_a_wedge_rises_evenly_in_the_middle():
    stock = film("bw", 4)
    stops = np.arange(-2, 3)
    wedge = stock.by_log_exposure(log_exposure(stock, np.full((5, 71), 0.18)) + 0.30103 * stops[:, None])
    light = layer_exposures(silver_recipe(base_of(stock).density_log2), density_log2(wedge, np.ones(3)))[:, 1]
    assert np.all(np.diff(np.log2(light)) > 0.6)
    assert np.all(np.diff(np.log2(light)) < 1.5)
