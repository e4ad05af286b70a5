"""Light leaks on drawn strips: told where light came in, never on clean film."""

import numpy as np
import pytest
import tifffile

from dryside.demo.simulator import BY_PROCESS, Camera, Fog, Placed, draw_capture, landscape, lay_out, portrait, snow
from dryside.negatives.leaks import fogged_stretches
from dryside.negatives.measure import MeasureOptions, measure_capture


def strip_with(folder, process="c41", **details):
    rng = np.random.default_rng(3)
    pictures = [landscape(rng, 200, 300), snow(rng, 200, 300), portrait(rng, 200, 300)]
    film = lay_out(pictures, emulsion=BY_PROCESS[process], stock_number=None, **details)
    made = draw_capture(Placed(film, tilt_degrees=0.4), Camera(rows=520, columns=1640, pixels_per_mm=12), seed=2)
    path = folder / "strip.tif"
    tifffile.imwrite(path, made.pixels, photometric="rgb")
    return path


def leak_notes(path):
    measured = measure_capture(path, MeasureOptions("135"))
    return [sum("leaked" in note for note in frame.warnings) for frame in measured.frames]


@pytest.mark.parametrize("process", ["c41", "bw"])
def test_clean_film_is_not_warned_of(tmp_path, process):
    assert leak_notes(strip_with(tmp_path, process)) == [0, 0, 0]


def test_a_snow_field_is_not_taken_for_a_leak(tmp_path):
    assert leak_notes(strip_with(tmp_path, stops=[3.0, 3.5, 3.0])) == [0, 0, 0]


def test_the_frames_beside_a_leak_are_warned_and_no_others(tmp_path):
    assert leak_notes(strip_with(tmp_path, fogs=(Fog(50.0, 58.0, 0.6),))) == [0, 1, 0]


def test_a_light_struck_end_is_told(tmp_path):
    assert leak_notes(strip_with(tmp_path, fogs=(Fog(0.0, 14.0, 4.0),)))[0] == 1


def test_neighbouring_fogged_patches_are_one_leak_and_a_single_one_is_none():
    place = np.array([2.0, 6.7, 11.5, 16.2, 60.0, 100.0])
    fog = np.array([0.01, 0.2, 0.35, 0.02, 0.4, 0.0])
    assert fogged_stretches(place, fog, 0.08) == [(6.7, 11.5, 0.35)]


def test_film_without_patches_has_no_leaks():
    assert fogged_stretches(np.empty(0), np.empty(0), 0.08) == []
