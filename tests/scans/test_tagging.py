"""A roll's pictures filed under safe names, with what the book knows written into them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from dryside.book.cameras import add_camera
from dryside.book.frame_pictures import pictures_of_frames
from dryside.book.frames import find_frame, list_frames, update_frame
from dryside.book.rolls import update_roll
from dryside.book.schema import scans
from dryside.film.refusal import NotFound, Refusal
from dryside.scans.naming import LONGEST_PART_BYTES, distinct, fill_template, safe_part
from dryside.scans.receive import receive
from dryside.scans.roll_sheet import contact_sheet_of_roll
from dryside.scans.tag_file import read_tags
from dryside.scans.tagging import tag_roll
from scans.deliveries import folder_of, waiting_roll


@pytest.fixture
def received(book, tmp_path):
    roll = waiting_roll(book, labels=range(1, 4))
    with book.write() as conn:
        camera = add_camera(conn, "Tern 35", maker="Tern", model="35")
        update_roll(conn, roll.id, camera_id=camera.id, exposure_index=800, title="Low tide")
        frame = find_frame(conn, roll.id, "2")
        update_frame(conn, frame.id, shutter="1/250", aperture=8.0, caption="Quay", keywords="harbour, ebb",
                     latitude=59.5, longitude=18.25)  # fmt: skip
    receive(book, [folder_of(tmp_path / "in", [f"0612-{n}.jpg" for n in range(1, 4)])])
    return roll


def test_filed_copies_carry_what_the_book_knows(book, received):
    made = tag_roll(book, received.code)
    assert [one.written for one in made] == [(f"2026/{received.code}/{received.code}_0{n}.jpg",) for n in (1, 2, 3)]
    tags = read_tags(book.pictures / made[1].written[0])
    assert tags["Exif.Photo.DateTimeOriginal"] == "2026:05:01 08:20:00"
    assert tags["Exif.Photo.OffsetTimeOriginal"] == "+02:00"
    assert tags["Exif.Photo.ExposureTime"] == "1/250"
    assert tags["Exif.Image.Make"] == "Tern"
    assert tags["Iptc.Application2.Keywords"] == ["harbour", "ebb"]
    assert tags["Xmp.dryside.roll"] == received.code


def test_the_book_shows_the_filed_copy_from_then_on(book, received):
    tag_roll(book, received.code)
    with book.read() as conn:
        ids = [frame.id for frame in list_frames(conn, received.id)]
        assert all(book.pictures in shown.path.parents for shown in pictures_of_frames(conn, book, ids).values())


def test_another_template_moves_the_copies_and_leaves_none_behind(book, received):
    tag_roll(book, received.code)
    tag_roll(book, received.code, template="{title}/{frame} {caption}")
    names = sorted(
        p.relative_to(book.pictures).as_posix() for p in book.pictures.rglob("*.jpg") if "thumb" not in str(p)
    )
    assert names == ["Low tide/01.jpg", "Low tide/02 Quay.jpg", "Low tide/03.jpg"]


def test_tagging_into_a_folder_of_ones_own_leaves_the_book_alone(book, received, tmp_path):
    made = tag_roll(book, received.code, out=tmp_path / "library", sidecars=True)
    assert {name.rpartition(".")[2] for one in made for name in one.written} == {"jpg", "xmp"}
    original = next(path for path in book.originals.rglob("*") if path.is_file())
    assert original.read_bytes() in [path.read_bytes() for path in (tmp_path / "library").rglob("*.jpg")]
    with book.read() as conn:
        assert {row.picture for row in conn.execute(scans.select())} == {None}


def test_a_roll_without_placed_pictures_is_refused(book):
    roll = waiting_roll(book, labels=range(1, 3))
    with pytest.raises(NotFound, match="none of its pictures has a frame yet"):
        tag_roll(book, roll.code)


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("a/b:c*?", "a-b-c--"),
        ("CON", "_CON"),
        ("com1.tif", "_com1.tif"),
        (" .. ", "_"),
        ("Å\u0308 é", "Å̈ é"),
        ("a. ", "a"),
    ],
)
def test_names_are_safe_on_every_system(text, safe):
    assert safe_part(text) == safe


@given(st.text())
def test_no_text_makes_an_unsafe_name(text):
    part = safe_part(text)
    assert part
    assert not set(part) & set('<>:"/\\|?*\0\n')
    assert not part.endswith((" ", "."))
    assert len(part.encode("utf-8")) <= LONGEST_PART_BYTES + 1


def test_fields_that_are_not_known_leave_nothing_behind():
    values = {"roll": "26-014-K", "frame": "01", "year": None, "caption": None}
    assert fill_template("{year}/{roll}/{roll}_{frame}_{caption}", values) == "26-014-K/26-014-K_01"


def test_templates_with_a_wrong_field_or_a_way_out_are_refused():
    with pytest.raises(Refusal, match="there is no field 'rol'"):
        fill_template("{rol}", {})
    with pytest.raises(Refusal, match="leads out of the folder"):
        fill_template("../{roll}", {"roll": "x"})


@given(st.lists(st.sampled_from(["a", "A", "a (2)", "b", "É", "E\u0301"]), max_size=8))
def test_distinct_names_differ_whatever_a_system_takes_for_the_same(names):
    import unicodedata

    made = distinct(names)
    keys = [unicodedata.normalize("NFC", name).casefold() for name in made]
    assert len(set(keys)) == len(names)


@pytest.fixture
def halves(book, tmp_path):
    """A half-frame roll of four frames, two to a file: red left of green, blue left of grey."""
    roll = waiting_roll(book, labels=["1", "1A", "2", "2A"], film_format="half")
    with book.write() as conn:
        for label, caption, shutter in (("1", "Mole", "1/125"), ("1A", "Crane", "1/125"), ("2", "Ferry", "1/60")):
            frame = find_frame(conn, roll.id, label)
            update_frame(conn, frame.id, shutter=shutter, caption=caption, latitude=59.5, longitude=18.25)
    pictures = {}
    for n, pair in ((1, ((200, 30, 30), (30, 180, 30))), (2, ((30, 30, 200), (120, 120, 120)))):
        image = np.zeros((240, 360, 3), np.uint8)
        for k, colour in enumerate(pair):
            image[:, 180 * k : 180 * (k + 1)] = colour
            image[60 + 40 * n : 80 + 40 * n, 180 * k + 40 : 180 * k + 60] = 250
        pictures[f"p-{n}.jpg"] = image
    receive(book, [folder_of(tmp_path / "in", pictures, pictures=pictures)], rolls=[roll.code])
    return roll


def test_a_file_of_two_half_frames_carries_both(book, halves):
    made = tag_roll(book, halves.code)
    assert [one.frame for one in made] == ["1, 1A", "2, 2A"]
    assert made[0].written == (f"2026/{halves.code}/{halves.code}_01-01A.jpg",)
    first, second = (read_tags(book.pictures / one.written[0]) for one in made)
    assert first["Xmp.dryside.frame"] == "1, 1A"
    assert first["Exif.Image.ImageDescription"] == "Mole / Crane"
    assert first["Exif.Photo.ExposureTime"] == "1/125"
    assert "Exif.GPSInfo.GPSLatitude" in first
    assert first["Exif.Photo.DateTimeOriginal"] == "2026:05:01 08:00:00"  # of the earlier one
    assert "Exif.Photo.ExposureTime" not in second  # known of one of them only
    assert "Exif.GPSInfo.GPSLatitude" not in second


def test_the_contact_sheet_shows_each_half_frame_by_itself(book, halves):
    _, jpeg = contact_sheet_of_roll(book, halves.code)
    with Image.open(jpeg) as page:
        sheet = np.asarray(page.convert("RGB"), int)
    for colour in ((200, 30, 30), (30, 180, 30), (30, 30, 200), (120, 120, 120)):
        near = (np.abs(sheet - np.array(colour)).max(axis=2) < 25).sum()
        assert near > 2000, colour
