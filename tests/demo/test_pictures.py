"""The drawn pictures: light, not paint; the same seed, the same picture."""

import numpy as np
import pytest

from dryside.demo.pictures import PAINTERS, draw


@pytest.mark.parametrize("kind", sorted(PAINTERS))
def test_a_picture_is_linear_light_of_the_size_asked_for(kind):
    picture = draw(kind, width=96, height=64, seed=3)
    assert picture.shape == (64, 96, 3)
    assert picture.dtype == np.float32
    assert np.isfinite(picture).all()
    assert picture.min() >= 0


@pytest.mark.parametrize("kind", sorted(PAINTERS))
def test_a_picture_has_shadows_lights_and_colour(kind):
    picture = draw(kind, width=96, height=64, seed=3)
    dark, light = np.percentile(picture.mean(axis=-1), [1, 99])
    assert light > 2.5 * dark
    assert np.ptp(picture, axis=-1).max() > 0.05


def test_the_same_seed_draws_the_same_picture_and_another_does_not():
    first, again, other = (draw("harbour", width=96, height=64, seed=s) for s in (5, 5, 6))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_an_unknown_kind_is_named_with_those_there_are():
    with pytest.raises(ValueError, match="kind is 'volcano'; it must be one of forest, harbour"):
        draw("volcano", width=9, height=9, seed=0)
