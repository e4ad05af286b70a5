"""Print sheets and index prints, read back and measured."""

from datetime import date
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from dryside.paper.index_print import IndexFrame, IndexPrint, index_grid, index_print, index_print_png
from dryside.paper.print_sheet import MARK_AWAY_MM, MARK_MM, PrintSheet, SheetPrint, cut_marks, print_sheet
from paper.pdf_reading import images, page_sizes_mm, paths, words

DAY = date(2026, 6, 1)
TRUE_MM = 0.1


def a_jpeg(size):
    out = BytesIO()
    Image.new("RGB", size, "teal").save(out, "JPEG")
    return out.getvalue()


def test_prints_and_paper_measure_true_to_a_tenth_of_a_millimetre():
    prints = (
        SheetPrint("a.jpg", 5, 5, 152, 102),
        SheetPrint("a.jpg", 161, 5, 102, 152),
        SheetPrint("b.jpg", 5, 111, 63.5, 89),
    )
    pdf = print_sheet(
        PrintSheet("Sheet", 297, 420, (prints, prints[:1]), DAY),
        {"a.jpg": a_jpeg((304, 204)), "b.jpg": a_jpeg((127, 178))},
    )
    assert page_sizes_mm(pdf) == [pytest.approx((297, 420), abs=TRUE_MM)] * 2
    found = sorted(images(pdf), key=lambda box: (round(box.top), box.left))
    for box, one in zip(found, prints, strict=True):
        assert (box.left, box.top) == pytest.approx((one.left_mm, one.top_mm), abs=TRUE_MM)
        assert (box.width, box.height) == pytest.approx((one.width_mm, one.height_mm), abs=TRUE_MM)


def test_cut_marks_stand_in_line_with_the_edges():
    one = SheetPrint("a.jpg", 20, 30, 152, 102)
    sheet = PrintSheet("Sheet", 210, 297, ((one,),), DAY)
    pdf = print_sheet(sheet, {"a.jpg": a_jpeg((304, 204))})
    marks = [box for box in paths(pdf) if max(box.width, box.height) == pytest.approx(MARK_MM, abs=0.2)]
    assert len(marks) == 8
    lying = sorted({round(box.top + box.height / 2, 1) for box in marks if box.width > box.height})
    standing = sorted({round(box.left + box.width / 2, 1) for box in marks if box.height > box.width})
    assert lying == pytest.approx([30, 132], abs=TRUE_MM)
    assert standing == pytest.approx([20, 172], abs=TRUE_MM)
    assert not [
        box
        for box in paths(
            print_sheet(PrintSheet("Sheet", 210, 297, ((one,),), DAY, marks=False), {"a.jpg": a_jpeg((304, 204))})
        )
        if box.width < 5
    ]


@given(gap=st.floats(0, 10))
def test_no_mark_runs_into_a_print(gap):
    prints = [
        SheetPrint("a", 10, 10, 100, 80),
        SheetPrint("a", 110 + gap, 10, 60, 80),
        SheetPrint("a", 10, 90 + gap, 100, 80),
    ]
    for mark in cut_marks(prints, PrintSheet("Sheet", 210, 297, (tuple(prints),), DAY)):
        for one in prints:
            inside_x = (
                max(mark.x0, mark.x1) > one.left_mm + 0.001
                and min(mark.x0, mark.x1) < one.left_mm + one.width_mm - 0.001
            )
            inside_y = (
                max(mark.y0, mark.y1) > one.top_mm + 0.001
                and min(mark.y0, mark.y1) < one.top_mm + one.height_mm - 0.001
            )
            assert not (inside_x and inside_y)


def test_marks_keep_away_from_the_picture():
    assert MARK_AWAY_MM > 0.5


def index(count, **options):
    frames = tuple(IndexFrame(str(n), "f.jpg" if n % 7 else None, "no picture") for n in range(1, count + 1))
    return IndexPrint("26-014-K Summer on the quay", "Tern 400", 152, 102, options.get("aspect", 1.5), frames, DAY)


@pytest.mark.parametrize("count", [1, 12, 24, 36, 39, 72])
def test_an_index_print_is_one_4r_with_every_frame_and_number(count):
    pdf = index_print(index(count), {"f.jpg": a_jpeg((150, 100))})
    assert page_sizes_mm(pdf) == [pytest.approx((152, 102), abs=TRUE_MM)]
    assert len(images(pdf)) == count - count // 7
    text = words(pdf).split()
    assert all(str(n) in text for n in range(1, count + 1))
    for box in images(pdf):
        assert box.left >= 2.9
        assert box.top >= 2.9
        assert box.left + box.width <= 149.1
        assert box.top + box.height <= 99.1


def test_an_index_for_a_lab_has_a_4rs_pixels():
    with Image.open(BytesIO(index_print_png(index(36), {"f.jpg": a_jpeg((150, 100))}, ppi=300))) as png:
        assert png.size == pytest.approx((1795, 1205), abs=1)


@settings(deadline=None)
@given(count=st.integers(1, 80), aspect=st.sampled_from([1.5, 0.75, 1.0, 2.7]))
def test_the_grid_holds_all_frames_within_the_paper(count, aspect):
    grid = index_grid(count, aspect, 152, 102)
    assert grid.columns * grid.rows >= count
    assert grid.columns * (grid.width_mm + 1) <= 152 - 6 + 1.001
    assert grid.rows * (grid.height_mm + 2.6 + 1) <= 102 - 6 - 6.5 + 1.001


def test_an_index_of_nothing_is_misuse():
    with pytest.raises(ValueError, match="count is 0"):
        index_grid(0, 1.5, 152, 102)
