"""Order sheets and roll labels read back by an outside reader: text, codes, sizes, nothing cut off, black only."""

from __future__ import annotations

from datetime import date

import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp

from dryside.film.refusal import Refusal
from dryside.paper.order_sheet import OrderSheet, SheetRoll, order_sheet
from dryside.paper.roll_labels import (
    PLAIN_A4,
    PLAIN_LETTER,
    TWIN_A4,
    TWIN_LETTER,
    LabelGrid,
    RollLabel,
    check_grid,
    parse_grid,
    roll_labels,
)
from paper.pdf_reading import POINT_MM, page_sizes_mm, paths, picture, qr_texts

LONG_NAMES = (
    "Wilhelmina-Charlotte van der Oudenaarde-Featherstonehaugh", "Rui", "Donaudampfschifffahrtskapitänswitwe",
    "Ελένη Παπαδοπούλου",
)  # fmt: skip
PAGES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1


def sheet(count, owners=("Ilse Marquardt",), **changes):
    owned = owners or ("",)
    rolls = tuple(
        SheetRoll(
            code=f"26-{n + 1:03d}-K", film=["Tidewater 400", "Lantern 500T cine"][n % 2], format="120-6x4.5",
            process=["C-41 +1", "ECN-2"][n % 2], push=["+1", ""][n % 2], scan="standard", prints="10 × 4R, 1 × 8R",
            returns="sleeved", owner=owned[n % len(owned)],
            warnings=[("PUSH +1", "DO NOT CUT, RETURN UNCUT"), ("ECN-2: NOT C-41", "CLIP TEST")][n % 2],
            instructions="The leader is torn; open in the dark." if n % 3 == 0 else "", amount="12.00",
        )
        for n in range(count)
    )  # fmt: skip
    fields = {
        "order": "O26-007", "lab": ("Tern & Daughter", "Rua da Alfândega 12", "Tue to Fri 10-18"),
        "drop_off": date(2026, 9, 25), "ready": date(2026, 10, 2), "rolls": rolls, "currency": "EUR",
        "contact": ("Ilse Marquardt", "+351 000 000 001"), "fees": (("postage, there and back", "4.50"),),
        "owners": tuple((name, "12.00") for name in owners), "total": "196.50", "notes": ("Prices of 1 August.",),
    }  # fmt: skip
    return OrderSheet(**(fields | changes))


def letters(pdf):
    """(page, letter, left, top, right, bottom) of everything printed, mm from the page's top left."""
    found = []
    with pdfium.PdfDocument(pdf) as document:
        for number, page in enumerate(document):
            text, height = page.get_textpage(), page.get_height()
            for index in range(text.count_chars()):
                letter = text.get_text_range(index, 1)
                if letter.strip():
                    left, bottom, right, top = text.get_charbox(index)
                    box = (left, height - top, right, height - bottom)
                    found.append((number, letter, *(side * POINT_MM for side in box)))
    return found


def all_text(pdf):
    """Everything printed without blanks and soft breaks, so that a name broken over lines is found whole."""
    with pdfium.PdfDocument(pdf) as document:
        text = "".join(page.get_textpage().get_text_range() for page in document)
    return "".join(one for one in text if one.isprintable() and not one.isspace())


def bare(text):
    return "".join(text.split())


def assert_black_only(pdf):
    """Away from the edges of letters every pixel is white or black, so any printer prints it the same."""
    pixels = np.asarray(picture(pdf, ppi=200).convert("RGB")).astype(int)
    assert (pixels.max(axis=2) - pixels.min(axis=2)).max() <= 2
    grey = pixels.mean(axis=2)
    middle = (grey > 60) & (grey < 195)
    # A grey area would have grey neighbours on all sides; the edge of a letter has not.
    inner = middle[1:-1, 1:-1] & middle[:-2, 1:-1] & middle[2:, 1:-1] & middle[1:-1, :-2] & middle[1:-1, 2:]
    assert inner.mean() < 0.0005


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("count", [1, 12, 40])
def test_an_order_sheet_prints_all_of_it_inside_the_page(page, count):
    owners = LONG_NAMES if count > 1 else LONG_NAMES[:1]
    data = sheet(count, owners)
    pdf = order_sheet(data, page=page)
    sizes = page_sizes_mm(pdf)
    assert all(size == pytest.approx(PAGES_MM[page], abs=0.1) for size in sizes)
    width, height = PAGES_MM[page]
    # What office printers cannot reach is about 5 mm (common practice).
    for _, letter, left, top, right, bottom in letters(pdf):
        assert left >= 10 and top >= 10 and right <= width - 10 and bottom <= height - 7, letter
    text = all_text(pdf)
    for roll in data.rolls:
        for words in (roll.code, roll.process, roll.format, roll.returns, roll.instructions, *roll.warnings):
            assert bare(words) in text
    for words in (*data.lab, *data.contact, "196.50", "Prices of 1 August.", "25 September 2026", "2 October 2026"):
        assert bare(words) in text
    if count > 1:
        assert all(bare(name) in text for name in owners)
    assert text.count("page") == len(sizes)


def test_a_row_and_its_warnings_stand_on_one_page():
    data = sheet(40, LONG_NAMES)
    with pdfium.PdfDocument(order_sheet(data)) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    for roll in data.rolls:
        page = next(text for text in pages if roll.code in text)
        after = page.split(roll.code)[1].split("26-")[0]
        assert all(bare(warning) in bare(after) for warning in roll.warnings), roll.code


def test_the_order_number_reads_back_from_its_code():
    assert qr_texts(order_sheet(sheet(3))) == ["O26-007"]
    assert qr_texts(order_sheet(sheet(3, order=""))) == []


def test_no_contact_and_no_prices_are_printed_unless_chosen():
    rolls = (SheetRoll("26-001-K", "Tidewater 400", "135", "C-41"),)
    plain = sheet(1, (), contact=(), rolls=rolls, fees=(), total="", notes=())
    text = all_text(order_sheet(plain))
    assert "Ilse" not in text and "Estimate" not in text and "EUR" not in text


def test_sheets_and_labels_need_no_colour_and_no_grey():
    assert_black_only(order_sheet(sheet(12, LONG_NAMES)))
    assert_black_only(roll_labels(labels(27)))


def test_an_unknown_page_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="must be a4 or letter"):
        order_sheet(sheet(1), page="a5")


# --- labels ------------------------------------------------------------------------------------------------------


def labels(count):
    return [
        RollLabel(
            f"26-{n + 1:03d}-K", ["C-41 +1", "ECN-2"][n % 2], ("Tidewater 400", "120-6x4.5", LONG_NAMES[n % 4]),
            [("PUSH +1", "DO NOT CUT, RETURN UNCUT"), ("ECN-2: NOT C-41",)][n % 2],
        )
        for n in range(count)
    ]  # fmt: skip


GRIDS = [
    PLAIN_A4, PLAIN_LETTER, TWIN_A4, TWIN_LETTER,
    LabelGrid(5, 13, 38.1, 21.2, 4.75, 10.7, 2.5, 0),  # 65 small stickers on A4
    LabelGrid(2, 7, 99.1, 38.1, 4.65, 15.1, 2.5, 0),
    LabelGrid(1, 1, 24, 10, 5, 5, page="letter"),  # the smallest allowed
]  # fmt: skip


def label_box(grid, place):
    left = grid.left_mm + place % grid.columns * (grid.width_mm + grid.gap_x_mm)
    top = grid.top_mm + place // grid.columns * (grid.height_mm + grid.gap_y_mm)
    return left, top, left + grid.width_mm, top + grid.height_mm


@pytest.mark.parametrize(
    "grid", GRIDS, ids=lambda grid: f"{grid.columns}x{grid.rows} of {grid.width_mm}x{grid.height_mm}"
)
def test_every_letter_stands_inside_its_label(grid):
    count = min(grid.count, 12)
    pdf = roll_labels(labels(count), grid)
    assert page_sizes_mm(pdf)[0] == pytest.approx(PAGES_MM[grid.page], abs=0.1)
    boxes = [label_box(grid, place) for place in range(count)]
    for _, letter, left, top, right, bottom in letters(pdf):
        assert any(left >= box[0] and top >= box[1] and right <= box[2] and bottom <= box[3] for box in boxes), (
            letter,
            left,
            top,
        )
    text = all_text(pdf)
    assert all(bare(label.code) in text and bare(label.process) in text for label in labels(count))


@pytest.mark.parametrize("grid", GRIDS[:6], ids=lambda grid: f"{grid.width_mm}x{grid.height_mm}")
def test_every_code_reads_back_from_its_own_label(grid):
    pdf = roll_labels(labels(6), grid)
    pixels_per_mm = 300 / 25.4
    found = {code.text: code.position for code in zxingcpp.read_barcodes(picture(pdf, ppi=300))}
    assert sorted(found) == [label.code for label in labels(6)]
    for place, label in enumerate(labels(6)):
        left, top, right, bottom = (side * pixels_per_mm for side in label_box(grid, place))
        corner = found[label.code].top_left
        assert left <= corner.x <= right and top <= corner.y <= bottom


def test_twins_stand_side_by_side_and_say_which_is_which():
    pdf = roll_labels(labels(3), TWIN_A4, twin=True)
    assert qr_texts(pdf) == sorted(label.code for label in labels(3) for _ in "12")
    text = all_text(pdf)
    assert text.count(bare("for the roll")) == text.count(bare("for the bag")) == 3


def test_used_stickers_are_passed_over_and_further_sheets_begun():
    grid = LabelGrid(2, 3, 80, 60, 10, 10)
    pdf = roll_labels(labels(5), grid, skip=4)
    first = [letter for letter in letters(pdf) if letter[0] == 0]
    assert len(page_sizes_mm(pdf)) == 2
    assert min(letter[3] for letter in first) >= label_box(grid, 4)[1]


def test_cut_marks_stand_at_the_labels_corners_to_a_tenth_of_a_millimetre():
    marks = [box for box in paths(roll_labels(labels(1), PLAIN_A4)) if box.width < 0.2 or box.height < 0.2]
    upright = {round(box.left + box.width / 2, 1) for box in marks if box.width < box.height}
    level = {round(box.top + box.height / 2, 1) for box in marks if box.height < box.width}
    assert {15.0, 75.0, 135.0, 195.0} <= upright
    assert {13.5, 43.5, 283.5} <= level


def test_a_grid_is_written_as_a_person_measures_it():
    assert parse_grid("5x13 at 4.75,10.7 size 38.1x21.2 gap 2.5,0") == LabelGrid(5, 13, 38.1, 21.2, 4.75, 10.7, 2.5, 0)
    assert parse_grid("3 x 8 at 15, 20 size 60 x 30", page="letter").page == "letter"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("3 by 8", "this is no grid of labels. Write columns x rows"),
        ("3x8 at 15,20 size 70x30", r"the grid reaches to 225 x 260 mm, the page is 210 x 297 mm"),
        ("3x8 at 15,20 size 20x30", "20 x 30 mm is too small to be read"),
        ("0x8 at 15,20 size 60x30", "0 x 8 labels are none"),
    ],
)
def test_a_grid_that_cannot_be_printed_is_refused_with_what_would_do(text, message):
    with pytest.raises(Refusal, match=message):
        parse_grid(text)


def test_what_cannot_be_a_sheet_of_labels_is_refused():
    with pytest.raises(Refusal, match="a sheet has 27 labels"):
        roll_labels(labels(1), skip=27)
    with pytest.raises(ValueError, match="labels is empty"):
        roll_labels([])
    with pytest.raises(ValueError, match="must be a4 or letter"):
        check_grid(LabelGrid(1, 1, 50, 50, 5, 5, page="a5"))
