"""A phone's folder: times, zones, places, and what is no shot."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from PIL import Image

from dryside.film.refusal import NotFound
from dryside.scans.phone import clock_offset, read_phone_folder
from scans.pictures import drawn


def shot(path, *, taken=None, offset=None, gps=None, comment=None, k=0, heic=False):
    """A phone picture with Exif."""
    import pillow_heif

    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    if taken:
        inner[0x9003] = taken
    if offset:
        inner[0x9011] = offset
    if comment:
        inner[0x9286] = comment
    for tag, value in (gps or {}).items():
        exif.get_ifd(0x8825)[tag] = value
    path.parent.mkdir(parents=True, exist_ok=True)
    image = Image.fromarray(drawn(k, width=120, height=90))
    if heic:
        pillow_heif.from_pillow(image).save(path, exif=exif.tobytes())
    else:
        image.save(path, "JPEG", exif=exif)
    return path


NORTH = {1: "N", 2: (59.0, 30.0, 36.0), 3: "W", 4: (18.0, 15.0, 0.0), 5: b"\x00", 6: 12.5}


def test_times_places_and_offsets_are_read_from_jpeg_and_heic(tmp_path):
    shot(tmp_path / "a.jpg", taken="2026:05:03 10:00:00", offset="+02:00", gps=NORTH)
    shot(tmp_path / "b.heic", taken="2026:05:03 09:00:00", offset="+02:00", gps=NORTH, k=1, heic=True)
    found = read_phone_folder(tmp_path)
    assert [one.name for one in found.shots] == ["b.heic", "a.jpg"]
    assert found.by_time
    for one in found.shots:
        assert (one.offset_s, one.altitude_m) == (7200, 12.5)
        assert one.latitude == pytest.approx(59.51)
        assert one.longitude == pytest.approx(-18.25)
    assert found.shots[1].taken_at() == "2026-05-03T10:00:00+02:00"
    assert found.shots[1].utc == datetime.datetime(2026, 5, 3, 8, tzinfo=datetime.UTC).timestamp()


def test_a_missing_offset_is_read_from_the_satellites_time(tmp_path):
    gps = {7: (4.0, 31.0, 20.0), 0x1D: "2026:05:03"}
    shot(tmp_path / "a.jpg", taken="2026:05:03 10:00:30", gps=gps)
    # 5 h 29 min 10 s apart, and the fix may be a minute old: the zone is +05:30.
    assert read_phone_folder(tmp_path).shots[0].offset_s == 5 * 3600 + 1800


def test_a_time_without_any_offset_is_no_instant(tmp_path):
    shot(tmp_path / "a.jpg", taken="2026:05:03 10:00:00")
    one = read_phone_folder(tmp_path).shots[0]
    assert one.taken_at() is None
    assert one.taken_at(3600) == "2026-05-03T10:00:00+01:00"


def test_videos_live_halves_screenshots_and_second_copies_are_left_out_and_named(tmp_path):
    shot(tmp_path / "IMG_1.heic", taken="2026:05:03 10:00:00", heic=True)
    shot(tmp_path / "IMG_1.jpg", taken="2026:05:03 10:00:00")
    (tmp_path / "IMG_1.mov").write_bytes(b"\0\0\0\x14ftypqt  " + bytes(40))
    (tmp_path / "clip.mp4").write_bytes(b"\0\0\0\x18ftypisom" + bytes(40))
    Image.fromarray(np.zeros((90, 60, 3), np.uint8)).save(tmp_path / "Screenshot_2026.png")
    (tmp_path / "notes.txt").write_text("x")
    found = read_phone_folder(tmp_path)
    assert [one.name for one in found.shots] == ["IMG_1.heic"]
    assert {aside.name: aside.found for aside in found.asides} == {
        "IMG_1.jpg": "a second copy of IMG_1.heic",
        "IMG_1.mov": "a video or the moving half of a live picture",
        "clip.mp4": "a video or the moving half of a live picture",
        "Screenshot_2026.png": "a picture of the screen",
        "notes.txt": "not a picture",
    }


def test_without_times_the_names_give_the_order(tmp_path):
    for k, name in enumerate(("IMG_10.jpg", "IMG_9.jpg")):
        shot(tmp_path / name, k=k)
    found = read_phone_folder(tmp_path)
    assert [one.name for one in found.shots] == ["IMG_9.jpg", "IMG_10.jpg"]
    assert not found.by_time


def test_shots_over_a_change_of_zone_stand_in_the_order_of_time(tmp_path):
    shot(tmp_path / "a.jpg", taken="2026:05:03 10:00:00", offset="+02:00")
    shot(tmp_path / "b.jpg", taken="2026:05:03 09:30:00", offset="+01:00", k=1)
    assert [one.name for one in read_phone_folder(tmp_path).shots] == ["a.jpg", "b.jpg"]


@pytest.mark.parametrize("ahead_s", [0, 3600, -7200, 19_800, 421])
def test_the_clocks_difference_is_found_among_times_that_do_not_pair_up(ahead_s):
    rng = np.random.default_rng(1)
    log = np.cumsum(rng.uniform(200, 5000, 30))
    shots = np.concatenate([log[::2] - ahead_s + rng.uniform(-40, 40, 15), rng.uniform(0, 80_000, 10)])
    found = clock_offset(log.tolist(), shots.tolist())
    assert found.seconds == pytest.approx(ahead_s, abs=60)
    assert found.pairs >= 12
    assert found.spread_s < 60


def test_what_a_clock_says_in_words():
    log = [1000.0 * k for k in range(10)]
    assert clock_offset(log, log).says == "the clocks agree"
    hour = clock_offset(log, [t - 3600 for t in log])
    assert hour.says.startswith("the phone's clock is 1.00 h behind the log (a whole time zone")


def test_times_of_another_day_give_no_difference():
    assert clock_offset([0.0, 5000.0, 9000.0], [4e6, 4.1e6, 4.2e6]) is None


def test_a_folder_without_pictures_is_not_found(tmp_path):
    with pytest.raises(NotFound, match="no picture is in it"):
        read_phone_folder(tmp_path)
