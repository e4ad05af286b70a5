"""Packing: a valid bag that can be read without Dryside."""

import csv
import io
import json
from datetime import date

import bagit
import pytest

from book.kept_book import fill
from dryside.book.files import original_path
from dryside.book.pack import pack, rolls_of_year, validate_bag
from dryside.book.rolls import find_roll
from dryside.book.schema import files
from dryside.film.refusal import NotFound, Refusal

DAY = date(2026, 11, 25)


@pytest.fixture
def full(book):
    fill(book)
    return book


def packed(book, bag, name="H7"):
    with book.read() as conn:
        roll = find_roll(conn, name)
    return pack(book, [roll], bag, title=f"Roll {roll.code}", on=DAY)


def test_a_bag_holds_originals_pictures_and_log_and_is_valid_by_the_reference_library(full, tmp_path):
    report = packed(full, tmp_path / "bag")
    assert bagit.Bag(str(tmp_path / "bag")).validate()
    data = tmp_path / "bag" / "data"
    names = {path.relative_to(data).as_posix() for path in data.rglob("*") if path.is_file()}
    assert {
        "index.html", "log/frames.csv", "log/rolls.json", "26-001-N/originals/R0.JPG", "26-001-N/originals/R0 (2).JPG",
        "26-001-N/originals/R2.JPG", "26-001-N/pictures/01.jpg", "26-001-N/pictures/04.jpg", "26-001-N/pictures/04.tif",
        "26-001-N/notes/n.txt",
    } <= names  # fmt: skip
    assert (report.files, report.missing) == (len(names), ())
    # RFC 8493, section 2.1.1: the two lines of bagit.txt. bagit 1.9 writes version 0.97 or 1.0.
    lines = (tmp_path / "bag" / "bagit.txt").read_text("utf-8").splitlines()
    assert lines[1] == "Tag-File-Character-Encoding: UTF-8"
    assert (tmp_path / "bag" / "manifest-sha512.txt").exists()


def test_the_log_comes_back_from_csv_and_json_alike(full, tmp_path):
    packed(full, tmp_path / "bag")
    log = tmp_path / "bag" / "data" / "log"
    rows = list(csv.DictReader(io.StringIO((log / "frames.csv").read_text("utf-8-sig"))))
    listed = json.loads((log / "frames.json").read_text("utf-8"))
    assert [row["frame"] for row in rows] == [one["frame"] for one in listed] == ["1", "2", "3", "4"]
    assert (rows[1]["caption"], listed[1]["caption"]) == ("'=1+1", "=1+1")  # no spreadsheet runs it


def test_the_page_escapes_what_people_wrote_and_shows_the_way_to_the_negative(full, tmp_path):
    packed(full, tmp_path / "bag")
    page = (tmp_path / "bag" / "data" / "index.html").read_text("utf-8")
    assert "gulls &amp; &lt;b&gt;terns&lt;/b&gt;" in page
    assert "<b>terns" not in page
    assert "binder Blue (upper shelf), page 3, row 2, frame 2 of strip 1" in page
    assert 'src="26-001-N/pictures/01.jpg"' in page
    assert "http://" not in page.replace("http://www.w3.org", "")  # nothing is fetched from anywhere


@pytest.mark.parametrize("change", ["byte", "missing", "added"])
def test_a_bag_that_was_changed_is_refused(full, tmp_path, change):
    packed(full, tmp_path / "bag")
    path = tmp_path / "bag" / "data" / "26-001-N" / "pictures" / "01.jpg"
    if change == "byte":
        content = bytearray(path.read_bytes())
        content[3] ^= 1
        path.write_bytes(content)
    elif change == "missing":
        path.unlink()
    else:
        path.with_name("extra.jpg").write_bytes(b"x")
    with pytest.raises(Refusal, match="this bag is not valid"):
        validate_bag(tmp_path / "bag")


def test_what_is_no_bag_is_refused(tmp_path):
    with pytest.raises(Refusal, match="this is no bag"):
        validate_bag(tmp_path)


def test_a_damaged_original_stops_the_packing_and_leaves_nothing(full, tmp_path):
    with full.read() as conn:
        path = original_path(full, conn.execute(files.select()).first().sha256)
    path.chmod(0o644)
    path.write_bytes(b"x" * path.stat().st_size)
    with pytest.raises(Refusal, match="not those that were kept"):
        packed(full, tmp_path / "bag")
    assert list(tmp_path.glob("*bag*")) == []


def test_a_missing_picture_is_named(full, tmp_path):
    (full.pictures / "26-001-N" / "01.jpg").unlink()
    assert packed(full, tmp_path / "bag").missing == ("26-001-N/pictures/01.jpg",)
    validate_bag(tmp_path / "bag")


def test_a_bag_is_never_written_over_and_a_year_has_its_rolls(full, tmp_path):
    packed(full, tmp_path / "bag")
    with pytest.raises(Refusal, match="never written over"):
        packed(full, tmp_path / "bag")
    with full.read() as conn:
        assert [roll.code[:2] for roll in rolls_of_year(conn, 2025)] == ["25"]
        with pytest.raises(NotFound, match="no roll of it"):
            rolls_of_year(conn, 1926)
