"""Which picture is shown for a frame."""

from datetime import date

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryside.book.files import keep_original, put_picture
from dryside.book.frame_pictures import picture_of_frame, small_jpeg, small_rgb8
from dryside.book.frames import add_frame, update_frame
from dryside.book.rolls import add_roll
from dryside.book.rows import insert
from dryside.book.schema import captures, positives, scans
from dryside.film.refusal import Refusal


def a_picture(path, colour, size=(60, 40)):
    Image.new("RGB", size, colour).save(path)
    return path


@pytest.fixture
def frame(book):
    with book.write() as conn:
        roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1))
        return add_frame(conn, roll.id, position=0, label="1")


def add_scan(book, frame, path):
    kept = keep_original(book, path, kind="scan")
    with book.write() as conn:
        values = {"file_id": kept.id, "roll_id": frame.roll_id, "frame_id": frame.id, "sequence": 0, "origin": "lab"}
        insert(conn, scans, {**values, "name": path.name, "state": "sure"})
    return kept.sha256


def add_positive(book, frame, path):
    kept = keep_original(book, a_picture(path.with_name("capture.png"), "orange"), kind="capture")
    put_picture(book, "positives/1.png", path)
    with book.write() as conn:
        capture = insert(
            conn, captures, {"file_id": kept.id, "roll_id": frame.roll_id, "made_at": "2026-06-01T10:00:00+00:00"}
        )
        values = {"capture_id": capture, "frame_id": frame.id, "frame_index": 0, "picture": "positives/1.png"}
        insert(conn, positives, {**values, "sha256": "00"})


def shown(book, frame):
    with book.read() as conn:
        return picture_of_frame(conn, book, frame.id)


def test_a_frame_without_a_picture_has_none(book, frame):
    assert shown(book, frame) is None


def test_a_positive_made_here_is_shown_before_a_scan_unless_the_scan_was_chosen(book, frame, tmp_path):
    digest = add_scan(book, frame, a_picture(tmp_path / "lab.png", "red"))
    assert (shown(book, frame).origin, shown(book, frame).name) == ("scan", "lab.png")
    add_positive(book, frame, a_picture(tmp_path / "own.png", "blue"))
    assert shown(book, frame).origin == "positive"
    with book.write() as conn:
        update_frame(conn, frame.id, picture_sha256=digest)
    assert shown(book, frame).origin == "scan"


def test_a_picture_whose_file_is_gone_gives_way_to_one_that_is_there(book, frame, tmp_path):
    add_scan(book, frame, a_picture(tmp_path / "lab.png", "red"))
    add_positive(book, frame, a_picture(tmp_path / "own.png", "blue"))
    (book.pictures / "positives/1.png").unlink()
    assert shown(book, frame).origin == "scan"


def test_a_small_picture_keeps_its_shape_and_its_colour_through_a_profile(tmp_path):
    plain = tmp_path / "plain.png"
    a_picture(plain, (200, 40, 90), (600, 400))
    assert small_rgb8(plain, 300).shape == (200, 300, 3)
    tagged = tmp_path / "tagged.png"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.open(plain).save(tagged, icc_profile=profile)
    assert np.abs(small_rgb8(tagged, 300).astype(int) - small_rgb8(plain, 300)).max() <= 1
    assert small_jpeg(plain, 100).startswith(b"\xff\xd8")


def test_a_jpeg_is_turned_as_its_camera_says_and_a_cut_off_one_is_refused(tmp_path):
    path = tmp_path / "turned.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (600, 400), "green").save(path, exif=exif)
    assert small_rgb8(path, 300).shape == (300, 200, 3)
    path.write_bytes(path.read_bytes()[:800])
    with pytest.raises(Refusal, match="cut off or damaged"):
        small_rgb8(path, 300)
