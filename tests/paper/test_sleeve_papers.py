"""Papers of the binder, read back: pictures where the negatives lie, QRs that lead to the roll, true sizes."""

from datetime import date
from io import BytesIO
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from dryside.film.refusal import Refusal
from dryside.film.sleeves import sleeve_page
from dryside.paper.cut_plan import MARGIN_MM, NEIGHBOUR_MM, SIDE_MM, cut_plan, cut_plan_pictures, drawn_scale
from dryside.paper.sleeve_insert import (
    InsertFrame,
    InsertRoll,
    InsertStrip,
    SleeveInsert,
    choose_layout,
    sleeve_insert,
)
from dryside.paper.spine_label import SpineLabel, spine_labels
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.drawing import drawing_of
from dryside.sleeves.frames_on_film import nominal_frames
from paper.pdf_reading import images, page_sizes_mm, paths, qr_texts, words

DAY = date(2026, 6, 1)
TRUE_MM = 0.1


def a_jpeg(colour, size=(360, 240)):
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


def insert_of(layout, rows, row_mm, *, paper="a4", rolls=1, film=(34.975, 24, 36, 38)):
    film_mm, picture_mm, along, pitch = film
    a_row = int(row_mm // pitch)
    strips = tuple(
        InsertStrip(
            row,
            0.0,
            a_row * pitch,
            tuple(InsertFrame(str(row * 10 + n), 1 + n * pitch, along, "f.jpg") for n in range(a_row)),
        )
        for row in range(1, rows + 1)
    )
    known = tuple(InsertRoll(f"26-00{n}-K", "Tern 400", f"dryside:roll/26-00{n}-K") for n in range(1, rolls + 1))
    return SleeveInsert("Harbour", "top shelf", 3, layout, rows, row_mm, film_mm, picture_mm, known, strips, DAY, paper)


INSERTS = {
    "7x5": insert_of("7x5", 7, 196),
    "6x6": insert_of("6x6", 6, 234),
    "7x6 letter": insert_of("7x6", 7, 234, paper="letter"),
    "4x3": insert_of("4x3", 4, 189, film=(61.5, 56, 56, 61)),
}


@pytest.mark.parametrize("name", INSERTS)
def test_every_picture_lies_at_its_place_to_a_tenth_of_a_millimetre(name):
    insert = INSERTS[name]
    pdf = sleeve_insert(insert, {"f.jpg": a_jpeg("teal", (360, 240) if insert.film_mm < 60 else (240, 240))})
    scale = choose_layout(insert).scale
    found = sorted(images(pdf), key=lambda box: (round(box.top), box.left))
    frames = [frame for strip in insert.strips for frame in strip.frames]
    assert len(found) == len(frames)
    assert len(page_sizes_mm(pdf)) == 1
    pitch = insert.strips[0].frames[1].start_mm - insert.strips[0].frames[0].start_mm
    for box, frame in zip(found, frames, strict=True):
        assert box.width == pytest.approx(frame.width_mm * scale, abs=TRUE_MM)
        assert box.height == pytest.approx(insert.picture_mm * scale, abs=TRUE_MM)
    in_row = found[: len(insert.strips[0].frames)]
    steps = [later.left - earlier.left for earlier, later in pairwise(in_row)]
    assert steps == pytest.approx([pitch * scale] * len(steps), abs=TRUE_MM)


def test_the_drawing_is_never_larger_than_the_film_and_fills_the_paper():
    assert choose_layout(INSERTS["7x5"]).scale > 0.85
    assert choose_layout(insert_of("2x4", 2, 158)).scale == 1.0


def test_a_reader_finds_the_way_back_to_every_roll():
    pdf = sleeve_insert(insert_of("7x5", 7, 196, rolls=3), {"f.jpg": a_jpeg("teal")})
    assert qr_texts(pdf) == ["dryside:roll/26-001-K", "dryside:roll/26-002-K", "dryside:roll/26-003-K"]


def test_what_is_lent_or_has_no_picture_says_so():
    strip = InsertStrip(
        1, 0, 76, (InsertFrame("1", 1, 36, None, "no picture yet"), InsertFrame("2", 39, 36)), "lent to Low Wharf"
    )
    insert = SleeveInsert(
        "Harbour", "", 1, "7x5", 7, 196, 34.975, 24, (InsertRoll("26-001-K", "", "x"),), (strip,), DAY
    )
    text = words(sleeve_insert(insert))
    for word in ("Harbour", "page 1", "no picture yet", "lent to Low Wharf", "26-001-K", "2026-06-01"):
        assert word in text


def plan(count=38, page="7x6", format="135"):
    film = "120" if format.startswith("120") else "135"
    frames = nominal_frames([str(n) for n in range(1, count + 1)], format)
    return plan_cuts(frames, [sleeve_page(page, film=film)])


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_plan_at_true_size_is_as_long_as_the_film(paper):
    made = plan()
    drawing = drawing_of(made, "26-001-K", "", DAY, paper=paper, true_size=True)
    pdf = cut_plan(drawing)
    assert drawn_scale(drawing) == (1.0, True)
    drawn, page = [], 0
    for page in range(len(page_sizes_mm(pdf))):
        left = MARGIN_MM + SIDE_MM + NEIGHBOUR_MM
        # The strip's outline: the only shape as high as the film that starts at the cut.
        outlines = [box for box in paths(pdf, page) if abs(box.height - 34.975) < 0.5 and abs(box.left - left) < 0.3]
        drawn += sorted({(round(box.top, 1), round(box.width, 1)) for box in outlines if box.width > 30})
    lengths = [width for _, width in drawn]
    assert len(lengths) == len(made.strips)
    # PDFium gives a stroked shape's bounds a whole width of its line, 0.4 pt, beyond either end.
    line = 2 * 0.4 * 25.4 / 72
    assert lengths == pytest.approx([strip.length_mm + line for strip in made.strips], abs=TRUE_MM)
    ruler = [box for box in paths(pdf) if abs(box.width - 2 * line - 100) < TRUE_MM and box.height < 2]  # of 0.8 pt
    assert len(ruler) == 1


def test_pictures_of_a_plan_at_true_size_measure_true():
    """In the PNG the 100 mm line and a strip's edge, in pixels at the resolution that the file itself tells."""
    made = plan()
    drawing = drawing_of(made, "26-001-K", "", DAY, true_size=True)
    pages = cut_plan_pictures(drawing, "png")
    assert len(pages) == len(page_sizes_mm(cut_plan(drawing)))
    with Image.open(BytesIO(pages[0])) as image:
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)
        dark = np.asarray(image.convert("L")) < 128
    assert (dark.shape[1], dark.shape[0]) == pytest.approx((297 / 25.4 * 300, 210 / 25.4 * 300), abs=1)
    ruler = dark[: round(14 / 25.4 * 300)]  # of the head, above its rule
    longest = max(longest_run(row) for row in ruler)
    assert longest / 300 * 25.4 == pytest.approx(100, abs=TRUE_MM)
    edge = max(longest_run(row) for row in dark[round(26 / 25.4 * 300) : round(34 / 25.4 * 300)])
    assert edge / 300 * 25.4 == pytest.approx(made.strips[0].length_mm, abs=2 * TRUE_MM)  # a line's width, to pixels
    for svg in cut_plan_pictures(drawing, "svg"):
        root = ElementTree.fromstring(svg)
        assert root.attrib["width"] == root.attrib["viewBox"].split()[2] + "pt"
        assert float(root.attrib["width"][:-2]) * 25.4 / 72 == pytest.approx(297, abs=TRUE_MM)
    assert cut_plan_pictures(drawing, "svg") == cut_plan_pictures(drawing, "svg")


def longest_run(row):
    """Most dark pixels on end."""
    padded = np.diff(np.concatenate([[0], row.astype(int), [0]]))
    starts, ends = np.flatnonzero(padded == 1), np.flatnonzero(padded == -1)
    return int((ends - starts).max(initial=0))


def test_the_plan_says_each_cut_and_each_frame():
    text = words(cut_plan(drawing_of(plan(14, "7x5"), "26-001-K", "Quay", DAY)))
    for word in (
        "Cut plan, roll 26-001-K",
        "Quay",
        "14 frames in 3 strips for 1 page of 7x5",
        "190 mm from the start",
        "start",
        "end",
    ):
        assert word in text


@pytest.mark.parametrize(
    ("count", "page", "format"),
    [(12, "4x3", "120-6x6"), (72, "6x6", "half"), (10, "3x4", "120-6x7"), (1, "7x5", "135")],
)
def test_plans_of_all_films_fit_one_page(count, page, format):
    assert len(page_sizes_mm(cut_plan(drawing_of(plan(count, page, format), "26-001-K", "", DAY)))) == 1


def test_a_strip_longer_than_the_paper_is_not_drawn_at_true_size():
    with pytest.raises(Refusal, match="does not fit the paper at true size"):
        cut_plan(drawing_of(plan(8, "2x8"), "26-001-K", "", DAY, true_size=True))


def test_spines_are_as_large_as_asked_for_and_lead_to_the_binder():
    labels = [
        SpineLabel(f"Harbour {n}", "2026", "26-001-K", "top shelf", f"dryside:binder/Harbour {n}") for n in range(3)
    ]
    pdf = spine_labels(labels, width_mm=45, height_mm=190, made_on=DAY)
    assert qr_texts(pdf) == [label.qr for label in labels]
    # Cut marks stand at the labels' corners: 3.5 mm long at most, 1 mm away from the corner.
    marks = [box for box in paths(pdf) if max(box.width, box.height) == pytest.approx(2.6, abs=0.2)]
    lying = sorted({round(box.top + box.height / 2, 1) for box in marks if box.width > box.height})
    standing = sorted({round(box.left + box.width / 2, 1) for box in marks if box.height > box.width})
    assert lying[-1] - lying[0] == pytest.approx(190, abs=TRUE_MM)
    assert standing[1] - standing[0] == pytest.approx(45, abs=TRUE_MM)


def test_more_spines_than_a_page_takes_go_on_and_names_of_any_length_fit():
    labels = [
        SpineLabel("A very long name of a binder that goes on and on, 1926 to 2026", "", "", "", str(n))
        for n in range(7)
    ]
    pdf = spine_labels(labels, width_mm=40, height_mm=180, made_on=DAY)
    assert len(page_sizes_mm(pdf)) == 2


@pytest.mark.parametrize("size", [(10, 190), (45, 20), (45, 400), (300, 100)])
def test_a_spine_too_small_or_too_large_is_refused(size):
    with pytest.raises(Refusal, match="Measure the binder's spine again"):
        spine_labels([SpineLabel("x", "", "", "", "x")], width_mm=size[0], height_mm=size[1], made_on=DAY)
