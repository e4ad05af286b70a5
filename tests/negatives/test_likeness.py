"""Whether two pictures show the same view, under changes that are known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.negatives.likeness import compare, mirrored, see, shared_points
from scans.pictures import photographs


@pytest.fixture(scope="module")
def pictures():
    return [cv2.imread(str(path))[..., ::-1].copy() for path in photographs()[:4]]


def test_a_mirrored_view_is_that_of_the_mirrored_picture(pictures):
    picture = pictures[0]
    turned = see(np.ascontiguousarray(picture[:, ::-1]))
    assert compare(mirrored(see(picture)), turned).points > 1000
    assert not compare(see(picture), turned)


@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
def test_where_a_part_lies_is_found_at_every_quarter_turn(pictures, quarter):
    picture = pictures[1]
    h, w = picture.shape[:2]
    part = picture[100:400, 150:600]
    found = compare(see(np.ascontiguousarray(np.rot90(part, quarter))), see(picture))
    corners = np.array([[150, 100], [600, 100], [600, 400], [150, 400]]) / [w, h]
    # A quarter turn against the clock brings the part's upper right corner to the upper left.
    assert np.array(found.corners) == pytest.approx(np.roll(corners, -quarter, axis=0), abs=0.012)
    assert found.coverage == pytest.approx(1.0, abs=0.02)
    assert found.agreement > 0.8


def test_other_colours_and_grain_do_not_hide_it(pictures):
    rng = np.random.default_rng(0)
    grey = pictures[2].astype(float) @ [0.1, 0.3, 0.6]
    poor = np.clip((grey / 255) ** 1.6 * 200 + rng.normal(0, 14, grey.shape), 0, 255).astype(np.uint8)
    assert compare(see(poor), see(pictures[2])).points > 50


def test_different_views_are_not_alike(pictures):
    views = [see(picture) for picture in pictures]
    for i, view in enumerate(views):
        for k, other in enumerate(views):
            assert bool(compare(view, other)) == (i == k), (i, k)


def test_the_shortlist_has_the_right_one_first(pictures):
    views = [see(picture) for picture in pictures]
    parts = [see(np.ascontiguousarray(picture[60:, 60:])) for picture in pictures]
    assert shared_points(parts, views).argmax(axis=1).tolist() == [0, 1, 2, 3]


def test_an_empty_picture_is_like_nothing(pictures):
    blank = see(np.full((300, 450, 3), 90, np.uint8))
    found = compare(blank, see(pictures[0]))
    assert not found
    assert found.why == "too few points"


def test_a_wrong_dtype_is_named():
    with pytest.raises(ValueError, match="image has dtype float64"):
        see(np.zeros((10, 10)))
