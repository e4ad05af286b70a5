"""Tones and colour against pictures made to a known value."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from dryside.scans.tones import clipping, jpeg_quality, levels, neutral_of, noise, roll_neutral
from scans.pictures import drawn


def test_clipping_is_counted_per_channel_and_its_place_given():
    image = np.full((100, 200, 3), 128, np.uint8)
    image[10:30, 40:90, 0] = 255  # 1000 of 20,000 pixels
    image[90:, :, 2] = 0  # 2000
    found = clipping(image)
    assert found.high == (0.05, 0.0, 0.0)
    assert found.low == (0.0, 0.0, 0.1)
    assert found.worst == 0.1
    assert found.box == (0, 90, 200, 10)


def test_an_unclipped_picture_has_no_box():
    assert clipping(np.full((50, 50, 3), 100, np.uint8)).box is None


def test_levels_are_the_thousandths():
    ramp = np.tile(np.linspace(30, 200, 1000).astype(np.uint8)[None, :, None], (100, 1, 3))
    black, white = levels(ramp)
    assert black == pytest.approx(30, abs=1)
    assert white == pytest.approx(200, abs=1)


@pytest.mark.parametrize("sigma", [2.0, 5.0, 10.0])
def test_noise_of_a_known_deviation_is_found_on_a_slope(sigma):
    rng = np.random.default_rng(1)
    slope = np.tile(np.linspace(60, 190, 600)[None, :], (400, 1)) + rng.normal(0, sigma, (400, 600))
    image = np.repeat(np.clip(slope, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    assert noise(image) == pytest.approx(sigma, rel=0.12)  # the calmest tenth lies a little below the mean


def test_a_drawn_slope_without_noise_has_none():
    image = np.repeat(np.tile(np.linspace(60, 190, 600)[None, :], (400, 1)).astype(np.uint8)[..., None], 3, axis=2)
    assert noise(image) < 0.5


@pytest.mark.parametrize("quality", [40, 50, 65, 75, 80, 90, 95, 100])
def test_jpeg_quality_is_read_from_the_tables(quality):
    out = io.BytesIO()
    Image.fromarray(drawn()).save(out, "JPEG", quality=quality)
    assert jpeg_quality(out.getvalue()) == quality


def test_other_files_have_no_jpeg_quality():
    out = io.BytesIO()
    Image.fromarray(drawn()).save(out, "PNG")
    assert jpeg_quality(out.getvalue()) is None
    assert jpeg_quality(b"no picture") is None


def test_a_cast_is_told_against_the_rolls_neutral():
    grey = np.tile(np.linspace(60, 200, 300)[None, :, None], (200, 1, 3))
    frames = [grey * (1, 1, 1)] * 6 + [grey * (1.0, 1.0, 0.7)]
    neutrals = [neutral_of(frame.astype(np.uint8)) for frame in frames]
    shared = roll_neutral(neutrals)
    assert shared == pytest.approx((0, 0), abs=0.6)
    # CIELAB of sRGB (0.5, 0.5, 0.35): b* is 21.7 by colour-science (value worked out once, D65).
    assert neutrals[-1][1] - shared[1] > 10
    assert abs(neutrals[-1][0] - shared[0]) < 6


def test_no_pictures_share_a_neutral_of_nothing():
    assert roll_neutral([]) == (0.0, 0.0)
