"""How strongly a roll was developed, from a chart on it or from its pictures."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from chart_film import chart_frame, chart_patches, film
from dryside.negatives.chart_values import LINEAR_SRGB
from dryside.negatives.development import FrameTones, frame_tones, roll_development
from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.layers import LUMINANCE
from dryside.negatives.spaces import scene_rendering
from dryside.stats.control_chart import control_chart
from negatives.drawn_roll import write_frames

PHOTOGRAPHS = sorted((Path(__file__).parents[2].parent / "shared" / "data" / "film-photographs").glob("*.png"))


def developed(scene, gamma, *, exposure=0.0, base=0.3):
    """Transmittance of a silver negative: a toe (Hurter and Driffield's curve with a straight part) above its base."""
    log_exposure = np.log10(np.maximum(scene, 1e-4)) + 2.2 + exposure
    density = base + gamma * np.log10(1 + 10.0**log_exposure)
    return np.repeat((10.0**-density)[..., None], 3, axis=-1)


def test_the_slope_over_a_charts_greys_is_the_films_gradient():
    frame = np.full((64, 96), 0.03)
    for index, light in enumerate(LINEAR_SRGB @ LUMINANCE):
        row, column = divmod(index, 6)
        frame[row * 16 + 3 : (row + 1) * 16, column * 16 + 3 : (column + 1) * 16] = light
    grain = 10.0 ** np.random.default_rng(3).normal(0, 0.006, (64, 96, 1))
    for gamma in (0.5, 0.58, 0.7):
        told = frame_tones(developed(frame, gamma, exposure=0.5) * grain, None, look_for_chart=True)
        assert told.grey_slope == pytest.approx(gamma, abs=0.02)


@pytest.mark.parametrize("process", ["c41", "ecn2", "e6"])
def test_a_chart_on_colour_film_gives_the_slope_of_its_patches_as_the_camera_sees_them(process):
    stock = film(process, 4)
    told = frame_tones(chart_frame(stock), None, look_for_chart=True)
    density = -np.log10(chart_patches(stock)).mean(axis=-1)[18:23]
    expected = abs(np.polyfit(np.log10(LINEAR_SRGB[18:23] @ LUMINANCE), density, 1)[0])
    assert told.grey_slope == pytest.approx(expected, rel=0.06)


def test_without_a_chart_there_is_no_slope():
    plain = developed(np.random.default_rng(1).uniform(0.01, 1, (64, 96)), 0.6)
    assert frame_tones(plain, None, look_for_chart=True).grey_slope is None


def test_the_range_is_that_of_the_pictures_and_blank_frames_count_for_nothing():
    frames = [FrameTones(one) for one in (1.0, 1.1, 0.9, 1.0, 1.2, 0.8, 0.01, 0.0)]
    told = roll_development(frames)
    assert (told.grey_slope, told.picture_range, told.frames) == (None, pytest.approx(1.0), 6)
    # Distances to the median are 0, 0.1, 0.1, 0, 0.2, 0.2: their median 0.1 is a standard deviation of 0.148.
    assert told.error == pytest.approx(1.2533 * 0.14826 / 6**0.5)
    assert roll_development(frames[:5]).picture_range is None
    assert roll_development([]).frames == 0


def rolls_of_pictures(gammas, frames=24):
    """Picture ranges of rolls that hold crops of real photographs, exposed a little differently each."""
    rng = np.random.default_rng(5)
    scenes = [(np.asarray(Image.open(path).convert("L"), float) / 255) ** 2.2 for path in PHOTOGRAPHS]
    for gamma in gammas:
        tones = []
        for _ in range(frames):
            scene = scenes[rng.integers(len(scenes))]
            rows, columns = scene.shape
            height, width = int(rows * rng.uniform(0.5, 1)), int(columns * rng.uniform(0.5, 1))
            top, left = rng.integers(rows - height + 1), rng.integers(columns - width + 1)
            part = cv2.resize(scene[top : top + height, left : left + width], (96, 64), interpolation=cv2.INTER_AREA)
            seen = developed(part, gamma, exposure=rng.normal(0, 0.15))
            tones.append(frame_tones(seen, None, look_for_chart=False))
        yield roll_development(tones)


@pytest.mark.skipif(not PHOTOGRAPHS, reason="the shared photographs are not beside the project")
def test_a_development_that_drifts_is_seen_in_the_range_of_real_pictures():
    """Sixteen rolls as usual, then eight in a developer grown a quarter too strong: a shift, and none before it."""
    told = list(rolls_of_pictures([0.58] * 16 + [0.58 * 1.25] * 8))
    values = [one.picture_range for one in told]
    assert control_chart(values[:16]).in_control
    chart = control_chart(values, baseline=16)
    assert any(place >= 16 for place in (*chart.outside, *chart.shifted))
    # The error that is told is about the scatter from roll to roll (a standard error of a standard deviation of 16
    # values is a sixth of it; the pictures of a roll repeat).
    assert np.mean([one.error for one in told[:16]]) == pytest.approx(np.std(values[:16]), rel=0.6)


def test_inverting_tells_each_frames_tones(tmp_path):
    captures = write_frames(tmp_path / "in", 3)
    options = InvertOptions(process="bw", film_format="135", rendering=scene_rendering(), whole=True)
    made = invert(captures, options, tmp_path / "out")
    ranges = [frame.tones.density_range for capture in made.captures for frame in capture.frames]
    # Tones are drawn from 0.1 to 1.2 (a spline passes them a little), the middle channel as drawn.
    assert all(0.6 < one < 1.4 for one in ranges)
