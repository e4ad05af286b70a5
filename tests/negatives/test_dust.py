"""Dust by infrared and by sight: what is found, what is mended, what is left alone."""

import numpy as np
import pytest

from chart_film import base_of, film
from dryside.film.refusal import Refusal
from dryside.negatives.dust import bearing_of, find_dust, mend, refuse_silver
from dryside.negatives.recipe import apply_reference
from dryside.negatives.repairs import Repairs, repairs_by_infrared
from dryside.negatives.roll import FrameSamples, recipe_for_roll
from dryside.negatives.spaces import print_rendering
from dryside.negatives.specks import find_specks

SIZE = (300, 450)


def scene(random, rows=SIZE[0], columns=SIZE[1]):
    import cv2

    light = sum(
        cv2.resize(
            random.normal(0, 0.9 / (k + 1), (4 * 2**k, 6 * 2**k)), (columns, rows), interpolation=cv2.INTER_CUBIC
        )
        for k in range(4)
    )
    colour = cv2.resize(random.normal(0, 0.35, (8, 12, 3)), (columns, rows), interpolation=cv2.INTER_CUBIC)
    return (0.2 * 2.0 ** (light[..., None] + colour)).astype(np.float32)


def damage(random, count=45):
    """Part of the light that is lost: specks of some pixels, hairs, one scratch."""
    import cv2

    lost = np.zeros(SIZE, np.float32)
    for _ in range(count):
        x, y = int(random.uniform(10, SIZE[1] - 10)), int(random.uniform(10, SIZE[0] - 10))
        cv2.circle(lost, (x, y), int(random.integers(1, 4)), float(random.uniform(0.4, 0.98)), -1, cv2.LINE_8)
    for _ in range(5):
        points = np.cumsum(random.normal(0, 9, (6, 2)), axis=0) + random.uniform(60, 240, 2)
        cv2.polylines(lost, [points.astype(np.int32)], False, 0.7, 1, cv2.LINE_8)
    cv2.line(lost, (20, 150), (430, 152), 0.35, 1)
    return lost


def blurred(image, sigma):
    import cv2

    return cv2.GaussianBlur(image, (0, 0), sigma)


@pytest.fixture(scope="module")
def dusty():
    """Clean light, dusty light, infrared (off by a part of a pixel), lost light, and the frame's print recipe."""
    import cv2

    random = np.random.default_rng(5)
    stock = film()
    clean = np.asarray(stock(scene(random)), np.float32)
    lost = damage(random)
    light = blurred(clean * (1 - lost)[..., None], 0.6)
    leak = (clean.mean(axis=-1)) ** 0.07
    sharp = 0.7 * leak * (1 - lost)
    move = np.float32([[1, 0, 0.6], [0, 1, -1.3]])
    infrared = cv2.warpAffine(sharp, move, SIZE[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    infrared = np.clip(infrared + random.normal(0, 0.002, SIZE), 1e-4, None).astype(np.float32)
    samples = FrameSamples(cv2.resize(clean, (96, 64), interpolation=cv2.INTER_AREA), base_of(stock))
    recipe = recipe_for_roll([samples], process="c41", rendering=print_rendering()).recipes[0]
    return blurred(clean, 0.6), light, infrared, lost, recipe


def shown_difference(recipe, one, other):
    from skimage.color import deltaE_ciede2000, rgb2lab

    return deltaE_ciede2000(*(rgb2lab(apply_reference(recipe, part, np.ones(3))) for part in (one, other)))


def test_the_infrared_is_laid_on_the_picture_to_a_part_of_a_pixel(dusty):
    _, light, infrared, _, _ = dusty
    x, y = bearing_of(light, infrared).shift
    assert (x, y) == pytest.approx((-0.6, 1.3), abs=0.25)


def test_dust_is_found_and_the_dyes_are_not(dusty):
    _, light, infrared, lost, _ = dusty
    found = find_dust(light, infrared)
    assert found.mask[lost > 0.2].mean() > 0.97
    import cv2

    near = cv2.dilate((lost > 0).astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    assert found.mask[~near].mean() < 0.001


def test_mended_pixels_look_like_the_clean_picture(dusty):
    """At least 80 % within CIEDE2000 4 of the clean print; a plain diffusion from a perfect mask reaches 70."""
    clean, light, infrared, lost, recipe = dusty
    mended = mend(light, find_dust(light, infrared))
    off = shown_difference(recipe, mended, clean)
    assert (off[lost > 0] < 4.0).mean() >= 0.8
    before = shown_difference(recipe, light, clean)
    assert (before[lost > 0] < 4.0).mean() < 0.5


def test_other_pixels_are_left_alone(dusty):
    import cv2

    _, light, infrared, lost, _ = dusty
    changed = (mend(light, find_dust(light, infrared)) != light).any(axis=-1)
    near = cv2.dilate((lost > 0).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    assert changed[~near].mean() < 0.001


def test_silver_is_refused_in_words():
    with pytest.raises(Refusal, match="silver stops infrared as dust does"):
        refuse_silver("bw", "--ir")
    refuse_silver("c41", "--ir")


def test_film_that_blocks_infrared_is_refused(dusty):
    _, light, _, _, _ = dusty
    with pytest.raises(Refusal, match="this infrared follows the picture"):
        bearing_of(light, (light.mean(axis=-1) ** 0.9).astype(np.float32))


def test_an_infrared_of_another_size_is_misuse(dusty):
    with pytest.raises(ValueError, match="infrared has shape"):
        bearing_of(dusty[1], dusty[2][:-1])


def test_without_dust_nothing_changes(dusty):
    clean = dusty[0]
    infrared = (0.7 * clean.mean(axis=-1) ** 0.05).astype(np.float32)
    found = find_dust(clean, infrared)
    assert (mend(clean, found) == clean).all(axis=-1).mean() > 0.9995


def test_repairs_lie_over_any_window_alike(dusty):
    _, light, infrared, _, _ = dusty
    levels = (np.clip(light, 0, 1) * 60000).astype(np.uint16)
    plane = (np.clip(infrared, 0, 1) * 60000).astype(np.uint16)
    window = (0, SIZE[0], 0, SIZE[1])

    def cut(picture):
        return lambda top, bottom, left, right: picture[top:bottom, left:right]

    repairs = repairs_by_infrared(
        window, cut(levels), lambda part, top, left: part / np.float32(60000), cut(plane), thing="x"
    )
    assert len(repairs.rows) > 200
    whole = levels.copy()
    repairs.lay_over(whole, 0, 0)
    parts = levels.copy()
    for top in range(0, SIZE[0], 64):
        for left in range(0, SIZE[1], 100):
            repairs.lay_over(parts[top : top + 64, left : left + 100], top, left)
    np.testing.assert_array_equal(whole, parts)
    assert (whole != levels).any(axis=-1).sum() <= len(repairs.rows)


def test_no_repairs_change_nothing():
    pixels = np.ones((4, 5, 3), np.uint16)
    Repairs(np.empty(0, np.int64), np.empty(0, np.int64), np.empty((0, 3), np.uint16)).lay_over(pixels, 0, 0)
    assert (pixels == 1).all()


def test_opaque_specks_are_seen_without_infrared_and_the_picture_is_not(dusty):
    clean = dusty[0]
    random = np.random.default_rng(9)
    light = clean.copy()
    spots = [(int(random.uniform(20, 280)), int(random.uniform(20, 430))) for _ in range(25)]
    for y, x in spots:
        light[y - 2 : y + 3, x - 2 : x + 3] *= 0.03
    found = find_specks(light)
    assert sum(found.mask[y, x] for y, x in spots) >= 22
    mended = mend(light, found)
    assert np.median([abs(np.log2(mended[y, x] / clean[y, x])).max() for y, x in spots]) < 0.35
    assert find_specks(clean).mask.mean() < 0.001
