"""Film without whole perforations: what surrounds a picture, faint frames, cut perforations, several pieces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.demo.simulator import (
    BY_PROCESS,
    SLIDE,
    Camera,
    Fog,
    Placed,
    dark,
    draw_capture,
    lay_out,
    night,
)
from dryside.film.refusal import Refusal
from dryside.negatives.film_pieces import find_pieces
from dryside.negatives.measure import MeasureOptions, measure_capture
from dryside.negatives.no_film import BARE_LIGHT, remedy_for
from dryside.negatives.rebate_around import rebate_around
from negatives.drawn_film import CAMERA, corner_errors_pct, find, scenes

PER_MM = 20.0


def around_the_middle_frame(strip, *, along=0.9, across=0.9, tilt=0.0, seed=1, **camera):
    """A capture of the second of three frames and a little film."""
    x0, y0, x1, y1 = strip.rectangle(strip.frames[1])
    placed = Placed(strip, film_centre_mm=((x0 + x1) / 2, (y0 + y1) / 2), tilt_degrees=tilt)
    size = {"rows": int((y1 - y0 + 2 * across) * PER_MM), "columns": int((x1 - x0 + 2 * along) * PER_MM)}
    made = draw_capture(placed, Camera(**({"pixels_per_mm": PER_MM, "blur_px": 0.5} | size | camera)), seed=seed)
    return made, next(frame for frame in made.frames if frame.index == 1)


def worst_pct(found, true):
    return float(np.hypot(*(found.corners - true.corners).T).max() / (24 * PER_MM) * 100)


def one_of_three(picture):
    pictures = scenes(3)
    pictures[1] = picture
    return lay_out(pictures, gate_mm=(36.1, 24.1))


def test_a_frame_hardly_darker_than_its_film_is_found_by_its_faint_sides():
    made, true = around_the_middle_frame(one_of_three(night(np.random.default_rng(3), 200, 300)), along=1.2, across=0.7)
    (frame,) = find(made.light, process="c41").frames
    assert worst_pct(frame, true) < 2.5


def test_a_frame_as_clear_as_its_film_is_taken_to_lie_in_the_middle():
    made, true = around_the_middle_frame(one_of_three(dark(np.random.default_rng(3), 200, 300)), dust=20)
    (frame,) = find(made.light, process="c41").frames
    assert worst_pct(frame, true) < 5
    assert frame.confidence < 0.3
    assert "its sides are not seen" in frame.warnings[0]


def test_cut_perforations_give_the_scale():
    strip = lay_out(scenes(3), gate_mm=(36.4, 24.2))
    made, true = around_the_middle_frame(strip, across=1.1, tilt=0.3)
    (read,) = find(made.light, process="c41").strips
    assert read.strip.scale_source == "perforations"
    assert read.strip.pixels_per_mm == pytest.approx(PER_MM, rel=0.003)
    assert worst_pct(read.frames[0], true) < 1.2


def pieces_of_roll_film(process, surround):
    """A lying strip of two frames, and a standing one of one beside it."""
    emulsion = BY_PROCESS[process]
    ends = {"first_x_mm": 5, "tail_mm": 5, "format": "120-6x6", "emulsion": emulsion}
    lying, standing = lay_out(scenes(2), **ends), lay_out(scenes(1, 4), **ends)
    per_mm = 5.0
    placed = [
        Placed(lying, centre_px=(75 * per_mm, 40 * per_mm), tilt_degrees=1.0),
        Placed(standing, centre_px=(190 * per_mm, 45 * per_mm), tilt_degrees=92.0),
    ]
    camera = Camera(rows=int(90 * per_mm), columns=int(235 * per_mm), pixels_per_mm=per_mm, surround=surround)
    return draw_capture(placed, camera, seed=1)


@pytest.mark.parametrize(
    ("process", "surround"), [("c41", "table"), ("c41", "black"), ("bw", "table"), ("e6", "table")]
)
def test_pieces_of_roll_film_in_different_directions_are_told_apart(process, surround):
    made = pieces_of_roll_film(process, surround)
    found = find(made.light, "120-6x6", process=process)
    assert [len(read.frames) for read in found.strips] == [2, 1]
    for frame in found.frames:
        nearest = min(made.frames, key=lambda true: np.hypot(*(true.corners.mean(0) - frame.corners.mean(0))))
        ways = [np.roll(way, k, axis=0) for way in (frame.corners, frame.corners[::-1]) for k in range(4)]
        assert min(np.hypot(*(way - nearest.corners).T).max() for way in ways) < 0.015 * 56 * 5


def test_one_strip_is_no_several_pieces():
    made = draw_capture(lay_out(scenes(3)), Camera(rows=400, columns=1250, pixels_per_mm=10), seed=1)
    assert find_pieces(made.light, scale=1.0, process="c41") == ()


def test_strips_of_perforated_film_in_different_directions():
    lying, standing = lay_out(scenes(2), first_number=3), lay_out(scenes(2, 5), first_number=20)
    placed = [
        Placed(lying, centre_px=(480, 240), tilt_degrees=1.0),
        Placed(standing, centre_px=(1150, 440), tilt_degrees=-91.0),
    ]
    made = draw_capture(placed, Camera(rows=900, columns=1400, pixels_per_mm=10), seed=1)
    found = find(made.light)
    assert [[frame.label for frame in read.frames] for read in found.strips] == [["3", "4"], ["20", "21"]]


def test_a_first_frame_that_is_fogged_by_half_keeps_its_place():
    pictures = scenes(4)
    pictures[0] = night(np.random.default_rng(5), 200, 300)
    strip = lay_out(pictures, first_x_mm=10, fogs=(Fog(0, 26, 12.0),))
    size = {"rows": 430, "columns": int((strip.length_mm + 8) * 10)}
    made = draw_capture(strip, Camera(pixels_per_mm=10, **size), seed=1)
    found = find(made.light)
    assert len(found.frames) == 4
    assert corner_errors_pct(found, made).max() < 5


def ring(colour, picture):
    """A frame of 30 x 20 mm at 10 px/mm with 2 mm of one colour around it."""
    light = np.empty((240, 340, 3), np.float32)
    light[:] = colour
    light[20:-20, 20:-20] = picture
    return light


def seen_around(light, *, clear=True, brightest=(1.0, 1.0, 1.0)):
    return rebate_around(
        light, np.ones(light.shape[:2], bool), (20.0, 20.0, 320.0, 220.0), (), px_per_mm=10.0, clear_is_light=clear,
        brightest=np.array(brightest),
    )  # fmt: skip


@given(st.floats(0.05, 20.0), st.floats(0.0, 0.9))
def test_film_around_a_frame_is_told_whatever_the_exposure(exposure, darker):
    picture = np.array([0.5, 0.25, 0.12]) * (1 - darker)
    seen = seen_around(ring((0.5, 0.25, 0.12), picture) * exposure, brightest=(exposure,) * 3)
    assert seen.agreeing == 1.0
    assert seen.beyond == 0.0
    assert seen.mask == pytest.approx(np.log10(0.5 / 0.12), abs=0.01)


def test_a_picture_clearer_than_what_surrounds_it_is_no_negative_and_one_darker_no_slide():
    assert seen_around(ring(0.4, 0.8)).beyond == 1.0
    assert seen_around(ring(0.4, 0.8)).value == -1.0
    assert seen_around(ring(0.4, 0.05), clear=False).beyond == 1.0


def test_a_busy_surround_agrees_on_little():
    rng = np.random.default_rng(2)
    light = ring(0.5, 0.2)
    light *= np.kron(rng.uniform(0.2, 1.0, (24, 34)), np.ones((10, 10)))[..., None].astype(np.float32)
    assert seen_around(light).agreeing < 0.6


def test_an_empty_table_is_refused_with_what_to_do(tmp_path):
    import tifffile

    path = tmp_path / "table.tif"
    y, x = np.mgrid[-1:1:400j, -1:1:600j]
    light = (0.8 - 0.15 * (x * x + y * y))[..., None] * np.array([1.0, 0.95, 0.8])
    tifffile.imwrite(path, (light * 65535).astype(np.uint16), photometric="rgb")
    with pytest.raises(Refusal, match="empty light table") as caught:
        measure_capture(path, MeasureOptions("135", process="c41"))
    assert caught.value.exit_status == 2
    assert remedy_for(BARE_LIGHT) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_slides_are_told_by_the_black_around_them():
    strip = lay_out(scenes(2), format="120-6x6", emulsion=SLIDE, first_x_mm=7, tail_mm=7)
    size = {"rows": 560, "columns": int((strip.length_mm + 8) * 8)}
    made = draw_capture(Placed(strip), Camera(pixels_per_mm=8, unevenness=CAMERA.unevenness, **size), seed=1)
    assert find(made.light, "120-6x6", process="e6")
    assert not find(made.light, "120-6x6", process="c41")
