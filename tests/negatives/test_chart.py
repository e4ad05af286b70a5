"""A chart found by its layout."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from chart_film import chart_frame, chart_patches, film
from dryside.negatives.chart import ChartFound, find_chart

PHOTOGRAPHS = sorted((Path(__file__).parents[2].parent / "shared" / "data" / "film-photographs").glob("*.png"))
WAYS = [(turned, flipped, upside) for turned in (False, True) for flipped in (False, True) for upside in (False, True)]


def density(frame):
    return -np.log2(frame)


@pytest.fixture(scope="module")
def negative():
    return density(chart_frame(film(), 0.3))


@pytest.mark.parametrize(("turned", "flipped", "upside"), WAYS)
def test_a_chart_is_read_in_its_own_order_whichever_way_it_lies(negative, turned, flipped, upside):
    picture = np.swapaxes(negative, 0, 1) if turned else negative
    picture = picture[:, ::-1] if flipped else picture
    picture = picture[::-1] if upside else picture
    found = find_chart(picture)
    assert isinstance(found, ChartFound), found
    np.testing.assert_allclose(found.density, density(chart_patches(film(), 0.3)), atol=0.08)
    assert found.mirrored == (turned ^ flipped ^ upside)


def test_a_chart_that_fills_part_of_the_frame_askew_is_found(negative):
    import cv2

    source = np.array([[0, 0], [96, 0], [96, 64], [0, 64]], np.float32)
    aim = np.array([[70, 40], [310, 60], [300, 215], [60, 190]], np.float32)
    matrix = cv2.getPerspectiveTransform(source, aim)
    ground = np.random.default_rng(1).normal(2.0, 0.02, (256, 384, 3)).astype(np.float32)
    seen = cv2.warpPerspective(
        negative.astype(np.float32), matrix, (384, 256), dst=ground, borderMode=cv2.BORDER_TRANSPARENT
    )
    found = find_chart(seen)
    assert isinstance(found, ChartFound), found
    np.testing.assert_allclose(found.density, density(chart_patches(film(), 0.3)), atol=0.12)


@pytest.mark.parametrize("process", ["ecn2", "e6"])
def test_other_films_charts_are_found(process):
    stock = film(process, 4)
    found = find_chart(density(chart_frame(stock)))
    assert isinstance(found, ChartFound), found
    np.testing.assert_allclose(found.density, density(chart_patches(stock)), atol=0.12)


@pytest.mark.parametrize("seed", range(1, 5))
def test_a_chart_on_silver_film_is_found_by_its_luminances_alone(seed):
    stock = film("bw", seed)
    found = find_chart(density(chart_frame(stock)))
    assert isinstance(found, ChartFound), found
    np.testing.assert_allclose(found.density, density(chart_patches(stock)), atol=0.12)


def test_an_even_frame_is_no_chart_and_says_why():
    found = find_chart(np.random.default_rng(2).normal(1, 0.02, (64, 96, 3)))
    assert not found
    assert "are needed" in found.why or "reaches out" in found.why


def test_a_grid_of_other_colours_is_no_chart():
    random = np.random.default_rng(3)
    frame = np.full((64, 96, 3), 3.0)
    for index in range(24):
        row, column = divmod(index, 6)
        frame[row * 16 + 3 : row * 16 + 16, column * 16 + 3 : column * 16 + 16] = random.uniform(0, 3, 3)
    found = find_chart(frame + random.normal(0, 0.01, frame.shape))
    assert not found


@pytest.mark.real
@pytest.mark.skipif(not PHOTOGRAPHS, reason="the shared film photographs are not here")
def test_no_photograph_is_taken_for_a_chart():
    stock = film()
    for path in PHOTOGRAPHS:
        with Image.open(path) as image:
            light = (np.asarray(image.convert("RGB").resize((96, 64)), float) / 255) ** 2.2
        assert not find_chart(density(stock(light.astype(np.float32)))), path.name
