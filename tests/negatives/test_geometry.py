"""Strips, frames, codes and labels: on a real photograph and on drawn captures whose truth is known."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from dryside.demo.simulator import (
    BY_PROCESS,
    SLIDE,
    Fog,
    Placed,
    dark,
    draw_capture,
    landscape,
    lay_out,
    leaves,
    portrait,
)
from dryside.negatives.geometry import finder_reduction
from dryside.negatives.overlay import draw_overlay
from dryside.negatives.rebate import rebate_mask, rebate_samples
from negatives.drawn_film import CAMERA, corner_errors_pct, find, scenes

SHARED = Path(__file__).parents[2] / "../shared/data"
PHOTOGRAPHS = SHARED / "film-photographs"
PHOTOGRAPH = SHARED / "colour-negative-on-light-table.jpg"

# What is asked of the finder, in per cent of the frame's height.
CORNER_MEDIAN_PCT, CORNER_WORST_PCT = 0.4, 1.2


def drawn(strip, *, tilt=0.0, mirrored=False, seed=1, **camera):
    """A capture just large enough for a strip."""
    length, width = strip.length_mm + 8, strip.width_mm + 8
    cos, sin = abs(np.cos(np.deg2rad(tilt))), abs(np.sin(np.deg2rad(tilt)))
    per_mm = camera.get("pixels_per_mm", CAMERA.pixels_per_mm)
    size = {"rows": int((sin * length + cos * width) * per_mm), "columns": int((cos * length + sin * width) * per_mm)}
    placed = Placed(strip, tilt_degrees=tilt, mirrored=mirrored)
    return draw_capture(placed, replace(CAMERA, **(size | camera)), seed=seed)


def assert_found(found, made, **details):
    errors = corner_errors_pct(found, made, **details)
    assert np.median(errors) <= CORNER_MEDIAN_PCT
    assert errors.max() <= CORNER_WORST_PCT


def labels(found):
    return [frame.label for frame in found.frames]


@pytest.mark.real
def test_the_real_photograph_shows_one_whole_frame_labelled_21():
    if not PHOTOGRAPH.exists():
        pytest.skip("the shared photograph is not here")
    picture = cv2.imread(str(PHOTOGRAPH))[..., ::-1].astype(np.float32) / 255
    found = find(picture**2.2)
    (frame,) = found.frames
    assert (frame.label, frame.label_source) == ("21", "edge code")
    # What a reader of the whole picture says (README of the photograph), and a ruler on it: the corners to about
    # 3 px, ten pitches of the lower row from x = 54 to x = 740, nine of the upper from 60 to 662.
    assert {code.text for code in found.strips[0].codes} == {"36-2/20A", "36-2/21"}
    ruled = ((740 - 54) / 10 + (662 - 60) / 9) / 2 / 4.75
    assert found.strips[0].strip.pixels_per_mm == pytest.approx(ruled, rel=0.01)
    np.testing.assert_allclose(frame.corners, [[99, 108], [608, 101], [614, 445], [95, 447]], atol=5)
    assert found.strips[0].strip.mirrored is False
    assert found.strips[0].stock_number == "36-2"


def test_frames_corners_scale_and_labels_of_a_plain_strip():
    made = drawn(lay_out(scenes(4), first_number=11), tilt=1.3)
    found = find(made.light)
    assert_found(found, made)
    assert labels(found) == ["11", "12", "13", "14"]
    strip = found.strips[0].strip
    assert strip.pixels_per_mm == pytest.approx(made.strips[0].pixels_per_mm, rel=0.003)
    assert strip.tilt_degrees == pytest.approx(1.3, abs=0.05)
    assert strip.ends_seen == (True, True)
    assert strip.mirrored is False


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_turning_the_capture_turns_the_answer(quarter_turns):
    made = drawn(lay_out(scenes(2), first_number=4), tilt=0.6)
    plain = find(made.light)
    turned = find(np.ascontiguousarray(np.rot90(made.light, -quarter_turns)))  # clockwise
    rows, columns = made.light.shape[:2]
    for one, other in zip(plain.frames, turned.frames, strict=True):
        corners = one.corners
        for turn in range(quarter_turns):
            height = (rows, columns)[turn % 2]
            corners = np.stack([height - corners[:, 1], corners[:, 0]], axis=-1)
        np.testing.assert_allclose(other.corners, corners, atol=0.6)
        assert other.label == one.label
    assert turned.strips[0].strip.mirrored is False


def test_mirroring_the_capture_mirrors_the_answer_and_is_noticed():
    made = drawn(lay_out(scenes(2), first_number=4), tilt=0.6)
    plain, mirrored = find(made.light), find(np.ascontiguousarray(made.light[:, ::-1]))
    assert plain.strips[0].strip.mirrored is False
    assert mirrored.strips[0].strip.mirrored is True
    assert mirrored.strips[0].strip.tilt_degrees == pytest.approx(-plain.strips[0].strip.tilt_degrees, abs=0.03)
    for one, other in zip(plain.frames, mirrored.frames, strict=True):
        expected = one.corners * [-1, 1] + [made.light.shape[1], 0]
        np.testing.assert_allclose(other.corners, expected, atol=0.6)
        assert other.label == one.label


def test_a_strip_without_codes_says_that_its_orientation_is_a_guess():
    found = find(drawn(lay_out(scenes(2), stock_number=None, words="")).light)
    assert len(found.frames) == 2
    assert found.strips[0].strip.mirrored is None
    assert any("taken as it stands" in words for words in found.strips[0].strip.warnings)
    assert labels(found) == [None, None]


def test_several_strips_are_read_from_the_top_down():
    strips = [lay_out(scenes(3, seed), first_number=3 * seed) for seed in (1, 2)]
    placed = [Placed(one, centre_px=(700, 220 + 400 * k), tilt_degrees=0.7 - k) for k, one in enumerate(strips)]
    made = draw_capture(placed, replace(CAMERA, rows=840, columns=1400), seed=3)
    assert labels(find(made.light)) == ["3", "4", "5", "6", "7", "8"]


@pytest.mark.parametrize("process", ["bw", "ecn2", "e6"])
def test_every_process_is_found(process):
    made = drawn(lay_out(scenes(3), emulsion=BY_PROCESS[process], first_number=20), tilt=-0.8)
    found = find(made.light)
    assert_found(found, made)
    assert labels(found) == ["20", "21", "22"]
    assert found.strips[0].strip.clear_is_light == (process != "e6")


def test_keystone_and_a_bent_lens_are_taken_from_the_holes():
    made = drawn(lay_out(scenes(5)), keystone=(0.02, -0.02), distortion=0.02)
    found = find(made.light)
    assert_found(found, made)
    assert found.strips[0].strip.plane.distortion == pytest.approx(0.02, abs=0.004)


def test_a_frame_without_light_stands_where_its_neighbours_leave_room():
    rng = np.random.default_rng(2)
    pictures = [leaves(rng, 200, 300), dark(rng), landscape(rng, 200, 300), portrait(rng, 200, 300)]
    made = drawn(lay_out(pictures))
    found = find(made.light)
    assert labels(found) == ["1", "2", "3", "4"]
    assert np.median(corner_errors_pct(found, made)) <= CORNER_MEDIAN_PCT
    assert found.frames[1].confidence < 0.5 < found.frames[0].confidence


def test_overlaps_and_wide_gaps():
    made = drawn(lay_out(scenes(4, 5), gaps_mm=[-2.0, 9.0, 1.0], stock_number=None))
    assert_found(find(made.light), made)


def test_over_exposed_frames():
    made = drawn(lay_out(scenes(3), stops=[4, 5, 3]))
    assert_found(find(made.light), made)


def test_a_fogged_first_frame():
    made = drawn(lay_out(scenes(3), first_x_mm=12, fogs=(Fog(0, 22, 8.0),)))
    found = find(made.light)
    errors = corner_errors_pct(found, made)
    assert errors.max() < 3  # its left side cannot be seen; it follows from the others' length
    assert np.median(errors) <= CORNER_MEDIAN_PCT


def test_a_frame_cut_at_the_strips_end_is_given_up_to_the_cut():
    whole = lay_out(scenes(3))
    made = drawn(replace(whole, length_mm=whole.length_mm - 20))
    found = find(made.light)
    assert_found(found, made)
    assert found.frames[2].warnings == ("cut through at the end of the strip",)


def test_half_frames_are_numbered_with_their_a():
    made = drawn(lay_out(scenes(5), format="half", first_number=7, number_x_mm=4.5))
    found = find(made.light, "half")
    assert_found(found, made)
    assert labels(found) == ["7", "7A", "8", "8A", "9"]


def test_panoramic_frames():
    made = drawn(lay_out(scenes(2), format="panoramic", stock_number=None))
    assert_found(find(made.light, "panoramic"), made)


@pytest.mark.parametrize("format", ["120-6x4.5", "120-6x6", "120-6x7", "120-6x9", "120-6x12"])
def test_roll_film_of_every_size(format):
    made = drawn(lay_out(scenes(2), format=format, first_x_mm=7, tail_mm=7), pixels_per_mm=8, surround="black")
    assert_found(find(made.light, format), made, height_mm=56.0)


def test_slides_on_roll_film():
    strip = lay_out(scenes(2), format="120-6x6", emulsion=SLIDE, first_x_mm=7, tail_mm=7)
    made = drawn(strip, pixels_per_mm=8)
    assert_found(find(made.light, "120-6x6", process="e6"), made, height_mm=56.0)


def test_a_holder_that_masks_the_perforations():
    strip = lay_out(scenes(3))
    made = drawn(strip, window_mm=(-2, 4.95, strip.length_mm + 2, 35 - 4.95))
    found = find(made.light)
    assert_found(found, made)
    assert found.strips[0].strip.scale_source == "frames"


def test_one_row_of_perforations_is_enough():
    strip = lay_out(scenes(3))
    placed = Placed(strip, film_centre_mm=(strip.length_mm / 2, 22.5), tilt_degrees=180.4)
    made = draw_capture(placed, replace(CAMERA, rows=360, columns=1300), seed=1)
    found = find(made.light)
    assert_found(found, made)
    assert labels(found) == ["1", "2", "3"]


def test_one_capture_a_frame_with_a_sliver_of_film_around():
    strip = lay_out(scenes(3))
    x0, y0, x1, y1 = strip.rectangle(strip.frames[1])
    placed = Placed(strip, film_centre_mm=((x0 + x1) / 2, (y0 + y1) / 2), tilt_degrees=0.3)
    made = draw_capture(placed, replace(CAMERA, rows=520, columns=760, pixels_per_mm=20.0), seed=1)
    (frame,) = find(made.light).frames
    true = next(one for one in made.frames if one.index == 1)
    assert np.hypot(*(frame.corners - true.corners).T).max() / (24 * 20) * 100 < CORNER_WORST_PCT


def test_a_capture_that_is_one_frame_of_a_colour_negative_and_nothing_else():
    strip = lay_out(scenes(3), gate_mm=(36, 24))
    x0, y0, x1, y1 = strip.rectangle(strip.frames[1])
    placed = Placed(strip, film_centre_mm=((x0 + x1) / 2, (y0 + y1) / 2))
    made = draw_capture(placed, replace(CAMERA, rows=480, columns=720, pixels_per_mm=20.0), seed=1)
    (frame,) = find(made.light).frames
    np.testing.assert_allclose(frame.corners, [[0, 0], [720, 0], [720, 480], [0, 480]])
    assert frame.confidence < 0.5
    assert "no film is seen around it" in frame.warnings[0]


NO_FILM = {
    "empty table": "nothing but even light is in it: an empty light table, a flat, or clear film",
    "uneven table": "nothing but even light is in it",
    "clipped table": "clipped: 100% of it is at full scale in every channel",
    "blackness": "no rows of perforations and no frames",
    "one pixel": "no rows of perforations and no frames",
    "noise": "no rows of perforations and no frames",
    "a picture": "no rows of perforations and no frames",
    "a picture with a white border": "no orange mask",
}


def picture_of(what):
    rng = np.random.default_rng(4)
    if what == "uneven table":
        y, x = np.mgrid[-1:1:300j, -1:1:400j]
        return ((0.8 - 0.25 * (x * x + y * y) + 0.1 * x)[..., None] * (1.0, 0.9, 0.7)).astype(np.float32)
    if what == "a picture with a white border":
        return np.pad(np.clip(landscape(rng, 400, 600), 0, 0.9), ((12, 12), (12, 12), (0, 0)), constant_values=0.95)
    return {
        "empty table": np.full((300, 400, 3), 0.9, np.float32),
        "clipped table": np.ones((300, 400, 3), np.float32),
        "blackness": np.zeros((300, 400, 3), np.float32),
        "one pixel": np.full((1, 1, 3), 0.5, np.float32),
        "noise": rng.random((300, 400, 3), dtype=np.float32),
        "a picture": np.clip(landscape(rng, 300, 450), 0, 1),
    }[what]


@pytest.mark.parametrize("what", NO_FILM)
def test_what_is_no_film_is_not_found_and_why_is_told(what):
    found = find(picture_of(what), process="c41")
    assert not found
    assert NO_FILM[what] in found.why


@pytest.mark.real
@pytest.mark.parametrize(
    ("number", "process"),
    [(number, "c41") for number in range(1, 25, 2)] + [(number, one) for number in (1, 15, 21) for one in ("bw", "e6")],
)
def test_a_photograph_of_anything_else_is_no_film(number, process):
    # Twelve photographs of a published true-colour test set: scenes, none of them of film.
    path = PHOTOGRAPHS / f"photo-{number:02d}.png"
    if not path.exists():
        pytest.skip("the shared photographs are not here")
    light = (cv2.imread(str(path))[..., ::-1].astype(np.float32) / 255) ** np.float32(2.2)
    assert not find(light, process=process)


def test_rebate_samples_have_the_colour_of_film_base():
    made = drawn(lay_out(scenes(3)), surround="black", unevenness=0.0, vignetting=0.0)
    found = find(made.light)
    samples = rebate_samples(made.light, found.strips[0], scale=1.0)
    density = -np.log10(np.median(samples, axis=0) / np.array(CAMERA.light))
    np.testing.assert_allclose(density, made.strips[0].base_density, atol=0.02)
    mask = rebate_mask(made.light.shape[:2], found.strips[0].strip, found.frames, scale=1.0)
    np.testing.assert_allclose(np.median(made.light[mask], axis=0), np.median(samples, axis=0), rtol=0.03)


def test_the_overlay_draws_on_the_capture_and_leaves_it_alone():
    made = drawn(lay_out(scenes(2)))
    before = made.light.copy()
    shown = draw_overlay(made.light, find(made.light), scale=1.0)
    assert shown.shape == made.light.shape
    assert shown.dtype == np.uint8
    assert ((shown == (40, 230, 60)).all(axis=-1)).sum() > 500  # the frames' outlines
    np.testing.assert_array_equal(made.light, before)


def test_the_reduction_keeps_small_captures_whole():
    assert finder_reduction(551, 800) == 1
    assert finder_reduction(4000, 6000) == 4
    assert finder_reduction(15_000, 33_000) > 15
