"""What a roll's pictures tell of its colour, and that it brings the roll nearer the truth than the prior alone."""

import numpy as np
import pytest

from chart_film import base_of, chart_difference, chart_patches, film
from dryside.demo.pictures import draw
from dryside.negatives.balance import tones_of
from dryside.negatives.layers import scene
from dryside.negatives.picture_features import picture_features
from dryside.negatives.prior import colour_prior, picture_prior
from dryside.negatives.roll_colour import vector_from_pictures

KINDS = ("mountains", "harbour", "still life", "street", "portrait")
LOG10_2 = np.log10(2.0)


def roll(process, seed, led="LED-B3"):
    """Film base (log10), densities of five drawn scenes above it, and of the chart, in powers of two."""
    stock = film(process, seed, led)
    base = np.zeros(3) if process == "e6" else np.asarray(base_of(stock).density)
    stops = (0.2, -0.3, 0.5, 0.0, 0.4)
    pictures = []
    for index, (kind, more) in enumerate(zip(KINDS, stops, strict=True)):
        light = draw(kind, width=60, height=40, seed=20 + index) * 2.0 ** (more * (0.3 if process == "e6" else 1.0))
        pictures.append((-np.log2(stock(light)) - base / LOG10_2).reshape(-1, 3).astype(float))
    return base, pictures, -np.log2(chart_patches(stock)) - base / LOG10_2


@pytest.mark.parametrize("process", ["c41", "ecn2", "e6"])
@pytest.mark.parametrize("kind", ["filtered", "layered"])
def test_the_data_files_know_every_feature(process, kind):
    base, pictures, _ = roll(process, 61)
    mean = colour_prior(process, kind).mean(base)
    features = picture_features(base, [tones_of(one, mean) for one in pictures], mean)
    told = picture_prior(process, kind)
    assert features.shape == told.middle.shape
    assert np.isfinite(features).all()
    assert np.isfinite(told.shift(features)).all()


def test_the_order_of_frames_and_samples_tells_nothing():
    base, pictures, _ = roll("c41", 62)
    mean = colour_prior("c41").mean(base)
    shuffled = [np.random.default_rng(1).permutation(one) for one in pictures[::-1]]
    one, other = (
        picture_features(base, [tones_of(part, mean) for part in parts], mean) for parts in (pictures, shuffled)
    )
    np.testing.assert_allclose(one, other, atol=0.02)


def test_features_far_beyond_what_was_seen_are_held_back():
    told = picture_prior("c41")
    far, farther = (told.shift(told.middle + many * told.spread) for many in (5.0, 500.0))
    np.testing.assert_allclose(far, farther)


def test_pictures_come_nearer_to_the_truth_than_the_prior():
    """CIEDE2000 of the chart's patches by colour-science; the chart is not among the pictures."""
    before, after = [], []
    for process in ("c41", "ecn2", "e6"):
        for seed, led in ((63, "LED-B3"), (64, "LED-B1"), (65, "LED-V1")):
            base, pictures, chart = roll(process, seed, led)
            vectors = (
                colour_prior(process).mean(base),
                vector_from_pictures(process, "filtered", base, pictures),
            )
            for vector, found in zip(vectors, (before, after), strict=True):
                found.append(np.median(chart_difference(scene(vector, chart))))
    assert np.mean(after) < 0.7 * np.mean(before)
    assert np.mean(after) < 6.5


def test_frames_without_light_leave_the_prior_as_it_is():
    mean = colour_prior("c41").mean((0.2, 0.5, 0.8))
    nothing = [np.full((10, 3), np.nan)]
    np.testing.assert_array_equal(vector_from_pictures("c41", "filtered", np.array([0.2, 0.5, 0.8]), nothing), mean)


def test_an_unknown_process_is_refused():
    with pytest.raises(ValueError, match="process is 'bw'"):
        picture_prior("bw")
