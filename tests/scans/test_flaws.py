"""Flaws that were put into pictures, and none in pictures that have none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.scans.flaws import dust, leak, light_at_perforations, rebate, scratches, second_edge
from scans.pictures import photographs


def even(width=900, height=600, level=110):
    rng = np.random.default_rng(0)
    slope = np.linspace(level - 20, level + 20, width)[None, :] + rng.normal(0, 2, (height, width))
    return np.repeat(np.clip(slope, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("number", [0, 1, 12, 40])
def test_specks_are_counted(number):
    image = even()
    rng = np.random.default_rng(number)
    places = [(60 + 80 * (k % 10), 60 + 110 * (k // 10)) for k in range(number)]
    for x, y in places:
        cv2.circle(image, (x + int(rng.integers(-9, 9)), y), 2, (235, 235, 235), -1)
    found = dust(image)
    assert found.count == number
    assert len(found.boxes) == number


def test_specks_on_a_slide_are_dark():
    image = even()
    cv2.circle(image, (300, 300), 2, (20, 20, 20), -1)
    assert dust(image, is_negative=False).count == 1
    assert dust(image).count == 0


@pytest.mark.parametrize("turned", [False, True])
def test_a_scratch_along_a_side_is_found_where_it_is(turned):
    image = even()
    image[50:560, 333] = np.minimum(image[50:560, 333].astype(int) + 30, 255).astype(np.uint8)
    image = np.ascontiguousarray(image.transpose(1, 0, 2)) if turned else image
    found = scratches(image)
    assert found.count == 1
    x, y, w, h = found.boxes[0]
    assert abs((y if turned else x) - 333) <= 1
    assert (w if turned else h) > 400


def test_light_that_beats_at_the_perforations_is_told_by_its_size():
    image = even(1800, 1200).astype(float)
    place_mm = np.arange(1800) / 1800 * 36
    image[:48] += 15 * np.cos(2 * np.pi * place_mm / 4.75)[None, :, None]  # 4.75 mm: KS-1870, ISO 1007
    beat, side = light_at_perforations(np.clip(image, 0, 255).astype(np.uint8), long_mm=36)
    assert beat == pytest.approx(15, abs=1.5)
    assert side == "top"


def test_another_pitch_does_not_count():
    image = even(1800, 1200).astype(float)
    place_mm = np.arange(1800) / 1800 * 36
    image[:48] += 15 * np.cos(2 * np.pi * place_mm / 3.3)[None, :, None]
    assert light_at_perforations(np.clip(image, 0, 255).astype(np.uint8), long_mm=36)[0] < 3


def test_warm_light_from_an_edge_is_told_with_its_side():
    image = even().astype(float)
    fall = np.exp(-np.arange(900) / 60)[None, :] * np.exp(-(((np.arange(600) - 200) / 90) ** 2))[:, None]
    image += fall[..., None] * np.array([150, 70, 10])
    size, side = leak(np.clip(image, 0, 255).astype(np.uint8))
    assert size > 40
    assert side == "left"
    assert leak(even())[0] == 0


def test_rebate_is_measured_on_each_side():
    image = even()
    image[:24] = 4
    image[:, -30:] = 5
    found = rebate(image)
    assert found.keys() == {"top", "right"}
    assert found["top"] == pytest.approx(24, abs=1)
    assert found["right"] == pytest.approx(30, abs=1)


def test_the_edge_of_a_second_exposure_runs_across_the_film():
    first, second = even(level=70).astype(float), even(level=60).astype(float)
    second[:, :260] = 0
    share, box = second_edge(np.clip(first + second * 0.6, 0, 255).astype(np.uint8))
    assert share == 1.0
    assert abs(box[0] - 260) <= 6


def test_real_photographs_have_hardly_any_of_it():
    for path in photographs():
        image = cv2.imread(str(path))[..., ::-1].copy()
        assert dust(image).count <= 3, path.name
        assert scratches(image).count == 0, path.name
        assert light_at_perforations(image, long_mm=36)[0] < 4, path.name
        assert leak(image)[0] == 0, path.name
        assert rebate(image) == {}, path.name
