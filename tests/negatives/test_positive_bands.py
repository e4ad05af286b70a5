from dataclasses import replace

import numpy as np
import pytest
import tifffile

from dryside.negatives.capture import read_capture
from dryside.negatives.flat import Flat
from dryside.negatives.frame_view import frame_view, snap_corners
from dryside.negatives.positive_bands import positive_bands
from dryside.negatives.recipe import Recipe
from dryside.negatives.rendering import SCENE

ROWS, COLUMNS = 420, 560
# Light itself comes out: the geometry is what is tested.
UNIT = Recipe(
    ((-1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)), (0.0, 0.0, 0.0), rendering=replace(SCENE, full_scale=1.0)
)
SKEW = np.array([[90.3, 70.2], [440.1, 81.7], [432.4, 330.9], [84.2, 322.8]])
EXACT = np.array([[60.0, 40.0], [360.0, 40.0], [360.0, 240.0], [60.0, 240.0]])
STEEP = np.array([[250.0, 80.0], [430.0, 215.0], [330.0, 350.0], [150.0, 215.0]])


def seen(x, y):
    waves = (np.sin(x / 9 + y / 20), np.sin(x / 15 - y / 8), np.sin(y / 13 + x / 31))
    return np.stack([30000 + 9000 * wave for wave in waves], -1)


@pytest.fixture(scope="module", params=["none", "deflate"])
def capture(request, tmp_path_factory):
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    path = tmp_path_factory.mktemp("bands") / "a.tif"
    packed = {} if request.param == "none" else {"compression": "deflate", "predictor": True, "rowsperstrip": 50}
    tifffile.imwrite(path, np.rint(seen(x, y)).astype(np.uint16), photometric="rgb", **packed)
    with read_capture(path) as opened:
        yield opened


def whole(capture, corners, flat=None):
    view = frame_view(corners)
    flat = flat or Flat(np.zeros((1, 1, 3), np.float32), 1000, (ROWS, COLUMNS), "full scale")
    return view, np.concatenate(list(positive_bands(capture, flat, UNIT, view)))


def truth(view_size, corners):
    """Where each pixel of the positive should lie, by OpenCV's own homography."""
    import cv2

    rows, columns = view_size
    outline = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], float)
    matrix = cv2.findHomography(outline, corners)[0]
    r, c = np.mgrid[0:rows, 0:columns]
    p = np.stack([c + 0.5, r + 0.5, np.ones_like(c)], -1) @ matrix.T
    return p[..., 0] / p[..., 2] - 0.5, p[..., 1] / p[..., 2] - 0.5


TURNS = {
    "upright": [0, 1, 2, 3],
    "quarter turn": [3, 0, 1, 2],
    "half turn": [2, 3, 0, 1],
    "three quarters": [1, 2, 3, 0],
    "mirrored": [1, 0, 3, 2],
    "mirrored, quarter turn": [0, 3, 2, 1],
    "mirrored, half turn": [3, 2, 1, 0],
    "mirrored, three quarters": [2, 1, 0, 3],
}


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("frame", ["skew", "exact", "steep"])
def test_the_positive_lies_on_its_corners_whichever_way_the_film_lay(capture, frame, turn):
    corners = {"skew": SKEW, "exact": EXACT, "steep": STEEP}[frame][TURNS[turn]]
    view, out = whole(capture, corners)
    x, y = truth((view.rows, view.columns), corners)
    assert np.abs(out - seen(x, y)).max() <= (0.51 if frame == "exact" else 3)
    assert (view.exact is not None) == (frame == "exact")


def test_a_frame_at_the_captures_edge_repeats_its_last_pixels(capture):
    corners = np.array([[0.0, 0.4], [COLUMNS - 0.3, 1.2], [COLUMNS - 1.0, ROWS - 0.8], [0.3, ROWS * 1.0]])
    view, out = whole(capture, corners)
    x, y = truth((view.rows, view.columns), corners)
    assert np.abs(out - seen(x, y)).max() < 600
    assert np.abs(out - seen(x, y))[8:-8, 8:-8].max() <= 3


def test_the_flat_is_taken_where_the_pixel_lies(capture):
    light = np.log2(np.linspace(0.85, 1.0, 70)[None, :, None] * np.linspace(0.8, 1.0, 53)[:, None, None] * np.ones(3))
    flat = Flat(light.astype(np.float32), 8, (ROWS, COLUMNS), "flat")
    view, out = whole(capture, SKEW, flat)
    x, y = truth((view.rows, view.columns), SKEW)
    bare = np.interp(x, np.arange(70) * 8 + 3.5, np.linspace(0.85, 1, 70)) * np.interp(
        y, np.arange(53) * 8 + 3.5, np.linspace(0.8, 1, 53)
    )
    exact = np.minimum(seen(x, y) / bare[..., None], 65535)
    # The map is linear in its logarithm between cells, the check in light itself.
    assert np.abs(out - exact).max() < 12


def test_corners_near_whole_pixels_are_cut_out_as_they_are():
    near = EXACT + np.array([[0.3, -0.2], [0.1, 0.3], [-0.4, 0.2], [0.2, 0.1]])
    assert np.array_equal(snap_corners(near), EXACT)
    assert np.array_equal(snap_corners(near[[1, 2, 3, 0]]), EXACT[[1, 2, 3, 0]])


def test_corners_of_a_tilted_frame_stay_as_they_are():
    assert np.array_equal(snap_corners(SKEW), SKEW)


def test_corners_that_cross_are_no_frame():
    with pytest.raises(ValueError, match="no convex quadrilateral"):
        frame_view(EXACT[[0, 2, 1, 3]])
