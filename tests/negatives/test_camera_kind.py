"""The kind of sensor behind a capture, told from what it sees of film."""

import numpy as np
import pytest

from dryside.negatives.camera_kind import camera_kind
from dryside.negatives.prior import colour_prior

# Film bases of C-41 stocks as the two measured cameras of the colour-science library see them over an LED, computed
# once from their spectral sensitivities; red, green, blue.
FILTERED_BASE, LAYERED_BASE = (0.25, 0.42, 0.70), (0.26, 0.33, 0.39)
SEEN_THROUGH_LAYERS = np.array([[0.40, 0.34, 0.26], [0.33, 0.35, 0.32], [0.27, 0.34, 0.39]])


def dyes(seed=3, rows=64, columns=96):
    """Densities of three dyes over a picture: mostly together, partly each for itself, in patches."""
    rng = np.random.default_rng(seed)
    coarse = rng.normal(1.0, 0.35, (8, 12, 1)) + rng.normal(0, 0.12, (8, 12, 3))
    return np.kron(coarse, np.ones((rows // 8, columns // 12, 1)))


@pytest.mark.parametrize("process", ["c41", "ecn2"])
def test_an_orange_mask_means_filters_and_a_greyish_one_layers(process):
    pictures = [dyes() @ SEEN_THROUGH_LAYERS.T]
    assert camera_kind(process, FILTERED_BASE, pictures) == "filtered"
    assert camera_kind(process, LAYERED_BASE, pictures) == "layered"


def test_pictures_that_fill_a_space_mean_filters_whatever_the_base():
    assert camera_kind("c41", LAYERED_BASE, [dyes()]) == "filtered"


def test_slides_are_told_by_their_pictures_alone():
    assert camera_kind("e6", None, [dyes()]) == "filtered"
    assert camera_kind("e6", None, [dyes() @ SEEN_THROUGH_LAYERS.T]) == "layered"


def test_without_evidence_filters_are_taken():
    assert camera_kind("e6", None, []) == "filtered"
    assert camera_kind("c41", (np.nan, np.nan, np.nan), [dyes() @ SEEN_THROUGH_LAYERS.T]) == "filtered"


def test_noise_of_single_pixels_hides_nothing():
    noisy = dyes() @ SEEN_THROUGH_LAYERS.T + np.random.default_rng(1).normal(0, 0.004, (64, 96, 3))
    assert camera_kind("c41", LAYERED_BASE, [noisy]) == "layered"


@pytest.mark.parametrize("process", ["c41", "ecn2", "e6"])
def test_a_layered_sensor_needs_far_stronger_unmixing(process):
    bases = (LAYERED_BASE, FILTERED_BASE) if process != "e6" else ((0.0, 0.0, 0.0),) * 2
    kinds = zip(("layered", "filtered"), bases, strict=True)
    layered, filtered = (colour_prior(process, kind).mean(base)[:9] for kind, base in kinds)
    assert np.abs(layered).max() > 2 * np.abs(filtered).max()
