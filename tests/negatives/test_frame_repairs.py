"""Dust taken out on the way from a capture to its positives, by an infrared picture in a file of its own."""

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from dryside.film.refusal import Refusal
from dryside.negatives.frame_repairs import DustOptions
from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.spaces import print_rendering
from negatives.drawn_roll import write_strip


@pytest.fixture(scope="module")
def scanned(tmp_path_factory):
    """A dusty strip, its flat and its infrared in a folder of its own; and the truth."""
    folder = tmp_path_factory.mktemp("scan")
    made = write_strip(folder, infrared=True, dust=60)
    (folder / "infrared").mkdir()
    tifffile.imwrite(folder / "infrared" / "capture-1.tif", made.infrared, photometric="minisblack")
    return folder, made


def positives(folder, out, infrared=""):
    flat = folder / "flat.tiff"
    options = InvertOptions("c41", "135", print_rendering(), flat=flat, dust=DustOptions(infrared))
    roll = invert([folder / "capture-1.tif"], options, out)
    return [frame.positive for frame in roll.captures[0].frames]


def test_an_infrared_file_takes_out_the_dust_and_keeps_its_mask(scanned, tmp_path):
    folder, _ = scanned
    dusty = positives(folder, tmp_path / "dusty")
    mended = positives(folder, tmp_path / "mended", str(folder / "infrared" / "capture-1.tif"))
    for one, other in zip(dusty, mended, strict=True):
        before, after = tifffile.imread(one), tifffile.imread(other)
        changed = (before != after).any(axis=-1)
        assert 0.0005 < changed.mean() < 0.05
        around = cv2.medianBlur(before, 5)
        for _ in range(4):  # dust is small: what lies around it stays
            around = cv2.medianBlur(around, 5)
        away = [np.abs(part.astype(float) - around)[changed].max(axis=-1) for part in (before, after)]
        assert np.quantile(away[1], 0.99) < 0.75 * np.quantile(away[0], 0.99)
        mask = np.asarray(Image.open(other.with_suffix(".dust.png")))
        assert 0.0005 < mask.mean() < 0.05


def test_a_folder_of_infrared_files_gives_the_same_bytes(scanned, tmp_path):
    folder, _ = scanned
    by_file = positives(folder, tmp_path / "file", str(folder / "infrared" / "capture-1.tif"))
    by_folder = positives(folder, tmp_path / "folder", str(folder / "infrared"))
    assert [path.read_bytes() for path in by_file] == [path.read_bytes() for path in by_folder]


def test_an_infrared_file_of_another_size_is_refused(scanned, tmp_path):
    folder, made = scanned
    tifffile.imwrite(tmp_path / "small.tif", made.infrared[::2, ::2], photometric="minisblack")
    with pytest.raises(Refusal, match="the infrared is 1150 x 380 pixels, the capture 2300 x 760"):
        positives(folder, tmp_path / "out", str(tmp_path / "small.tif"))
