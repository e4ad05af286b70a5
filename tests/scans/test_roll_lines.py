"""Scratches along a roll, drawn over busy pictures; and none on pictures that have none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.film.formats import film_format
from dryside.scans.inspection import LOOK, Asked, inspect_image, inspect_roll, shipped_thresholds
from dryside.scans.roll_lines import Line, box_of, fine_lines, lines_through
from scans.pictures import drawn, photographs


def busy(seed, *, level=0, place=0.31, width=900, height=600, grain=8.0):
    """Structure and grain everywhere, with a line two pixels high of so many levels along the whole of it."""
    rng = np.random.default_rng(seed)
    image = drawn(seed, width=width, height=height).astype(float) + rng.normal(0, grain, (height, width, 1))
    y = round((place + rng.uniform(-0.001, 0.001)) * height)
    image[y : y + 2] += level
    return np.clip(image, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("level", [12, -12])
def test_a_line_through_successive_frames_is_found_at_its_place(level):
    found = lines_through([fine_lines(busy(seed, level=level)) for seed in range(8)])
    assert len(found) == 1
    assert found[0].frames == tuple(range(8))
    assert found[0].place == pytest.approx(0.31, abs=0.004)


def test_it_is_followed_where_it_begins_and_where_one_frame_hides_it():
    levels = [0, 0, 0, 14, 14, 0, 14, 14, 14, 0]
    found = lines_through([fine_lines(busy(seed, level=level)) for seed, level in enumerate(levels)])
    assert [line.frames for line in found] == [(3, 4, 6, 7, 8)]


def test_upright_pictures_of_the_roll_show_it_too_from_either_side():
    frames = [busy(seed, level=14) for seed in range(8)]
    frames[2] = np.ascontiguousarray(np.rot90(frames[2]))
    frames[5] = np.ascontiguousarray(np.rot90(frames[5], -1))
    upright = [k in (2, 5) for k in range(8)]
    assert lines_through([fine_lines(frame) for frame in frames], upright=upright)[0].frames == tuple(range(8))


def test_half_frame_travels_along_its_short_side():
    upright = busy(3, level=14, width=450, height=600)
    assert fine_lines(upright, along_long_side=False)[0].place == pytest.approx(0.31, abs=0.004)
    assert fine_lines(upright) == ()


def test_subjects_lines_do_not_count_where_the_camera_stood_still():
    line = [Line(0.4, 20.0, 8.0)]
    assert lines_through([line] * 6)[0].frames == tuple(range(6))
    assert lines_through([line] * 6, alike=[False] + [True] * 5) == ()


def test_lines_at_different_places_are_no_scratch():
    assert lines_through([[Line(0.1 + 0.05 * k, 20.0, 8.0)] for k in range(10)]) == ()


def test_the_box_lies_on_the_line_in_pixels():
    assert box_of(0.5, (600, 400)) == (0, 200, 600, 1)
    assert box_of(0.25, (400, 600)) == (100, 0, 1, 600)
    assert box_of(0.25, (400, 600), along_long_side=False) == (0, 150, 400, 1)


def test_the_frames_of_a_scratched_roll_are_to_be_looked_at_and_the_others_are_not():
    rules, asked = shipped_thresholds(), Asked(film_format("135"))
    pictures = [busy(seed, level=14 if seed < 5 else 0) for seed in range(7)]
    scans = inspect_roll(
        [inspect_image(p, name=f"{k}.jpg", asked=asked, thresholds=rules) for k, p in enumerate(pictures)], rules
    )
    found = {scan.name: f for scan in scans for f in scan.findings if f.name == "scratches_along_roll"}
    assert list(found) == [f"{k}.jpg" for k in range(5)]
    assert found["2.jpg"].verdict == LOOK
    assert found["2.jpg"].says == "1 fine line along the film, at one place through 5 frames"
    x, y, w, h = found["2.jpg"].boxes[0]
    assert (x, w, h) == (0, 900, 1)
    assert y == pytest.approx(0.31 * 600, abs=3)


def test_real_photographs_as_one_roll_have_none():
    pictures = [cv2.imread(str(path))[..., ::-1].copy() for path in photographs()]
    for order in (pictures, pictures[::-1], pictures[::2] + pictures[1::2]):
        frames = [fine_lines(picture) for picture in order]
        upright = [picture.shape[0] > picture.shape[1] for picture in order]
        assert lines_through(frames, upright=upright) == ()


def test_a_scratch_over_real_photographs_is_found_in_most_of_them():
    pictures = [cv2.imread(str(path))[..., ::-1].astype(float) for path in photographs()]
    pictures = [p for p in pictures if p.shape[1] > p.shape[0]]
    for picture in pictures:
        y = round(0.62 * picture.shape[0])
        picture[y] += 16
    found = lines_through([fine_lines(np.clip(p, 0, 255).astype(np.uint8)) for p in pictures])
    assert len(found) == 1
    assert len(found[0].frames) >= 0.7 * len(pictures)
