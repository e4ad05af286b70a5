"""A grey wedge, found and fitted."""

import numpy as np
import pytest

from chart_film import base_of, film, log_exposure
from dryside.negatives.layers import balanced_exposures
from dryside.negatives.prior import colour_prior
from dryside.negatives.wedge import WedgeFound, find_wedge, fit_wedge

STEPS = np.arange(-3.0, 3.01, 0.5)


def wedge_frame(stock, turned=False, seed=0):
    exposed = log_exposure(stock, np.full((len(STEPS), 71), 0.18)) + 0.30103 * STEPS[:, None]
    line = np.repeat(exposed, 20, axis=0)
    frame = np.repeat(line[None], 120, axis=0)
    frame = stock.by_log_exposure(frame + np.random.default_rng(seed).normal(0, 0.004, frame.shape))
    return np.swapaxes(frame, 0, 1) if turned else frame


@pytest.mark.parametrize("turned", [False, True])
def test_steps_are_found_along_either_side(turned):
    stock = film()
    found = find_wedge(-np.log2(wedge_frame(stock, turned)))
    assert isinstance(found, WedgeFound), found
    assert abs(len(found.density) - len(STEPS)) <= 2


def test_an_even_frame_is_no_wedge():
    found = find_wedge(np.random.default_rng(1).normal(1, 0.01, (64, 96, 3)))
    assert not found
    assert "steps of a wedge, 6 are needed" in found.why


def test_a_fit_makes_the_wedge_neutral_and_its_steps_even():
    stock = film("c41", 6)
    base = base_of(stock)
    prior = colour_prior("c41")
    exposed = log_exposure(stock, np.full((len(STEPS), 71), 0.18)) + 0.30103 * STEPS[:, None]
    density = -np.log2(stock.by_log_exposure(exposed)) - base.density_log2
    vector, off = fit_wedge(prior, prior.mean(base.density), density, 0.5)
    stops = np.log2(balanced_exposures(vector, density))
    assert np.abs(stops - stops[:, [1]]).max() < 0.15
    assert np.median(np.abs(np.diff(stops[2:-2, 1]) - 0.5)) < 0.08
    assert np.median(off) < 0.1
