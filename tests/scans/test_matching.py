"""Scans matched to phone shots of the same frames."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest
from PIL import Image

from dryside.film.refusal import NotFound
from dryside.scans.matching import match_folders
from scans.pictures import photographs, write_jpeg


def scan_of(picture, k, *, mirrored=False):
    """The inner part of a picture in other colours, grainy, sometimes turned."""
    h, w = picture.shape[:2]
    rng = np.random.default_rng(k)
    cut = picture[h // 8 : h - h // 8, w // 8 : w - w // 8].astype(float) / 255
    grey = cut.mean(axis=2, keepdims=True)
    made = (grey + 0.3 * (cut - grey)) ** 1.4 * (1.1, 1.0, 0.8) + rng.normal(0, 0.04, cut.shape)
    made = np.rot90(np.clip(made * 255, 0, 255).astype(np.uint8), [0, 1, 0, 3][k % 4])
    return np.ascontiguousarray(made[:, ::-1] if mirrored else made)


def shot_of(picture, k):
    """The whole picture a little from the side, warmer."""
    h, w = picture.shape[:2]
    rng = np.random.default_rng(100 + k)
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    moved = (corners + rng.uniform(-0.04, 0.04, (4, 2)) * [w, h]).astype(np.float32)
    warped = cv2.warpPerspective(picture, cv2.getPerspectiveTransform(corners, moved), (w, h))
    return np.clip(warped * (1.1, 1.0, 0.9), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def roll(tmp_path_factory):
    """Six frames, of which one has no shot, and two shots that have no frame; times fall as the scans' numbers rise."""
    pictures = [cv2.imread(str(path))[..., ::-1].copy() for path in photographs()[:8]]
    root = tmp_path_factory.mktemp("roll")
    truth = {}
    for k in range(6):
        name = f"0612-{k + 1:02d}.jpg"
        write_jpeg(root / "scans" / name, scan_of(pictures[k], k, mirrored=k == 4))
        truth[name] = None if k == 2 else f"IMG_{900 - 10 * k}.jpg"
    (root / "shots").mkdir()
    for k in (0, 1, 3, 4, 5, 6, 7):
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0x9003] = f"2026:05:03 {20 - k:02d}:00:00"
        Image.fromarray(shot_of(pictures[k], k)).save(root / "shots" / f"IMG_{900 - 10 * k}.jpg", exif=exif)
    (root / "shots" / "clip.mov").write_bytes(b"\0\0\0\x14ftypqt  " + bytes(40))
    return root, truth


def test_every_scan_gets_its_shot_or_none_and_the_order_is_told(roll):
    root, truth = roll
    found = match_folders(root / "scans", root / "shots")
    assert {pair.scan: pair.reference for pair in found.pairs} == truth
    assert found.order == "descending"
    assert all(pair.confidence > 0.9 for pair in found.pairs)
    assert [pair.likeness.mirrored for pair in found.pairs if pair.likeness] == [False, False, False, True, False]
    assert [aside.name for aside in found.asides] == ["clip.mov"]


def test_a_double_exposure_lies_in_two_shots_of_different_views(roll, tmp_path):
    root, _ = roll
    both = [cv2.imread(str(path))[..., ::-1].astype(float) for path in (photographs()[0], photographs()[3])]
    write_jpeg(tmp_path / "scans" / "1.jpg", np.clip(0.6 * both[0] + 0.6 * both[1], 0, 255).astype(np.uint8))
    write_jpeg(tmp_path / "scans" / "2.jpg", scan_of(both[1].astype(np.uint8), 0))
    first, second = match_folders(tmp_path / "scans", root / "shots").pairs
    assert first.second is not None
    assert second.second is None


def test_the_printed_form_is_the_fixed_one(roll):
    root, truth = roll
    printed = json.loads(json.dumps(match_folders(root / "scans", root / "shots").as_dict()))
    assert set(printed) == {"pairs", "order"}
    assert [set(pair) for pair in printed["pairs"]] == [{"scan", "reference", "confidence"}] * len(truth)


def test_a_folder_that_is_not_there_is_not_found(tmp_path):
    with pytest.raises(NotFound, match="there is no such folder"):
        match_folders(tmp_path / "none", tmp_path)


def test_scans_that_cannot_be_read_are_pairs_without_a_shot(roll, tmp_path):
    root, _ = roll
    (tmp_path / "scans").mkdir()
    whole = (root / "scans" / "0612-01.jpg").read_bytes()
    (tmp_path / "scans" / "1.jpg").write_bytes(whole)
    (tmp_path / "scans" / "2.jpg").write_bytes(whole[: len(whole) // 2])
    found = match_folders(tmp_path / "scans", root / "shots")
    assert [(pair.scan, pair.reference) for pair in found.pairs] == [("1.jpg", "IMG_900.jpg"), ("2.jpg", None)]
    assert "cut off" in next(aside for aside in found.asides if aside.name == "2.jpg").found
