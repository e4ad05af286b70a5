"""Contact sheets, read back by an outside PDF reader."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from dryside.paper.contact_sheet import LARGEST_PICTURE_MM, MARGIN_MM, PAGE_MM, cell_size
from dryside.scans.contact import FramePicture, make_contact_sheet, strips_of
from dryside.scans.receive import receive
from dryside.scans.roll_sheet import contact_sheet_of_roll
from dryside.scans.tagging import tag_roll
from paper.pdf_reading import images, page_sizes_mm, words
from scans.deliveries import folder_of, waiting_roll
from scans.pictures import drawn, write_jpeg


def frames(tmp_path, count, *, missing=()):
    paths = [write_jpeg(tmp_path / f"{k}.jpg", drawn(k)) for k in range(3)]
    return [
        FramePicture(str(k + 1), f"caption {k + 1}", None if k + 1 in missing else paths[k % 3], "blank")
        for k in range(count)
    ]


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize(("count", "key"), [(36, "135"), (39, "135"), (12, "120-6x6"), (72, "half"), (10, "120-6x7")])
def test_all_frames_stand_on_one_page_legibly(tmp_path, page, count, key):
    made = make_contact_sheet(frames(tmp_path, count), title="26-014-K", line="Marram 400", format_key=key, page=page)
    assert page_sizes_mm(made.pdf) == [pytest.approx(PAGE_MM[page], abs=0.2)]
    found = images(made.pdf)
    assert len(found) == count
    width, height = PAGE_MM[page]
    for box in found:
        assert box.left >= MARGIN_MM - 0.1
        assert box.left + box.width <= width - MARGIN_MM + 0.1
        assert box.top + box.height <= height - MARGIN_MM
    least = 14 if key == "half" else 25
    assert max(box.width for box in found) >= least
    text = words(made.pdf)
    assert "26-014-K" in text
    assert f"{count}" in text


def test_rows_are_the_strips_as_they_were_cut(tmp_path):
    made = make_contact_sheet(
        frames(tmp_path, 11), title="t", line="l", format_key="135", strip_lengths=[4, 5], with_jpeg=False
    )
    rows = {}
    for box in images(made.pdf):
        rows.setdefault(round(box.top), []).append(box)
    assert [len(row) for _, row in sorted(rows.items())] == [4, 5, 2]
    assert made.jpeg == b""


def test_a_blank_frame_keeps_its_place_and_says_so(tmp_path):
    made = make_contact_sheet(frames(tmp_path, 6, missing=(3,)), title="t", line="l", format_key="135")
    assert len(images(made.pdf)) == 5
    assert "blank" in words(made.pdf)


def test_the_jpeg_is_the_same_page(tmp_path):
    made = make_contact_sheet(frames(tmp_path, 6), title="t", line="l", format_key="135")
    with Image.open(io.BytesIO(made.jpeg)) as page:
        assert page.format == "JPEG"
        assert page.size == pytest.approx((210 / 25.4 * 200, 297 / 25.4 * 200), abs=2)


def test_uncut_rolls_are_laid_out_in_usual_strips():
    assert strips_of(39, "135") == [6, 6, 6, 6, 6, 6, 3]
    assert strips_of(12, "120-6x6") == [3, 3, 3, 3]


def test_the_cell_is_never_larger_than_a_sheet_needs():
    one = cell_size(columns=1, rows=1, aspect=1.26, page="a4")
    assert one.height_mm == LARGEST_PICTURE_MM
    with pytest.raises(ValueError, match="columns is 0"):
        cell_size(columns=0, rows=1, aspect=1.5, page="a4")
    with pytest.raises(ValueError, match="page is 'a5'"):
        cell_size(columns=1, rows=1, aspect=1.5, page="a5")


def test_a_roll_of_the_book_before_and_after_tagging(book, tmp_path):
    roll = waiting_roll(book, labels=range(1, 8))
    receive(book, [folder_of(tmp_path / "in", [f"{n}.jpg" for n in range(1, 8) if n != 4])])
    for _ in range(2):
        pdf, jpeg = contact_sheet_of_roll(book, roll.code, made_on="2026-06-01")
        assert len(images(pdf)) == 6
        assert "no picture" in words(pdf)
        assert jpeg.stat().st_size > 10_000
        tag_roll(book, roll.code)
