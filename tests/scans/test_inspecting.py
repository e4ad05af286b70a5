"""A roll of the book inspected: the promised tier, the reminder, phone shots, the page for the lab."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.book.rows import insert
from dryside.book.schema import labs, order_lines, orders, price_lists, scans
from dryside.film.formats import film_format
from dryside.negatives.likeness import compare, mirrored, see
from dryside.scans.inspecting import inspect_book_roll, inspect_folder, quarter_turn, report_pdf, scan_files
from dryside.scans.inspection import LOOK, POOR, shipped_thresholds
from dryside.scans.receive import receive
from paper.pdf_reading import images, page_sizes_mm, words
from scans.deliveries import folder_of, waiting_roll
from scans.pictures import drawn, photographs

PRICES = """
[[scan]]
name = "small"
long_edge_px = 600
price = "5.00"
[[scan]]
name = "large"
long_edge_px = 3600
price = "9.00"
"""


def order_scans(book, roll, price):
    """An order at an invented lab with a line for scans, its negatives kept until a day."""
    with book.write() as conn:
        lab = insert(conn, labs, {"name": "Low Wharf"})
        values = {"lab_id": lab, "as_of": "2026-01-01", "toml": PRICES, "added_at": "2026-01-01T00:00:00+00:00"}
        values = {"lab_id": lab, "price_list_id": insert(conn, price_lists, values), "number": "O26-001"}
        days = {"dropped_on": "2026-05-03", "negatives_until": "2026-07-04"}
        order = insert(conn, orders, {**values, **days, "estimate": "20.00", "currency": "EUR"})
        insert(conn, order_lines, {"order_id": order, "roll_id": roll.id, "service": "scan", "estimate": price})


@pytest.mark.parametrize(("price", "verdict"), [("9.00", POOR), ("5.00", "good"), ("7.00", None)])
def test_what_came_is_held_against_the_tier_that_was_paid_for(book, tmp_path, price, verdict):
    roll = waiting_roll(book, labels=range(1, 4))
    order_scans(book, roll, price)
    receive(book, [folder_of(tmp_path / "in", [f"{n}.jpg" for n in (1, 2, 3)], width=600, height=400)])
    found = inspect_book_roll(book, roll.code, thresholds=shipped_thresholds())
    promised = [f.verdict for f in found.scans[0].findings if f.name == "promised_pixels_part"]
    assert promised == ([verdict] if verdict else [])
    assert (found.lab, found.order) == ("Low Wharf", "O26-001")
    if verdict == POOR:
        assert found.reminder == (
            "Ask Low Wharf for a rescan of 3 pictures before 2026-07-04, when the negatives are discarded."
        )
    with book.read() as conn:
        assert conn.execute(scans.select()).first().inspection["verdict"] == found.scans[0].verdict


def test_the_page_for_the_lab_is_one_page_with_pictures_of_where(book, tmp_path):
    roll = waiting_roll(book)
    folder = folder_of(tmp_path / "in", [f"{n:02d}.jpg" for n in range(1, 37)], width=300, height=200)
    receive(book, [folder], rolls=[roll.code])
    found = inspect_book_roll(book, roll.code, thresholds=shipped_thresholds(), promised_px=3000)
    assert len(found.poor) == 36
    for page in ("a4", "letter"):
        pdf = report_pdf(found, scan_files(book, roll.code), page=page, made_on="2026-06-01")
        assert len(page_sizes_mm(pdf)) == 1
        assert len(images(pdf)) == 6
        assert "Ask the lab for a rescan of 36 pictures" in words(pdf)
        assert "And 18 more." in words(pdf)


@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
@pytest.mark.parametrize("is_mirrored", [False, True])
def test_turned_and_mirrored_scans_are_told_by_the_phone_shot(quarter, is_mirrored):
    picture = cv2.imread(str(photographs()[0]))[..., ::-1].copy()
    scan = np.rot90(picture, -quarter)  # turned clockwise
    scan = np.ascontiguousarray(scan[:, ::-1] if is_mirrored else scan)
    view = see(scan)
    found = compare(mirrored(view) if is_mirrored else view, see(picture), is_mirrored=is_mirrored)
    assert quarter_turn(found) == quarter
    assert found.mirrored == is_mirrored


def test_phone_shots_say_wrong_way_up_mirrored_and_twice_exposed(tmp_path):
    picture = cv2.imread(str(photographs()[0]))[..., ::-1].copy()
    folder = folder_of(tmp_path / "in", ["a.jpg"], pictures={"a.jpg": np.ascontiguousarray(picture[::-1])})
    likeness = compare(mirrored(see(np.ascontiguousarray(picture[::-1]))), see(picture), is_mirrored=True)
    found = inspect_folder(
        folder, film=film_format("135"), thresholds=shipped_thresholds(), likenesses={"a.jpg": [likeness, likeness]}
    )
    verdicts = {f.name: f.verdict for f in found.scans[0].findings}
    assert (verdicts["wrong_way_up"], verdicts["mirrored"], verdicts["double_exposure"]) == (LOOK, POOR, LOOK)


def test_a_scan_that_cannot_be_read_is_named_and_the_others_inspected(tmp_path):
    folder = folder_of(tmp_path / "in", ["a.jpg", "b.jpg"], width=300, height=200)
    (folder / "b.jpg").write_bytes((folder / "b.jpg").read_bytes()[:900])
    found = inspect_folder(folder, film=film_format("135"), thresholds=shipped_thresholds())
    assert [scan.name for scan in found.scans] == ["a.jpg"]
    assert found.asides[0]["name"] == "b.jpg"
    assert drawn(0).shape == (240, 360, 3)
