"""Deliveries of every kind, received into a book."""

from __future__ import annotations

import json
import zipfile

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import func, select

from dryside.book.files import original_path
from dryside.book.frames import list_frames
from dryside.book.rolls import get_roll
from dryside.book.schema import deliveries, events, files, scans
from dryside.film.refusal import NotFound, Refusal
from dryside.scans.decide import answer, questions
from dryside.scans.receive import receive
from dryside.scans.taking_in import thumbnail_path
from scans.deliveries import folder_of, placed, waiting_roll
from scans.pictures import drawn, write_jpeg

BLANK = np.full((100, 150, 3), 10, np.uint8)


def numbered(count, *, start=1, without=(), prefix="0612-"):
    return [f"{prefix}{n:02d}.jpg" for n in range(start, start + count) if n not in without]


def test_a_straight_delivery_is_placed_frame_by_frame(book, tmp_path):
    roll = waiting_roll(book, labels=range(1, 9))
    found = receive(book, [folder_of(tmp_path / "in", numbered(8))])
    assert found.new == 8
    assert placed(book) == {f"0612-{n:02d}.jpg": ("sure", str(n)) for n in range(1, 9)}
    with book.read() as conn:
        assert get_roll(conn, roll.id).state == "scans back"
        detail = conn.execute(events.select().order_by(events.c.id.desc())).first().detail
    assert detail == {"delivery": found.delivery_id, "pictures": 8}


def test_originals_are_kept_byte_for_byte_with_a_thumbnail(book, tmp_path):
    waiting_roll(book, labels=range(1, 4))
    folder = folder_of(tmp_path / "in", numbered(3))
    receive(book, [folder])
    with book.read() as conn:
        rows = conn.execute(files.select().order_by(files.c.id)).all()
    for row, path in zip(rows, sorted(folder.iterdir()), strict=True):
        assert original_path(book, row.sha256).read_bytes() == path.read_bytes()
        assert row.media_type == "image/jpeg"
        with Image.open(thumbnail_path(book, row.sha256)) as small:
            assert max(small.size) <= 512


def test_the_same_delivery_again_adds_nothing_whatever_it_is_packed_in(book, tmp_path):
    waiting_roll(book, labels=range(1, 5))
    folder = folder_of(tmp_path / "in", numbered(4))
    receive(book, [folder])
    with zipfile.ZipFile(tmp_path / "again.zip", "w") as archive:
        for path in sorted(folder.iterdir()):
            archive.write(path, f"other names/{path.name}")
    for paths in ([folder], [tmp_path / "again.zip"], sorted(folder.iterdir())):
        again = receive(book, paths)
        assert (again.delivery_id, again.new, len(again.known)) == (None, 0, 4)
    with book.read() as conn:
        counts = [conn.execute(select(func.count()).select_from(t)).scalar() for t in (deliveries, files, scans)]
    assert counts == [1, 4, 4]


def test_a_frame_missing_in_the_middle_is_named(book, tmp_path):
    waiting_roll(book, labels=range(1, 13))
    found = receive(book, [folder_of(tmp_path / "in", numbered(12, without=(5,)))])
    assert found.rolls[0].missing == ("5",)
    assert placed(book)["0612-06.jpg"] == ("sure", "6")
    assert [doubt.name for doubt in found.rolls[0].doubts] == ["missing"]


def test_a_frame_lost_at_the_splice_is_said_to_be_refunded_often(book, tmp_path):
    waiting_roll(book, labels=range(1, 13))
    found = receive(book, [folder_of(tmp_path / "in", numbered(11, start=2))])
    assert found.rolls[0].missing == ("1",)
    assert "lost at the splice" in found.rolls[0].doubts[0].says


def test_a_blank_that_was_logged_is_left_out_and_no_frame_is_missed(book, tmp_path):
    waiting_roll(book, labels=range(1, 11), blank=(4,))
    found = receive(book, [folder_of(tmp_path / "in", numbered(10, without=(4,)))])
    assert found.rolls[0].missing == ()
    assert placed(book)["0612-05.jpg"] == ("sure", "5")


def test_a_blank_scan_is_known_as_such(book, tmp_path):
    waiting_roll(book, labels=range(1, 7), blank=(3,))
    names = numbered(6)
    found = receive(book, [folder_of(tmp_path / "in", names, pictures={names[2]: BLANK})])
    assert [scan.is_blank for scan in found.rolls[0].scans] == [False, False, True, False, False, False]
    assert placed(book)[names[2]] == ("sure", "3")
    assert "blank_frames" in [doubt.name for doubt in found.rolls[0].doubts]


def test_a_frame_scanned_twice_is_asked_and_can_be_answered(book, tmp_path):
    waiting_roll(book, labels=range(1, 7))
    names = [*numbered(3), "0612-03b.jpg", *numbered(3, start=4)]
    twice = {"0612-03.jpg": drawn(50, width=150, height=100)}
    folder = folder_of(tmp_path / "in", names, pictures=twice)
    write_jpeg(folder / "0612-03b.jpg", np.clip(twice["0612-03.jpg"] * 1.1, 0, 255).astype(np.uint8))
    found = receive(book, [folder])
    assert not next(scan for scan in found.rolls[0].scans if scan.name == "0612-03b.jpg").sure
    asked = [question for question in questions(book) if question["kind"] == "frame"]
    assert "0612-03b.jpg" in [question["file"] for question in asked]
    answers = {question["file"]: question["guess"] for question in asked} | {"0612-03b.jpg": "3"}
    assert answer(book, found.delivery_id, frames_by_file=answers) == []
    assert placed(book)["0612-03b.jpg"] == ("confirmed", "3")


def test_two_rolls_in_one_folder_are_told_by_the_labs_numbers(book, tmp_path):
    from dryside.book.rolls import add_roll_name

    one, two = waiting_roll(book, labels=range(1, 7)), waiting_roll(book, labels=range(1, 5), number=3)
    with book.write() as conn:
        add_roll_name(conn, one.id, "harbour")
        add_roll_name(conn, two.id, "market")
    folder = folder_of(tmp_path / "in", numbered(6, prefix="harbour_") + numbered(4, prefix="market_"))
    found = receive(book, [folder])
    assert [roll.guess.code for roll in found.rolls] == [one.code, two.code]
    assert placed(book, two) == {f"market_{n:02d}.jpg": ("sure", str(n)) for n in range(1, 5)}


def test_two_rolls_that_nothing_tells_apart_are_asked_and_placed_by_the_answer(book, tmp_path):
    one, two = (waiting_roll(book, labels=range(1, 6), number=k) for k in range(2))
    found = receive(book, [folder_of(tmp_path / "in", numbered(5, prefix="x_") + numbered(5, prefix="y_"))])
    assert {state for state, _ in placed(book).values()} == {"asked"}
    asked = questions(book)
    assert [(q["kind"], q["group"], len(q["files"])) for q in asked] == [("roll", 0, 5), ("roll", 1, 5)]
    left = answer(book, found.delivery_id, rolls={0: two.code, 1: one.code})
    assert left == []
    assert placed(book, two)["x_03.jpg"] == ("sure", "3")
    with book.read() as conn:
        assert get_roll(conn, one.id).state == "scans back"


def test_half_frames_one_to_a_file_and_two_to_a_file(book, tmp_path):
    labels = [f"{n}{letter}" for n in range(1, 7) for letter in ("", "A")]
    one = waiting_roll(book, labels=labels, film_format="half")
    receive(book, [folder_of(tmp_path / "one", numbered(12), width=90, height=120)], rolls=[one.code])
    assert placed(book, one)["0612-02.jpg"] == ("sure", "1A")
    two = waiting_roll(book, labels=labels, film_format="half", number=1)
    folder = folder_of(tmp_path / "two", numbered(6, prefix="p"), first=40)
    found = receive(book, [folder], rolls=[two.code])
    assert [(scan.frame, scan.also) for scan in found.rolls[0].scans[:2]] == [("1", "1A"), ("2", "2A")]


def test_names_that_say_nothing_are_asked(book, tmp_path):
    waiting_roll(book, labels=range(1, 6))
    receive(book, [folder_of(tmp_path / "in", ["q8f.jpg", "zz.jpg", "m1x9.jpg", "kk0.jpg", "a.jpg"])])
    assert {state for state, _ in placed(book).values()} == {"asked"}


def test_a_roll_of_which_nothing_was_noted_gets_its_frames_from_the_delivery(book, tmp_path):
    roll = waiting_roll(book)
    receive(book, [folder_of(tmp_path / "in", [f"{n:02d}.jpg" for n in range(0, 37)])])
    with book.read() as conn:
        assert [frame.label for frame in list_frames(conn, roll.id)] == [str(n) for n in range(0, 37)]


def test_frames_before_the_first_logged_one_join_the_log_in_the_films_order(book, tmp_path):
    roll = waiting_roll(book, labels=range(1, 9))
    names = ["x_00.jpg", "x_0.jpg", *[f"x_{n}.jpg" for n in range(1, 9)]]
    receive(book, [folder_of(tmp_path / "in", names)])
    with book.read() as conn:
        assert [frame.label for frame in list_frames(conn, roll.id)] == ["00", "0", *map(str, range(1, 9))]
    assert placed(book)["x_00.jpg"] == ("sure", "00")


def test_tiffs_of_8_and_16_bit_pngs_and_heics_are_taken(book, tmp_path):
    import pillow_heif
    import tifffile

    waiting_roll(book, labels=range(1, 6))
    image = drawn(3)
    folder = tmp_path / "in"
    folder.mkdir()
    tifffile.imwrite(folder / "a_1.tif", image, photometric="rgb", resolution=(2400, 2400))
    tifffile.imwrite(folder / "a_2.tif", image.astype(np.uint16) * 257, photometric="rgb", compression="deflate")
    tifffile.imwrite(folder / "a_3.tif", image[..., 0] // 2, photometric="minisblack")
    Image.fromarray(image[::-1]).save(folder / "a_4.png")
    pillow_heif.from_pillow(Image.fromarray(image[:, ::-1])).save(folder / "a_5.heic")
    found = receive(book, [folder])
    assert found.asides == ()
    assert found.new == 5
    with book.read() as conn:
        rows = {row.name: row for row in conn.execute(files.select())}
    assert rows["a_1.tif"].detail["ppi"] == 2400
    assert rows["a_2.tif"].detail["bits"] == 16
    assert rows["a_5.heic"].media_type == "image/heic"


def test_each_bad_file_is_named_and_the_rest_goes_on(book, tmp_path):
    waiting_roll(book, labels=range(1, 4))
    folder = folder_of(tmp_path / "in", numbered(3))
    whole = (folder / "0612-01.jpg").read_bytes()
    (folder / "0612-04.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "0612-05.jpg").write_bytes(b"")
    (folder / "0612-06.jpg").write_bytes(b"<html>Please pay your bill</html>")
    (folder / "film.mov").write_bytes(b"\0\0\0\x14ftypqt  " + bytes(40))
    (folder / "terms.txt").write_text("one month")
    found = receive(book, [folder])
    assert found.new == 3
    said = {aside.name: aside.found for aside in found.asides}
    assert said["0612-04.jpg"].startswith("the picture is cut off or damaged")
    assert said["0612-05.jpg"] == "the file is empty (0 bytes)"
    assert said["0612-06.jpg"] == "its content is no picture, whatever its name says"
    assert said["film.mov"] == "a video; left where it is"
    assert said["terms.txt"] == "not a picture; left where it is"
    stored = [path for path in book.originals.rglob("*") if path.is_file()]
    assert len(stored) == 3  # nothing of what was refused stays behind


def test_a_cut_off_tiff_and_png_are_named(book, tmp_path):
    import tifffile

    waiting_roll(book, labels=range(1, 3))
    folder = folder_of(tmp_path / "in", numbered(2))
    tifffile.imwrite(folder / "0612-03.tif", drawn(1), photometric="rgb")
    Image.fromarray(drawn(2)).save(folder / "0612-04.png")
    for name in ("0612-03.tif", "0612-04.png"):
        data = (folder / name).read_bytes()
        (folder / name).write_bytes(data[: len(data) * 2 // 3])
    found = receive(book, [folder])
    assert {aside.name for aside in found.asides} == {"0612-03.tif", "0612-04.png"}


def test_two_names_that_differ_only_in_case_are_two_files(book, tmp_path):
    waiting_roll(book, labels=range(1, 3))
    with zipfile.ZipFile(tmp_path / "z.zip", "w") as archive:
        for k, name in enumerate(("A1.jpg", "a1.JPG")):
            archive.write(write_jpeg(tmp_path / f"{k}.jpg", drawn(k)), name)
    assert receive(book, [tmp_path / "z.zip"]).new == 2


def test_nothing_to_take_is_refused_with_the_reason(book, tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"no picture")
    with pytest.raises(Refusal, match=r"no picture in it could be taken: a\.jpg: its content is no picture"):
        receive(book, [tmp_path / "a.jpg"])


def test_a_wrong_order_or_roll_is_refused_before_anything_is_copied(book, tmp_path):
    folder = folder_of(tmp_path / "in", numbered(2))
    with pytest.raises(NotFound, match="order O26-404: not in this book"):
        receive(book, [folder], order="O26-404")
    with pytest.raises(NotFound, match="mistyped"):
        receive(book, [folder], rolls=["26-099-X"])
    assert not any(path.is_file() for path in book.originals.rglob("*"))


def test_a_roll_that_may_be_anothers_is_said_so(book, tmp_path):
    roll = waiting_roll(book, labels=range(1, 13), film_format="120-6x6", exposures=12)
    folder = folder_of(tmp_path / "in", numbered(36), width=150, height=100)
    found = receive(book, [folder], rolls=[roll.code])
    doubts = {doubt.name for doubt in found.rolls[0].doubts if doubt.may_be_anothers}
    assert doubts == {"frame_count", "shape"}


def test_what_the_command_prints_is_plain_json(book, tmp_path):
    waiting_roll(book, labels=range(1, 4))
    found = receive(book, [folder_of(tmp_path / "in", numbered(3))])
    assert json.loads(json.dumps(found.as_dict()))["rolls"][0]["scans"][0]["reasons"][0]["name"] == "number_agrees"
