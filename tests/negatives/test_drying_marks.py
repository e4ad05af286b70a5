"""Drying marks on made negatives, and none on clean ones: drawn scenes and real photographs."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from dryside.demo.pictures import PAINTERS, draw
from dryside.negatives.drying_marks import MARK_COLUMNS, MARK_ROWS, drying_warning, find_rings

PHOTOGRAPHS = Path(__file__).parents[2] / "../shared/data/film-photographs"
SLOPES = np.array([0.55, 0.60, 0.66])


def negative(light, grain=0.008, seed=1):
    """log10 density of a picture in linear light: the slopes of a colour negative, its grain."""
    small = cv2.resize(np.asarray(light, np.float32), (MARK_COLUMNS, MARK_ROWS), interpolation=cv2.INTER_AREA)
    density = SLOPES * np.log10(1 + np.maximum(small, 0) / 0.03)
    return (density + np.random.default_rng(seed).normal(0, grain, density.shape)).astype(np.float32)


def with_rings(density, count, contrast=0.05, seed=4):
    random = np.random.default_rng(seed)
    drawn = np.zeros((MARK_ROWS * 4, MARK_COLUMNS * 4), np.float32)
    for place in range(count):
        x = int((place + random.uniform(0.35, 0.65)) / count * MARK_COLUMNS * 4)
        y = int(random.uniform(0.25, 0.75) * MARK_ROWS * 4)
        axes = (int(random.uniform(60, 110)), int(random.uniform(60, 110)))
        cv2.ellipse(drawn, (x, y), axes, float(random.uniform(0, 90)), 0, 360, 1.0, 9)
    ring = cv2.resize(cv2.GaussianBlur(drawn, (0, 0), 3), (MARK_COLUMNS, MARK_ROWS), interpolation=cv2.INTER_AREA)
    return density + contrast * ring[..., None]


@pytest.mark.parametrize("kind", sorted(PAINTERS))
def test_clean_scenes_raise_no_alarm(kind):
    assert drying_warning(negative(draw(kind, width=720, height=480, seed=1))) == ()


def test_clean_photographs_raise_no_alarm():
    paths = sorted(PHOTOGRAPHS.glob("*.png"))
    if not paths:
        pytest.skip("the shared photographs are not there")
    for path in paths:
        picture = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB).astype(np.float32) / 255
        turned = picture if picture.shape[1] > picture.shape[0] else np.rot90(picture)
        assert drying_warning(negative(turned**2.2)) == (), path.name


def test_rings_on_an_even_sky_are_counted():
    sky = negative(np.full((MARK_ROWS, MARK_COLUMNS, 3), 0.4))
    assert len(find_rings(with_rings(sky, 4))) == 4
    assert "4 faint rings" in drying_warning(with_rings(sky, 4))[0]
    assert drying_warning(sky) == ()


def test_rings_over_a_landscape_are_told():
    scene = negative(draw("mountains", width=720, height=480, seed=2))
    assert drying_warning(with_rings(scene, 5, contrast=0.08))


def test_a_coloured_ring_is_part_of_the_picture():
    sky = negative(np.full((MARK_ROWS, MARK_COLUMNS, 3), 0.4))
    ring = with_rings(sky, 3, contrast=0.1) - sky
    assert find_rings(sky + ring * np.array([1.6, 0.6, 0.2], np.float32)) == []
