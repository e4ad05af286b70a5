"""A real negative on a light table through the real command: one frame, its number, its scale, a positive."""

import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

PHOTOGRAPH = (Path(__file__).parents[2] / "../shared/data/colour-negative-on-light-table.jpg").resolve()
DRYSIDE = Path(sys.executable).with_name("dryside")

pytestmark = [
    pytest.mark.real,
    pytest.mark.skipif(not PHOTOGRAPH.is_file(), reason="the shared photograph of a real negative is not here"),
]

# Middles of the perforations of both rows, read off the picture by eye, in pixels. The camera leaned: the lower row is
# nearer, and the film's scale is that of its middle.
UPPER_HOLES_X_PX = (60, 126, 193, 259, 325, 391, 458, 526, 593, 662)
LOWER_HOLES_X_PX = (53, 121, 189, 258, 325, 394, 461, 530, 600, 670, 739)
PITCH_MM = 4.75  # ISO 1007 / KS-1870 long pitch


@pytest.fixture(scope="module")
def inverted(tmp_path_factory):
    """What `dryside invert` prints of the photograph, run once."""
    out = tmp_path_factory.mktemp("real")
    words = [DRYSIDE, "invert", PHOTOGRAPH, "--process", "c41", "--format", "135", "--out", out, "--json"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)["captures"][0]


def test_the_one_whole_frame_is_found_and_carries_the_number_on_the_film(inverted):
    assert [(frame["label"], frame["label_source"]) for frame in inverted["frames"]] == [("21", "edge code")]
    assert inverted["mirrored"] is False


def test_the_scale_is_what_the_pitch_of_the_perforations_gives(inverted):
    rows = (UPPER_HOLES_X_PX, LOWER_HOLES_X_PX)
    by_eye = np.mean([np.polyfit(range(len(row)), row, 1)[0] for row in rows]) / PITCH_MM
    assert inverted["pixels_per_mm"] == pytest.approx(by_eye, rel=0.01)


def test_the_frame_has_the_shape_of_a_135_frame(inverted):
    corners = np.array(inverted["frames"][0]["corners"])
    along = np.linalg.norm(corners[1] - corners[0]) / inverted["pixels_per_mm"]
    across = np.linalg.norm(corners[3] - corners[0]) / inverted["pixels_per_mm"]
    assert along == pytest.approx(36, abs=1.0)
    assert across == pytest.approx(24, abs=0.7)


def test_the_base_is_orange_and_the_positive_is_its_opposite(inverted):
    frame = inverted["frames"][0]
    red, green, blue = frame["base_density"]
    assert red < green < blue
    positive = tifffile.imread(frame["positive"])
    assert positive.dtype == np.uint16
    corners = np.array(frame["corners"])
    left, top = np.ceil(corners.min(axis=0)).astype(int) + 3
    right, low = np.floor(corners.max(axis=0)).astype(int) - 3
    negative = cv2.imread(str(PHOTOGRAPH))[top:low, left:right].mean(axis=-1)
    small = [cv2.resize(np.float32(p), (24, 16), interpolation=cv2.INTER_AREA) for p in (negative, positive.mean(-1))]
    ranks = [np.argsort(np.argsort(part.ravel())) for part in small]
    assert np.corrcoef(*ranks)[0, 1] < -0.7
