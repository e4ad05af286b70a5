"""Phone shots as the log: time, offset and place of matched frames."""

from __future__ import annotations

import cv2
import pillow_heif
import pytest
from PIL import Image

from dryside.book.frames import list_frames
from dryside.book.schema import files, scans
from dryside.scans.phone_log import match_roll
from dryside.scans.receive import receive
from scans.deliveries import placed, waiting_roll
from scans.pictures import photographs, write_jpeg
from scans.test_matching import scan_of, shot_of
from scans.test_phone import NORTH

COUNT = 5


@pytest.fixture(scope="module")
def roll_on_disk(tmp_path_factory):
    root = tmp_path_factory.mktemp("phone")
    for k, path in enumerate(photographs()[:COUNT]):
        picture = cv2.imread(str(path))[..., ::-1].copy()
        write_jpeg(root / "scans" / f"{COUNT - k:02d}.jpg", scan_of(picture, k))  # the lab scanned from the film's end
        exif = Image.Exif()
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = f"2026:05:01 {6 + k // 3:02d}:{k % 3 * 20:02d}:30"  # UTC: two hours behind the log
        for tag, value in NORTH.items():
            exif.get_ifd(0x8825)[tag] = value
        if k % 2:
            write_jpeg(root / "shots" / f"IMG_{k}.jpg", shot_of(picture, k), exif=exif)
        else:
            (root / "shots").mkdir(exist_ok=True)
            heic = pillow_heif.from_pillow(Image.fromarray(shot_of(picture, k)))
            heic.save(root / "shots" / f"IMG_{k}.heic", exif=exif.tobytes(), quality=70)
    return root


def test_matched_frames_take_time_offset_and_place_and_the_order_of_the_scans(book, roll_on_disk):
    roll = waiting_roll(book, labels=range(1, COUNT + 1))
    found = receive(book, [roll_on_disk / "scans"], references=roll_on_disk / "shots")
    assert placed(book) == {f"{COUNT - k:02d}.jpg": ("sure", str(k + 1)) for k in range(COUNT)}
    assert found.phone.clock.seconds == pytest.approx(0, abs=60)
    with book.read() as conn:
        frames = list_frames(conn, roll.id)
        kept = conn.execute(files.select().where(files.c.kind == "phone shot")).all()
        assert {row.phone_file_id for row in conn.execute(scans.select())} == {row.id for row in kept}
    assert [frame.latitude for frame in frames] == [pytest.approx(59.51)] * COUNT
    assert frames[0].taken_at == "2026-05-01T08:00:00+02:00"  # what was logged stays


def test_a_roll_without_times_takes_them_with_the_offset_that_is_named(book, roll_on_disk):
    roll = waiting_roll(book, exposures=COUNT)
    receive(book, [roll_on_disk / "scans"])
    log, gained = match_roll(book, roll.code, roll_on_disk / "shots", phone_offset_s=0)
    assert gained == COUNT
    assert log.matching.order == "descending"
    with book.read() as conn:
        assert sorted(frame.taken_at for frame in list_frames(conn, roll.id))[0] == "2026-05-01T06:00:30+00:00"
    assert match_roll(book, roll.code, roll_on_disk / "shots")[1] == 0  # again changes nothing
