"""Sharpness against edges of known blur."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from scipy.special import erf

from dryside.scans.edge_response import find_edges, finest_detail, measure_edge
from scans.pictures import photographs

# MTF of a Gaussian of sigma s px is exp(-2 pi^2 s^2 f^2); it is one half at sqrt(ln 2 / 2) / (pi s) cycles a pixel.
GAUSSIAN_MTF50 = math.sqrt(math.log(2) / 2) / math.pi


def edge(sigma, *, slope=0.0875, size=64, height=120.0):
    """A slanted edge with Gaussian blur, sampled at points (5 degrees, as ISO 12233 advises)."""
    y, x = np.mgrid[0:size, 0:size]
    across = (x - size / 2 - slope * (y - size / 2)) / math.hypot(1, slope)
    return 128 + height / 2 * erf(across / sigma / math.sqrt(2))


def test_the_constant_is_the_one_in_the_tables():
    assert pytest.approx(0.18739, abs=5e-6) == GAUSSIAN_MTF50


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.0])
def test_mtf50_of_a_gaussian_edge_is_its_known_value(sigma):
    assert measure_edge(edge(sigma)).mtf50_cycles_px == pytest.approx(GAUSSIAN_MTF50 / sigma, rel=0.015)


def test_an_edge_from_light_to_dark_measures_the_same():
    assert measure_edge(edge(1.0)[:, ::-1]).mtf50_cycles_px == pytest.approx(GAUSSIAN_MTF50, rel=0.015)


def test_an_upright_edge_is_not_measured_since_nothing_lies_between_its_pixels():
    assert measure_edge(edge(1.0, slope=0.0)) is None


def test_a_flat_patch_has_no_edge():
    assert measure_edge(np.full((64, 64), 90.0)) is None


@pytest.mark.parametrize("amount", [0.5, 1.0, 2.0])
def test_overshoot_is_what_the_unsharp_mask_put_there(amount):
    # An unsharp mask adds amount x (edge - its blur); the swing of a difference of two error functions is known.
    sharp, radius = 1.0, 3.0
    image = edge(sharp)
    wide = edge(math.hypot(sharp, radius))
    made = measure_edge(image + amount * (image - wide)).overshoot
    places = np.linspace(-20, 20, 4001)
    ideal = 0.5 * erf(places / sharp / math.sqrt(2))
    swing = ideal + amount * (ideal - 0.5 * erf(places / math.hypot(sharp, radius) / math.sqrt(2)))
    assert made == pytest.approx(swing.max() - 0.5, abs=0.02)


def test_edges_are_found_in_a_picture_in_both_directions():
    y, x = np.mgrid[0:400, 0:600]
    rng = np.random.default_rng(0)
    tall = 128 + 60 * erf((x - 300 - 0.0875 * (y - 200)) / 1.0038 / math.sqrt(2)) + rng.normal(0, 1.5, x.shape)
    for picture in (tall, tall.T):
        found = find_edges(picture)
        assert len(found) >= 3
        assert np.median([one.mtf50_cycles_px for one in found]) == pytest.approx(GAUSSIAN_MTF50, rel=0.03)
    box = find_edges(tall)[0].box
    assert abs(box[0] + box[2] / 2 - 300) < 32


def test_a_picture_enlarged_by_two_ends_near_a_quarter_and_a_real_one_goes_to_the_half():
    for path in photographs():
        luma = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        assert finest_detail(luma) > 0.45, path.name
        twice = cv2.resize(luma, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
        assert 0.2 < finest_detail(twice) < 0.36, path.name


@pytest.mark.parametrize("sigma", [1.5, 2.5])
def test_a_blurred_texture_ends_where_its_gaussian_leaves_contrast_0_18(sigma):
    # Power that falls as the square of frequency, blurred by a Gaussian: contrast 1/sqrt(30) at a known place.
    rng = np.random.default_rng(3)
    n = 1024
    fy, fx = np.meshgrid(np.fft.fftfreq(n), np.fft.fftfreq(n), indexing="ij")
    radius = np.maximum(np.hypot(fy, fx), 1 / n)
    spectrum = np.fft.fft2(rng.standard_normal((n, n))) / radius * np.exp(-2 * (np.pi * sigma * radius) ** 2)
    texture = np.fft.ifft2(spectrum).real
    expected = math.sqrt(math.log(30) / 4) / (math.pi * sigma)
    assert finest_detail(texture / texture.std() * 40 + 128) == pytest.approx(expected, abs=0.02)


def test_an_empty_picture_has_no_detail():
    assert finest_detail(np.full((300, 300), 80.0)) == 0.0
    assert finest_detail(np.zeros((20, 20))) == 0.0
