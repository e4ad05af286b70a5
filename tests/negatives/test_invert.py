import errno
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image

from dryside.film.refusal import Refusal
from dryside.negatives.frame_repairs import DustOptions
from dryside.negatives.invert import InvertOptions, as_document, capture_files, invert
from dryside.negatives.journal import JOURNAL_NAME
from dryside.negatives.spaces import DISPLAY_P3, print_rendering, scene_rendering
from dryside.negatives.write_positive import OutputOptions
from negatives.drawn_roll import strip, write_frames, write_strip

PRINT = InvertOptions("c41", "135", print_rendering(), workers=2)
WHOLE = replace(PRINT, whole=True)


def digests(folder):
    """What lies in a folder of positives, by name."""
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.name != JOURNAL_NAME
    }


@pytest.fixture(scope="module")
def inverted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("strip")
    write_strip(folder)
    options = replace(PRINT, flat=folder / "flat.tiff", overlay=True)
    return folder, invert([folder / "capture-1.tif"], options, folder / "out")


def test_a_strip_becomes_its_frames_in_order_with_their_numbers(inverted):
    _, roll = inverted
    truth = strip()
    (capture,) = roll.captures
    assert [frame.label for frame in capture.frames] == [frame.label for frame in truth.frames]
    assert capture.pixels_per_mm == pytest.approx(truth.strips[0].pixels_per_mm, rel=0.003)
    assert capture.tilt_degrees == pytest.approx(0.6, abs=0.05)
    height = 24 * 18
    for frame, true in zip(capture.frames, truth.frames, strict=True):
        assert np.abs(np.array(frame.corners) - true.corners).max() < 0.012 * height
        assert frame.base_density == pytest.approx(truth.strips[0].base_density, abs=0.03)


def test_files_hold_what_the_corners_say_with_profile_and_way(inverted):
    _, roll = inverted
    frame = roll.captures[0].frames[0]
    side = np.linalg.norm(np.array(frame.corners[1]) - frame.corners[0])
    with tifffile.TiffFile(frame.positive) as file:
        page = file.pages[0]
        assert (page.dtype, page.compression.name) == (np.uint16, "ADOBE_DEFLATE")
        assert page.imagewidth == pytest.approx(side, abs=1)
        assert b"acsp" in page.tags["InterColorProfile"].value
        assert b"source_crc32" in bytes(page.tags["XMP"].value)
    with Image.open(frame.positive.with_suffix(".jpg")) as image:
        assert image.info["icc_profile"]
        assert image.size[0] == page.imagewidth
    with Image.open(frame.positive.with_suffix(".thumb.jpg")) as image:
        assert max(image.size) == 512
    assert (frame.positive.parent / "capture-1.overlay.jpg").exists()


def test_the_document_is_plain_json_of_the_promised_form(inverted):
    _, roll = inverted
    document = json.loads(json.dumps(as_document(roll)))
    assert set(document) == {"captures"}
    (capture,) = document["captures"]
    assert set(capture) == {"path", "pixels_per_mm", "tilt_degrees", "mirrored", "frames"}
    assert set(capture["frames"][0]) == {
        *("index", "corners", "label", "label_source", "positive", "base_density", "warnings")
    }
    assert np.shape(capture["frames"][0]["corners"]) == (4, 2)


def test_light_comes_back_in_a_scene_file(inverted):
    # The simulator's own scenes are the reference, after one factor for exposure: colours are the colour tests' matter.
    folder, _ = inverted
    options = replace(PRINT, rendering=scene_rendering(), flat=folder / "flat.tiff")
    roll = invert([folder / "capture-1.tif"], options, folder / "scene")
    picture = tifffile.imread(roll.captures[0].frames[2].positive).astype(float)
    grey = picture[40:-40, 40:-40].mean(axis=2)
    assert 500 < np.median(grey) < 40000
    assert not (folder / "scene" / roll.captures[0].frames[0].positive.with_suffix(".part").name).exists()


def test_the_same_work_again_writes_nothing_and_says_the_same(inverted):
    folder, roll = inverted
    before = {path.name: path.stat().st_mtime_ns for path in (folder / "out").iterdir() if path.suffix == ".tif"}
    again = invert([folder / "capture-1.tif"], replace(PRINT, flat=folder / "flat.tiff", overlay=True), folder / "out")
    assert again == roll
    assert before == {p.name: p.stat().st_mtime_ns for p in (folder / "out").iterdir() if p.suffix == ".tif"}


def test_a_positive_that_was_lost_or_changed_is_made_again(tmp_path):
    paths = write_frames(tmp_path / "in", 3)
    first = invert(paths, WHOLE, tmp_path / "out")
    wanted = digests(tmp_path / "out")
    first.captures[0].frames[0].positive.unlink()
    with first.captures[1].frames[0].positive.open("ab") as file:
        file.write(b"spoilt")
    invert(paths, WHOLE, tmp_path / "out")
    assert digests(tmp_path / "out") == wanted


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2, 5])
def test_any_number_of_workers_writes_the_same_bytes(tmp_path, workers):
    paths = write_frames(tmp_path / "in", 5)
    write_strip(tmp_path / "in", "strip.tif", flat=False)
    invert(paths, replace(WHOLE, workers=workers), tmp_path / "out")
    invert(paths, replace(WHOLE, workers=3), tmp_path / "again")
    assert digests(tmp_path / "out") == digests(tmp_path / "again")
    one = replace(PRINT, workers=workers)
    invert([tmp_path / "in" / "strip.tif"], one, tmp_path / "out-strip")
    invert([tmp_path / "in" / "strip.tif"], replace(one, workers=3), tmp_path / "again-strip")
    assert digests(tmp_path / "out-strip") == digests(tmp_path / "again-strip")


def test_one_bad_file_among_many_is_named_and_the_rest_is_done(tmp_path):
    paths = write_frames(tmp_path / "in", 6)
    paths[3].write_bytes(paths[3].read_bytes()[:5000])
    roll = invert(capture_files([tmp_path / "in"]), WHOLE, tmp_path / "out")
    assert [capture.path.name for capture in roll.captures] == [p.name for k, p in enumerate(paths) if k != 3]
    (refused,) = roll.refused
    assert "frame-04.tif" in refused.thing
    assert "cut short" in refused.found
    assert all(frame.positive.exists() for capture in roll.captures for frame in capture.frames)
    assert as_document(roll)["refused"][0]["found"] == refused.found


def test_damage_that_only_shows_while_converting_is_named_too(tmp_path):
    paths = write_frames(tmp_path / "in", 3)
    whole = tifffile.imread(paths[1])
    tifffile.imwrite(paths[1], whole, photometric="rgb", compression="deflate", rowsperstrip=8)
    with tifffile.TiffFile(paths[1]) as file:
        place = file.pages[0].dataoffsets[20]
    data = bytearray(paths[1].read_bytes())
    data[place : place + 30] = b"\x55" * 30
    paths[1].write_bytes(bytes(data))
    roll = invert(paths, WHOLE, tmp_path / "out")
    assert len(roll.captures) == 2
    assert "strip 21" in roll.refused[0].found
    assert not [path for path in (tmp_path / "out").iterdir() if path.name.endswith(".part")]


def test_a_single_capture_that_cannot_be_used_is_refused_itself(tmp_path):
    (tmp_path / "a.tif").write_bytes(b"")
    with pytest.raises(Refusal, match="empty: 0 bytes"):
        invert([tmp_path / "a.tif"], PRINT, tmp_path / "out")


def even(tmp_path, level, name="a.tif", texture=0.0):
    rng = np.random.default_rng(0)
    picture = np.full((600, 900, 3), level, float) * (1 + texture * rng.standard_normal((600, 900, 1)))
    tifffile.imwrite(tmp_path / name, np.clip(picture, 0, 65535).astype(np.uint16), photometric="rgb")
    return tmp_path / name


@pytest.mark.parametrize("level", [0, 300, 52000, 65535])
def test_an_empty_light_table_or_a_black_or_clipped_picture_is_no_film(tmp_path, level):
    with pytest.raises(Refusal, match=r"a\.tif") as caught:
        invert([even(tmp_path, level)], PRINT, tmp_path / "out")
    assert "\n" not in str(caught.value)
    assert caught.value.exit_status == 2


FLATS = {
    "another size": (lambda folder: even(folder, 50000, "f.tif"), "the flat is 900 x 600 pixels, the capture"),
    "clipped": (lambda folder: even(folder, 65535, "f.tif"), "clipped over 100"),
    "dark": (lambda folder: even(folder, 200, "f.tif"), "falls to 0"),
    "the film itself": (lambda folder: folder / "capture-1.tif", "no even light|falls to"),
    "missing": (lambda folder: folder / "none.tif", "no such file"),
}


@pytest.mark.parametrize("kind", FLATS)
def test_a_flat_that_does_not_belong_is_refused(tmp_path, kind):
    make, found = FLATS[kind]
    write_strip(tmp_path, flat=False)
    with pytest.raises(Refusal, match=found):
        invert([tmp_path / "capture-1.tif"], replace(PRINT, flat=make(tmp_path)), tmp_path / "out")


def test_a_noisy_flat_with_vignetting_is_accepted(tmp_path):
    made = write_strip(tmp_path, flat=False)
    y, x = np.mgrid[-1 : 1 : made.flat.shape[0] * 1j, -1 : 1 : made.flat.shape[1] * 1j]
    noise = 1 + 0.02 * np.random.default_rng(1).standard_normal(made.flat.shape)
    tifffile.imwrite(
        tmp_path / "f.tif",
        (made.flat * (1 - 0.4 * (x * x + y * y))[..., None] * noise).astype(np.uint16),
        photometric="rgb",
    )
    roll = invert([tmp_path / "capture-1.tif"], replace(PRINT, flat=tmp_path / "f.tif"), tmp_path / "out")
    assert len(roll.captures[0].frames) == 3


def test_folders_are_read_by_name_and_a_flat_in_them_is_left_out(tmp_path):
    paths = write_frames(tmp_path / "in", 3)
    (tmp_path / "in" / "notes.txt").write_text("no picture")
    (tmp_path / "in" / ".hidden.tif").write_bytes(b"x")
    assert capture_files([tmp_path / "in"], [paths[1]]) == [paths[0], paths[2]]
    with pytest.raises(Refusal, match="no picture in this folder"):
        capture_files([tmp_path])


def test_positives_beside_their_captures_are_not_taken_for_captures(tmp_path):
    paths = write_frames(tmp_path / "in", 2)
    for _ in range(2):
        roll = invert(capture_files([tmp_path / "in"]), WHOLE, tmp_path / "in")
        assert [capture.path for capture in roll.captures] == paths


def test_captures_of_one_name_in_two_folders_do_not_overwrite_each_other(tmp_path):
    first, second = write_frames(tmp_path / "a", 1) + write_frames(tmp_path / "b", 1)
    roll = invert([first, second], WHOLE, tmp_path / "out")
    assert len({capture.frames[0].positive for capture in roll.captures}) == 2


def test_positives_can_be_reduced(tmp_path):
    (path,) = write_frames(tmp_path / "in", 1)
    full = invert([path], WHOLE, tmp_path / "full").captures[0].frames[0].positive
    small = invert([path], replace(WHOLE, output=OutputOptions(longest=110)), tmp_path / "small")
    reduced = tifffile.imread(small.captures[0].frames[0].positive).astype(float)
    assert reduced.shape == (75, 110, 3)
    mean = tifffile.imread(full).astype(float).reshape(75, 4, 110, 4, 3).mean(axis=(1, 3))
    assert np.abs(reduced - mean).max() <= 1


def test_a_wide_space_is_written_with_its_own_profile(tmp_path):
    (path,) = write_frames(tmp_path / "in", 1)
    roll = invert([path], replace(WHOLE, rendering=print_rendering(DISPLAY_P3)), tmp_path / "out")
    with tifffile.TiffFile(roll.captures[0].frames[0].positive) as file:
        assert "Display P3".encode("utf-16-be") in file.pages[0].tags["InterColorProfile"].value


def test_infrared_is_refused_for_silver_and_where_there_is_none(tmp_path):
    paths = write_frames(tmp_path / "in", 2)
    with pytest.raises(Refusal, match="silver"):
        invert(paths, replace(WHOLE, process="bw", dust=DustOptions("4")), tmp_path / "out")
    with pytest.raises(Refusal, match="no fourth channel"):
        invert(paths[:1], replace(WHOLE, dust=DustOptions("4")), tmp_path / "out")
    with pytest.raises(Refusal, match="one infrared file for 2 captures"):
        invert(paths, replace(WHOLE, dust=DustOptions(str(paths[0]))), tmp_path / "out")


SMALL_DISK = """
import resource, signal, sys
from pathlib import Path
from dataclasses import replace
from dryside.negatives.invert import InvertOptions, capture_files, invert
from dryside.negatives.spaces import print_rendering
from dryside.film.refusal import Refusal

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), resource.RLIM_INFINITY))
try:
    options = InvertOptions("c41", "135", print_rendering(), whole=True, workers=2)
    invert(capture_files([Path(sys.argv[1])]), options, Path(sys.argv[2]))
except Refusal as refusal:
    print(refusal)
    sys.exit(2)
"""


@pytest.mark.slow
def test_a_full_disk_leaves_nothing_half_written_and_the_rerun_ends_the_same(tmp_path):
    paths = write_frames(tmp_path / "in", 4)
    invert(paths, WHOLE, tmp_path / "wanted")
    largest = max(path.stat().st_size for path in (tmp_path / "wanted").iterdir())
    # A limit on the size of a file stands for the full disk: the write fails in the middle (EFBIG).
    words = [sys.executable, "-c", SMALL_DISK, str(tmp_path / "in"), str(tmp_path / "out"), str(largest // 2)]
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 2, done.stderr
    assert "no room left to write it" in done.stdout
    assert set(digests(tmp_path / "out").items()) <= set(digests(tmp_path / "wanted").items())
    invert(paths, WHOLE, tmp_path / "out")
    assert digests(tmp_path / "out") == digests(tmp_path / "wanted")


COMMAND = [sys.executable, "-m", "dryside.cli.main", "invert", "--process", "c41", "--whole", "--workers", "2"]


@pytest.mark.slow
def test_ctrl_c_ends_with_one_line_and_the_rerun_ends_the_same(tmp_path):
    paths = write_frames(tmp_path / "in", 8, rows=600, columns=800)
    invert(paths, WHOLE, tmp_path / "wanted")
    out = tmp_path / "out"
    words = [*COMMAND, str(tmp_path / "in"), "--out", str(out)]
    running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    end = time.monotonic() + 60
    while not list(out.glob("*.tif")) and time.monotonic() < end and running.poll() is None:
        time.sleep(0.01)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=60)
    assert running.returncode in (0, 130), said
    if running.returncode == 130:
        assert "goes on from there" in said
        assert "Traceback" not in said
    assert not [path for path in out.iterdir() if path.name.endswith(".part")]
    assert set(digests(out).items()) <= set(digests(tmp_path / "wanted").items())
    again = subprocess.run(words, capture_output=True, text=True)
    assert again.returncode == 0, again.stderr
    assert digests(out) == digests(tmp_path / "wanted")


@pytest.mark.slow
def test_a_killed_run_goes_on_to_the_same_bytes(tmp_path):
    paths = write_frames(tmp_path / "in", 6, rows=600, columns=800)
    invert(paths, WHOLE, tmp_path / "wanted")
    out = tmp_path / "out"
    words = [*COMMAND, str(tmp_path / "in"), "--out", str(out)]
    running = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    end = time.monotonic() + 60
    while not list(out.glob(".*.part")) and not list(out.glob("*.tif")) and time.monotonic() < end:
        time.sleep(0.002)
    running.kill()
    running.wait()
    with (out / JOURNAL_NAME).open("a") as journal:
        journal.write('{"key": "half a li')
    invert(paths, WHOLE, out)
    assert digests(out) == digests(tmp_path / "wanted")


PEAK = """
import sys
from pathlib import Path
from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.spaces import print_rendering

options = InvertOptions("c41", "135", print_rendering(), whole=True, workers=1)
invert([Path(sys.argv[1])], options, Path(sys.argv[2]))
print(next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")).split()[1])
"""


@pytest.mark.slow
def test_memory_of_a_large_capture_stays_far_below_its_size(tmp_path):
    # 60 million pixels: 360 MB as stored, 720 MB in floats, 180 MB as the 8-bit picture that the JPEG is made of.
    path = tmp_path / "large.tif"
    noise = np.random.default_rng(0).integers(0, 90, (100, 10_000, 3))
    rows = (np.linspace(3000, 40000, 10_000)[None, :, None] + noise).astype(np.uint16)
    with tifffile.TiffWriter(path) as file:
        strips = iter([rows.tobytes()] * 60)
        file.write(strips, shape=(6000, 10_000, 3), dtype=np.uint16, photometric="rgb", rowsperstrip=100)
    words = [sys.executable, "-c", PEAK, str(path), str(tmp_path / "out")]
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) / 1024 < 520


def test_errors_of_the_system_keep_their_meaning(tmp_path):
    (path,) = write_frames(tmp_path / "in", 1)
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(Refusal, match="cannot be made"):
        invert([path], WHOLE, tmp_path / "file" / "out")
    assert os.strerror(errno.ENOSPC)
