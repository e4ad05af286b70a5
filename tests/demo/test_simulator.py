"""The film simulator: its truth is true, and the same seed draws the same capture."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import zxingcpp

from dryside.demo.simulator import (
    BY_PROCESS,
    DRAWN,
    Camera,
    ExposedFrame,
    FilmStrip,
    Placed,
    dark,
    draw_capture,
    lay_out,
    leaves,
    snow,
)
from dryside.demo.simulator.marks import clock_bits, data_bits

CAMERA = Camera(rows=500, columns=1300, pixels_per_mm=10, grain=0.0, full_well=0.0, blur_px=0.0)


@pytest.fixture
def strip():
    rng = np.random.default_rng(1)
    return lay_out([leaves(rng, 200, 300), snow(rng, 200, 300)], first_number=3)


def test_one_seed_one_capture(strip):
    camera = replace(CAMERA, grain=0.02, full_well=20_000.0, dust=20, unevenness=0.2)
    first, again, other = (draw_capture(strip, camera, seed=seed).pixels for seed in (5, 5, 6))
    np.testing.assert_array_equal(first, again)
    assert (first != other).any()


def test_bare_light_passes_the_holes_and_base_density_is_what_the_film_says(strip):
    made = draw_capture(strip, CAMERA)
    plane = made.strips[0].plane
    hole = plane.capture(np.array([strip.hole_phase_mm, 3.4])).astype(int)
    np.testing.assert_allclose(made.light[hole[1], hole[0]], CAMERA.light, rtol=1e-3)
    beside = plane.capture(np.array([strip.hole_phase_mm + strip.pitch_mm / 2, 3.4])).astype(int)
    density = -np.log10(made.light[beside[1], beside[0]] / np.array(CAMERA.light))
    np.testing.assert_allclose(density, made.strips[0].base_density, atol=0.002)


def test_the_gate_falls_exactly_on_its_corners():
    """Half of the step is passed at the true corner, to a tenth of a pixel; film answers faint light in proportion."""
    white = np.full((50, 50, 3), 0.003, np.float32)
    strip = FilmStrip(
        frames=(ExposedFrame(white, 10.03),), length_mm=60, stock_number=None, words="", gate_softness_mm=0
    )
    made = draw_capture(strip, replace(CAMERA, columns=700, pixels_per_mm=11.0))
    (x0, y0), (x1, _) = made.frames[0].corners[:2]
    row = made.light[int(y0) + 100, :, 1]
    level = (row[int(x0) - 4] + row[int(x0) + 4]) / 2
    near = np.arange(int(x0) - 4, int(x0) + 4)
    crossing = np.interp(-level, -row[near], near + 0.5)
    assert crossing == pytest.approx(x0, abs=0.1)
    assert x1 - x0 == pytest.approx(36 * 11, abs=1e-6)


def test_an_outside_reader_reads_the_printed_codes(strip):
    made = draw_capture(strip, replace(CAMERA, rows=1000, columns=2600, pixels_per_mm=20, dtype="uint8"))
    (left, top), (right, bottom) = (
        made.strips[0].plane.capture(np.array([[0.5, 33.05], [strip.length_mm - 0.5, 34.9]])).astype(int)
    )
    rim = made.pixels[top:bottom, left:right, 1]
    ground = np.full(
        (len(rim) + 20, rim.shape[1]), np.percentile(rim, 80), np.uint8
    )  # the clock is met first from above
    picture = np.concatenate([ground, rim, ground[:8]])
    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.DXFilmEdge)
    read = set()
    for size in (0.5, 0.7, 1.0, 1.5):  # what the reader misses at one size it reads at another
        scaled = cv2.resize(picture, None, fx=size, fy=size, interpolation=cv2.INTER_AREA)
        read |= {result.text for result in zxingcpp.read_barcodes(scaled, formats=formats)}
    assert read <= set(made.strips[0].whole_codes)
    assert len(read) >= 2


def test_code_bits_are_those_of_the_published_strings():
    # Rows of the shared table of edge codes that were read back by an open bar code reader.
    assert data_bits("115-10", 23) == "1010101110011010100010111010101"
    assert data_bits("79-15", 47) == "1010101001111011110101111000101"
    assert data_bits("95-2", None) == "10101010111110001010101"
    assert clock_bits(31) == "1111101010101010101010101010111"
    assert clock_bits(23) == "11111010101010101010111"


def test_mirroring_and_turning_move_the_truth(strip):
    plain = draw_capture(Placed(strip), CAMERA).frames[0].corners
    turned = draw_capture(Placed(strip, tilt_degrees=180), CAMERA).frames[0].corners
    mirrored = draw_capture(Placed(strip, mirrored=True), CAMERA)
    np.testing.assert_allclose(turned, [1300, 500] - plain, atol=1e-6)
    np.testing.assert_allclose(mirrored.frames[0].corners, plain * [1, -1] + [0, 500], atol=1e-6)
    assert mirrored.strips[0].mirrored


def test_a_cut_frame_ends_at_the_cut(strip):
    short = replace(strip, length_mm=strip.length_mm - 20)
    cut = draw_capture(short, CAMERA).frames[1]
    assert 0.4 < cut.visible < 0.6
    assert cut.corners[1][0] < cut.whole_corners[1][0]


@pytest.mark.parametrize("process", sorted(BY_PROCESS))
def test_light_darkens_negatives_and_clears_slides(process):
    base, grey, bright = (
        BY_PROCESS[process](np.full((1, 1, 3), exposure, np.float32))[0, 0] for exposure in (0.0, 0.18, 1.5)
    )
    if process == "e6":
        assert (base < grey).all()
        assert (grey < bright).all()
    else:
        assert (base > grey).all()
        assert (grey > bright).all()


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_every_drawn_picture_is_light(name):
    picture = DRAWN[name](np.random.default_rng(3), 120, 180)
    assert picture.shape == (120, 180, 3)
    assert np.isfinite(picture).all()
    assert (picture >= 0).all()


def test_infrared_sees_dust_and_not_the_picture():
    rng = np.random.default_rng(2)
    strip = lay_out([leaves(rng, 200, 300), dark(rng, 200, 300)])
    made = draw_capture(strip, replace(CAMERA, infrared=True, dust=60))
    infrared = made.infrared.astype(float) / 65535
    on_film = np.s_[100:400, 150:1150]
    assert infrared[on_film][made.damage[on_film] > 0.6].mean() < 0.5 * np.median(infrared[on_film])
    assert infrared[on_film][made.damage[on_film] == 0].std() < 0.06
