"""`dryside calibrate` and `invert --profile` on drawn strips."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import tifffile

from chart_film import chart_difference, film, reference_rgb
from dryside.demo.simulator.camera import Camera
from dryside.demo.simulator.capture import draw_capture
from dryside.demo.simulator.film_strip import ExposedFrame, FilmStrip


def dryside(*arguments, folder):
    done = subprocess.run(
        [sys.executable, "-m", "dryside.cli.main", *map(str, arguments)],
        cwd=folder,
        capture_output=True,
        text=True,
        env=os.environ | {"DRYSIDE_BOOK": str(folder / "book")},
        check=False,
    )
    return done


def chart_scene(rows=400, columns=600):
    scene = np.full((rows, columns, 3), 0.035, np.float32)
    for index, rgb in enumerate(np.maximum(reference_rgb(), 0)):
        row, column = divmod(index, 6)
        scene[15 + row * 95 : 95 + row * 95, 20 + column * 95 : 100 + column * 95] = rgb
    return scene


def even_scene():
    return np.full((40, 60, 3), 0.18, np.float32) * np.linspace(0.3, 2, 60)[None, :, None].astype(np.float32)


def draw(folder, name, scenes, seed):
    strip = FilmStrip(
        tuple(ExposedFrame(scene, x_mm=4 + 38 * i) for i, scene in enumerate(scenes)),
        length_mm=8 + 38 * len(scenes),
        emulsion=film("c41", 5),
    )
    size = Camera(rows=900, columns=int((12 + 38 * len(scenes)) * 20), pixels_per_mm=20)
    drawn = draw_capture(strip, size, seed=seed)
    tifffile.imwrite(folder / f"{name}.tif", drawn.pixels, photometric="rgb")
    tifffile.imwrite(folder / f"{name}-flat.tif", drawn.flat, photometric="rgb")


@pytest.fixture(scope="module")
def captures(tmp_path_factory):
    folder = tmp_path_factory.mktemp("captures")
    draw(folder, "first", [even_scene(), chart_scene()], 1)
    draw(folder, "second", [chart_scene() * 1.8], 2)
    draw(folder, "plain", [even_scene()], 3)
    return folder


@pytest.fixture(scope="module")
def profile(captures):
    told = dryside(
        "calibrate", "first.tif", "--process", "c41", "--format", "135", "--flat", "first-flat.tif",
        "--out", "p.json", "--json", folder=captures,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    return json.loads(told.stdout)


def test_a_chart_on_a_strip_is_fitted_and_its_residuals_are_told(profile):
    assert profile["target"] == "chart"
    assert profile["median"] < 3.0
    assert len(profile["patches"]) == 24
    assert profile["patches"][0]["off"] >= profile["patches"][-1]["off"]


def test_the_profile_makes_another_strip_true(captures, profile):
    told = dryside(
        "invert", "second.tif", "--process", "c41", "--format", "135", "--flat", "second-flat.tif",
        "--profile", profile["profile"], "--rendering", "scene", "--out", "o", "--no-jpeg", "--json",
        folder=captures,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    frame = json.loads(told.stdout)["captures"][0]["frames"][0]
    light = tifffile.imread(captures / frame["positive"]).astype(float)
    high, wide = light.shape[:2]
    patches = []
    for index in range(24):
        row, column = divmod(index, 6)
        y, x = (15 + row * 95 + 40) / 400 * high, (20 + column * 95 + 40) / 600 * wide
        patches.append(light[int(y) - 12 : int(y) + 12, int(x) - 12 : int(x) + 12].mean(axis=(0, 1)))
    off = chart_difference(np.array(patches) / 65535)
    assert np.median(off) <= 3.0
    assert np.quantile(off, 0.95) <= 6.5


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("plain.tif", "--flat", "plain-flat.tif"), 3, "no 24-patch chart in frame"),
        (("first.tif", "--flat", "first-flat.tif", "--frame", "99"), 3, "no frame 99 here"),
        (("first.tif", "--flat", "first-flat.tif", "--reference", "none.csv"), 2, "it cannot be read"),
        (("first.tif", "--flat", "first-flat.tif", "--wedge-step", "-1"), 2, "is no step between exposures"),
    ],
)
def test_what_cannot_be_calibrated_is_refused_in_words_and_nothing_is_written(captures, arguments, status, words):
    told = dryside("calibrate", *arguments, "--process", "c41", "--out", "none.json", folder=captures)
    assert told.returncode == status
    assert words in told.stderr
    assert "Traceback" not in told.stderr
    assert not (captures / "none.json").exists()


def test_a_profile_of_another_process_is_refused_by_invert(captures, profile):
    told = dryside(
        "invert", "second.tif", "--process", "e6", "--profile", profile["profile"], "--out", "x", folder=captures
    )
    assert told.returncode == 2
    assert "it was made for c41, the film here is e6" in told.stderr
