"""Fits to a chart, tried on other frames of the same stock; differences by colour-science."""

import numpy as np
import pytest

from chart_film import base_of, chart_difference, chart_patches, colour, film, log_exposure
from dryside.negatives.calibrate import chart_difference as own_difference
from dryside.negatives.calibrate import difference_units, fit_chart, fit_greys
from dryside.negatives.chart_values import LINEAR_SRGB, lab_of_srgb
from dryside.negatives.layers import balanced_exposures, scene
from dryside.negatives.prior import colour_prior

# Some of the 34 pairs of Sharma, Wu and Dalal 2005, table 1, with the difference as printed (four decimals).
SHARMA = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "other", "printed"), SHARMA)
def test_the_difference_is_ciede2000(one, other, printed):
    from skimage.color import deltaE_ciede2000

    assert float(deltaE_ciede2000(np.array(one), np.array(other))) == pytest.approx(printed, abs=5e-5)


def test_own_differences_are_colour_sciences():
    rgb = LINEAR_SRGB * np.random.default_rng(1).uniform(0.9, 1.1, LINEAR_SRGB.shape)
    np.testing.assert_allclose(own_difference(rgb, LINEAR_SRGB), chart_difference(rgb), atol=0.1)
    np.testing.assert_allclose(
        own_difference(rgb, LINEAR_SRGB),
        colour.delta_E(
            lab_of_srgb(rgb * np.exp(np.median(np.log(luminance(LINEAR_SRGB)) - np.log(luminance(rgb))))),
            lab_of_srgb(LINEAR_SRGB),
            method="CIE 2000",
        ),
        atol=1e-6,
    )


def luminance(rgb):
    return rgb @ np.array([0.2126, 0.7152, 0.0722])


def above_base(stock, stops):
    base = base_of(stock)
    return -np.log2(chart_patches(stock, stops)) - (0.0 if base is None else base.density_log2)


@pytest.mark.parametrize(("process", "apart"), [("c41", 1.0), ("ecn2", 1.0), ("e6", 0.33)])
def test_a_calibration_holds_on_frames_exposed_otherwise(process, apart):
    """On the measured camera, a stop off the chart fitted: median CIEDE2000 at most 3.0, 95th percentile 6.6."""
    prior = colour_prior(process)
    found = []
    for seed in (3, 5, 8):
        stock = film(process, seed)
        base = base_of(stock)
        mean = prior.mean(np.zeros(3) if base is None else base.density)
        vector = fit_chart(prior, mean, above_base(stock, 0.1)).vector
        found += [chart_difference(scene(vector, above_base(stock, stops * apart))) for stops in (-1, 1)]
    assert np.median(found) <= 3.0
    assert np.quantile(found, 0.95) <= 6.6


def test_a_grey_balance_alone_would_not_do():
    """The same charts through one slope and greys made equal: far worse, so the comparison can fail."""
    stock = film("c41", 3)
    light = np.exp2(above_base(stock, 0.1) / 0.6)
    light /= light[18:23].mean(axis=0)
    assert np.median(chart_difference(light)) > 5.0


def test_signed_steps_are_as_long_as_the_difference_that_colour_science_finds():
    """Small steps from each patch; away from blues, whose rotation term is left out (Sharma, Wu, Dalal 2005)."""
    reference = LINEAR_SRGB
    aim, units = lab_of_srgb(reference), difference_units(reference)
    step = np.random.default_rng(1).normal(0, 0.4, aim.shape)
    hue = np.degrees(np.arctan2(aim[:, 2], aim[:, 1])) % 360
    plain = ~((hue > 220) & (hue < 330) & (np.hypot(aim[:, 1], aim[:, 2]) > 10))
    signed = np.linalg.norm(np.einsum("pij,pj->pi", units, step), axis=-1)
    np.testing.assert_allclose(signed[plain], colour.delta_E(aim, aim + step, method="CIE 2000")[plain], rtol=0.06)


def test_known_greys_are_made_neutral_and_the_rest_stays_believable():
    stock = film("c41", 71)
    exposed = log_exposure(stock, np.full((9, 71), 0.18)) + 0.30103 * np.linspace(-2, 2, 9)[:, None]
    base = np.asarray(base_of(stock).density)
    greys = -np.log2(stock.by_log_exposure(exposed)) - base / np.log10(2)
    prior = colour_prior("c41")
    vector = fit_greys(prior.mean(base), prior.covariance, greys)
    stops = np.log2(balanced_exposures(vector, greys))
    assert np.abs(stops - stops[:, [1]]).max() < 0.08
    assert np.linalg.norm(prior.whitening() @ (vector - prior.mean(base))) < 2 * np.sqrt(23)
