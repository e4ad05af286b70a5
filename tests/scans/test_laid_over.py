"""Scans laid over phone shots: where they lie, in every turn, and that other subjects do not lie there."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.negatives.likeness import mirrored, see
from dryside.scans.laid_over import lay_over, overlay_of, shot_detail
from scans.pictures import photographs

FRAME = (0.22, 0.18, 0.56, 0.6)  # x, y, width, height in parts of the shot


def shot(number):
    return cv2.imread(str(photographs()[number]))[..., ::-1].copy()


def scan_of(picture, *, grain=0.0, turn=0, is_mirrored=False, seed=0):
    """The part of a shot that is the frame, soft, grey and grainy."""
    rows, columns = picture.shape[:2]
    x, y, w, h = (round(v) for v in np.array(FRAME) * (columns, rows, columns, rows))
    image = picture[y : y + h, x : x + w].mean(axis=2).astype(np.float32)
    image = cv2.GaussianBlur(image, (0, 0), 1.5) * 0.6 + 70
    image = image + np.random.default_rng(seed).normal(0, grain, image.shape)
    image = np.rot90(np.clip(image, 0, 255).astype(np.uint8), turn)
    return np.ascontiguousarray(image[:, ::-1] if is_mirrored else image)


def laid(scan, picture, *, is_mirrored=False):
    view = mirrored(see(scan)) if is_mirrored else see(scan)
    other = see(picture)
    return lay_over(overlay_of(view, is_mirrored=is_mirrored), other, shot_detail(other))


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_a_grainy_scan_lies_where_it_was_cut_in_every_turn(turn):
    picture = shot(0)
    found = laid(scan_of(picture, grain=45, turn=turn), picture)
    assert found
    assert found.agreement > 0.5
    x, y, w, h = FRAME
    places = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    places = places[turn:] + places[:turn]  # rot90 turns the first corner away by one
    assert np.allclose(found.corners, places, atol=0.03)


def test_a_mirrored_scan_lies_there_mirrored_back():
    picture = shot(3)
    found = laid(scan_of(picture, grain=30, is_mirrored=True), picture, is_mirrored=True)
    assert found
    assert found.mirrored
    assert np.allclose(found.corners[0], FRAME[:2], atol=0.03)


def test_other_subjects_do_not_lie_in_a_shot():
    pictures = [shot(number) for number in range(6)]
    for number, picture in enumerate(pictures):
        for turned in (False, True):
            scan = scan_of(pictures[number - 1], grain=30, seed=number)
            assert not laid(scan, picture, is_mirrored=turned), number


def test_an_empty_scan_lies_nowhere():
    assert not laid(np.full((400, 600), 120, np.uint8), shot(1))
