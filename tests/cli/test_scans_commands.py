"""receive, match, inspect, tag and contact as a person runs them."""

from __future__ import annotations

import json

import cv2
import pytest

from dryside.book.folder import open_book
from scans.deliveries import folder_of, waiting_roll
from scans.pictures import drawn, photographs, write_jpeg
from scans.test_matching import scan_of, shot_of


@pytest.fixture
def waiting(book_place):
    where, files = book_place
    with open_book(where, files=files) as book:
        return waiting_roll(book, labels=range(1, 5))


def test_a_delivery_goes_from_receive_to_tag_and_contact(dryside, waiting, tmp_path):
    folder = folder_of(tmp_path / "in", [f"0612-{n}.jpg" for n in range(1, 5)])
    received = dryside.json("receive", folder)
    assert (received["new"], received["rolls"][0]["roll"], received["rolls"][0]["sure"]) == (4, waiting.code, True)
    assert dryside.json("receive", folder)["new"] == 0
    tagged = dryside.json("tag", waiting.code)
    assert len(tagged["rolls"][0]["pictures"]) == 4
    made = dryside.json("contact", waiting.code, "--page", "letter")
    assert made["pdf"].endswith(f"contact-{waiting.code}.pdf")
    assert "4 pictures, 4 placed" not in dryside("receive", folder).out
    assert "4 pictures were here already" in dryside("receive", folder).out


def test_what_is_asked_is_shown_and_answered_from_a_file(dryside, waiting, tmp_path):
    dryside("receive", folder_of(tmp_path / "in", ["q.jpg", "zz.jpg", "m1x9.jpg", "kk0.jpg"]), "--roll", waiting.code)
    asked = dryside.json("receive", "--questions")["questions"]
    assert len(asked) == 4
    answers = tmp_path / "answers.json"
    answers.write_text(json.dumps({"delivery": asked[0]["delivery"], "frames": {q["file"]: q["guess"] for q in asked}}))
    assert dryside.json("receive", "--decide", answers)["questions"] == []
    assert "Nothing is asked." in dryside("receive", "--questions").out
    answers.write_text("{}")
    assert "it holds no answers" in dryside("receive", "--decide", answers, status=2).err


def test_match_prints_the_fixed_form_without_a_book(dryside, tmp_path):
    for k, path in enumerate(photographs()[:3]):
        picture = cv2.imread(str(path))[..., ::-1].copy()
        write_jpeg(tmp_path / "scans" / f"{k + 1}.jpg", scan_of(picture, k))
        write_jpeg(tmp_path / "shots" / f"IMG_{k + 1}.jpg", shot_of(picture, k))
    found = dryside.json("match", tmp_path / "scans", "--references", tmp_path / "shots")
    assert set(found) == {"pairs", "order"}
    assert [(p["scan"], p["reference"]) for p in found["pairs"]] == [(f"{k}.jpg", f"IMG_{k}.jpg") for k in (1, 2, 3)]
    assert found["order"] == "ascending"
    assert not (tmp_path / "book").exists()
    assert "3 of 3 scans have a shot" in dryside("match", tmp_path / "scans", "--references", tmp_path / "shots").out


def test_inspect_a_folder_and_a_roll_with_a_page_for_the_lab(dryside, waiting, tmp_path):
    folder = folder_of(tmp_path / "in", [f"0612-{n}.jpg" for n in range(1, 5)], width=600, height=400)
    write_jpeg(folder / "0612-2.jpg", drawn(1, width=600, height=400), quality=30)
    found = dryside.json("inspect", folder, "--pdf", tmp_path / "page.pdf")
    assert {scan["name"]: scan["verdict"] for scan in found["scans"]}["0612-2.jpg"] == "poor"
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")
    dryside("receive", folder)
    of_book = dryside.json("inspect", waiting.code, "--promised", "3600")
    assert of_book["counts"]["poor"] == 4
    assert "Ask the lab for a rescan of 4 pictures" in of_book["reminder"]
    assert dryside("inspect", "26-999-X", status=3).out == ""


def test_refusals_name_the_thing_and_what_to_do(dryside, waiting, tmp_path):
    assert "there is no such file or folder" in dryside("receive", tmp_path / "none.zip", status=3).err
    assert "none of its pictures has a frame yet" in dryside("tag", waiting.code, status=3).err
    assert "no folder was named" in dryside("match", "--references", tmp_path, status=2).err
    assert "this is no offset" in dryside("receive", tmp_path, "--phone-offset", "two", status=2).err
