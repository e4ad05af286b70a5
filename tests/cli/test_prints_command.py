"""`dryside prints` on pictures and on a temporary book."""

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryside.book.files import keep_original, original_path
from dryside.book.folder import open_book
from dryside.book.frames import add_frame, list_frames
from dryside.book.rolls import add_roll, add_roll_name, find_roll
from dryside.book.rows import insert
from dryside.book.schema import prints, scans
from dryside.cli.main import app
from dryside.film.refusal import NotFound, Refusal
from paper.pdf_reading import words

LAB = """name = "{name}"
currency = "EUR"
prices_as_of = 2026-05-01
[[develop]]
process = "c41"
formats = ["135"]
price = "7.00"
working_days = 1
[[print]]
size = "{size}"
price = "{price}"
"""


@pytest.fixture
def picture(tmp_path):
    path = tmp_path / "quay.png"
    rows, columns = np.mgrid[0:800, 0:1200]
    Image.fromarray(np.stack([columns % 256, rows % 256, (rows + columns) % 256], axis=2).astype(np.uint8)).save(path)
    return path


@pytest.fixture
def place(book_place, picture):
    """A book with a roll of three frames: one with a scan, one without, one whose scan is gone."""
    where, files = book_place
    with open_book(where, files=files) as book:
        with book.write() as conn:
            roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1))
            frames = [add_frame(conn, roll.id, position=n, label=str(n + 1), caption="=quay") for n in range(3)]
        gone = picture.with_name("gone.png")
        Image.new("RGB", (300, 200), "grey").save(gone)
        for frame, path in ((frames[0], picture), (frames[2], gone)):
            kept = keep_original(book, path, kind="scan")
            with book.write() as conn:
                values = {"file_id": kept.id, "roll_id": roll.id, "frame_id": frame.id, "sequence": 0, "origin": "lab"}
                insert(conn, scans, {**values, "name": path.name, "state": "sure"})
        original_path(book, kept.sha256).chmod(0o644)
        original_path(book, kept.sha256).unlink()
    return ["--book", where, *(["--files", str(files)] if files else [])]


@pytest.fixture
def ask(place):
    def asked(*words):
        done = CliRunner().invoke(
            app, [*place, "prints", *map(str, words), "--json"], env={"DRYSIDE_TODAY": "2026-06-05"}
        )
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)

    return asked


@pytest.fixture
def labs(tmp_path):
    folder = tmp_path / "labs"
    folder.mkdir()
    (folder / "one.toml").write_text(LAB.format(name="Low Wharf", size="4R", price="0.60"))
    (folder / "two.toml").write_text(LAB.format(name="Quay Street Film", size="8R", price="4.00"))
    return folder


def test_fit_says_what_is_lost_and_what_it_costs_and_draws_it(ask, picture, labs, tmp_path):
    answer = ask("fit", picture, "26-001-N/1", "--size", "8R,4R", "--labs", labs, "--out", tmp_path / "drawn")
    eight, four = answer["pictures"][0]["sizes"]
    assert (eight["size"], eight["loss_pct"], four["loss_pct"]) == ("8R", 16.67, 0.0)
    assert eight["prices"][0] | {"total": "4.00", "lab": "Quay Street Film"} == eight["prices"][0]
    assert four["verdict"].startswith("a little soft in the hand")
    drawings = answer["pictures"][0]["drawings"]
    assert len(drawings) == 2
    with Image.open(drawings[0]) as drawn:
        assert drawn.width == 960
    assert answer["pictures"][1]["picture"] == "26-001-N-1"


def test_without_a_size_every_size_of_the_trade_is_judged(ask, picture):
    sizes = ask("fit", picture)["pictures"][0]["sizes"]
    assert {"2R", "4R", "8R", "11R", "A4", "20x30cm", "10x10in"} <= {one["size"] for one in sizes}


def test_files_for_a_lab_are_recorded_in_the_book_once(ask, labs, tmp_path, book_place):
    for _ in range(2):
        made = ask(
            "files", "26-001-N/1", "--size", "4R:3,8R", "--out", tmp_path / "lab", "--labs", labs, "--ppi", "100"
        )
    assert [one["copies"] for one in made["files"]] == [3, 1]
    assert [(one["lab"], one["total"], one["not_sold"]) for one in made["prices"]] == [
        ("Low Wharf", "1.80", ["8R"]),
        ("Quay Street Film", "4.00", ["4R"]),
    ]
    with open_book(book_place[0], files=book_place[1]) as book, book.read() as conn:
        assert len(conn.execute(prints.select()).all()) == 2
        roll = find_roll(conn, "26-001-N")
        assert [frame.printed for frame in list_frames(conn, roll.id)] == [True, False, False]


def test_a_sheet_an_index_and_a_proof(ask, picture, tmp_path, book_place):
    sheet = ask("sheet", picture, "--size", "9x13cm:3", "--paper", "A4", "--ppi", "72", "--out", tmp_path / "sheet.pdf")
    assert (sheet["layout"]["sheets"], len(sheet["layout"]["placed"])) == (1, 3)
    where, files = book_place
    with open_book(where, files=files) as book, book.write() as conn:
        add_roll_name(conn, find_roll(conn, "26-001-N").id, "1998/3")
    index = ask("index", "26-001-N", "--out", tmp_path)
    assert "1998/3" in words(Path(index["files"][0]).read_bytes())
    assert index["without_picture"] == ["2", "3"]
    with Image.open(index["files"][1]) as jpeg:
        assert jpeg.size == (1795, 1205)
    proof = ask("proof", picture, "--paper", "adobe-rgb", "--out", tmp_path)
    assert proof["out_of_gamut_pct"] == 0
    assert len(proof["files"]) == 2


@pytest.mark.parametrize(
    ("words", "kind", "message"),
    [
        (("fit", "26-001-N/2"), NotFound, "it has no scan and no positive yet"),
        (("fit", "26-001-N/3"), NotFound, "its scan gone.png is missing from the book"),
        (("fit", "nowhere.jpg"), NotFound, "no such file"),
        (("fit", "26-001-N/1", "--size", "9Q"), Refusal, "no print size"),
        (("fit", "26-001-N/1", "--crop-at", "2"), Refusal, "outside 0 to 1"),
        (("fit", "26-001-N/1", "--crop", "0,0,1"), Refusal, "not four numbers"),
        (("fit", "26-001-N/1", "--crop", "0.5,0,0.2,1"), Refusal, "is no part of a picture"),
        (("files", "26-001-N/1", "--size", "4R:0", "--out", "x"), Refusal, "no number of copies"),
        (("files", "26-001-N/1", "--size", ",", "--out", "x"), Refusal, "no size is named"),
        (("files", "26-001-N/1", "--size", "4R", "--out", "x", "--kind", "bmp"), Refusal, "jpeg, tiff, tiff16"),
        (("files", "26-001-N/1", "--size", "4R", "--out", "x", "--intent", "vivid"), Refusal, "no rendering intent"),
        (("files", "26-001-N/1", "--size", "4R", "--out", "x", "--sharpen", "9"), Refusal, "outside 0 to 3"),
        (("files", "26-001-N/1", "--size", "4R", "--out", "x", "--name", "{where}"), Refusal, "no field"),
        (("sheet", "26-001-N/1", "--size", "A3", "--paper", "A4", "--out", "x.pdf"), Refusal, "does not fit"),
        (("index", "26-001-N", "--size", "none"), Refusal, "no print size"),
    ],
)
def test_what_cannot_be_printed_is_refused_by_name(ask, tmp_path, words, kind, message):
    with pytest.raises(kind) as refused:
        ask(*(str(tmp_path / word) if word in ("x", "x.pdf") else word for word in words))
    assert message in str(refused.value)


def test_a_profile_that_is_no_icc_file_is_refused(ask, picture, tmp_path):
    with pytest.raises(Refusal, match="not an ICC profile"):
        ask("proof", picture, "--paper", picture, "--out", tmp_path)
