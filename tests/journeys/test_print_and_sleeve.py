"""From a roll's negatives on the table to a print on the wall and a strip in the binder, by the real commands."""

import json
from datetime import date

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image
from typer.testing import CliRunner

from dryside.book.files import keep_original
from dryside.book.folder import open_book
from dryside.book.frames import add_frames, list_frames
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll, get_roll
from dryside.book.rows import insert
from dryside.book.schema import scans
from dryside.cli.main import app

DAY = "2026-06-05"


@pytest.fixture
def table(book_place, tmp_path):
    """A roll whose scans and negatives are back: 14 frames, each with a picture of its own."""
    where, files = book_place
    with open_book(where, files=files) as book:
        with book.write() as conn:
            roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1), state=RollState.NEGATIVES_BACK)
            rows = [
                {"roll_id": roll.id, "position": n, "label": str(n + 1), "caption": f"harbour {n + 1}"}
                for n in range(14)
            ]
            add_frames(conn, rows)
            frames = list_frames(conn, roll.id)
        for frame in frames:
            path = tmp_path / f"{frame.label}.jpg"
            rng = np.random.default_rng(frame.position)
            coarse = rng.integers(0, 255, (20, 30, 3), dtype=np.uint8)
            cv2.imwrite(str(path), cv2.resize(coarse, (1800, 1200), interpolation=cv2.INTER_CUBIC))
            kept = keep_original(book, path, kind="scan")
            with book.write() as conn:
                values = {"file_id": kept.id, "roll_id": roll.id, "frame_id": frame.id, "sequence": frame.position}
                insert(conn, scans, {**values, "origin": "lab", "name": path.name, "state": "sure"})
    return ["--book", where, *(["--files", str(files)] if files else [])]


@pytest.fixture
def ask(table):
    """Type a command on the journey's day and read its JSON."""

    def asked(*words):
        done = CliRunner().invoke(app, [*table, *map(str, words), "--json"], env={"DRYSIDE_TODAY": DAY})
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)

    return asked


def found(ask, *words):
    return [(one["roll"], one["label"]) for one in ask("find", *words, "--limit", "50")["frames"]]


def test_a_roll_is_cut_sleeved_found_lent_and_moved_and_its_picture_printed(ask, tmp_path, book_place):
    assert [strip["frames"][-1] for strip in ask("sleeve", "plan", "26-001-N", "--pages", "7x5")["strips"]] == [
        "5",
        "10",
        "14",
    ]
    ask("sleeve", "file", "26-001-N", "--binder", "Harbour", "--pages", "7x5")
    with open_book(book_place[0], files=book_place[1]) as book, book.read() as conn:
        assert get_roll(conn, 1).place is RollState.SLEEVED

    # Five years later: words lead to the picture, the picture to its row; the insert's QR leads back to the roll.
    (answer,) = ask("find", '"harbour 12"')["frames"]
    assert (answer["where"]["binder"], answer["where"]["page"], answer["where"]["row"]) == ("Harbour", 1, 3)
    (insert_pdf,) = ask("sleeve", "insert", "Harbour", "--out", tmp_path)["inserts"]
    with pypdfium2.PdfDocument(insert_pdf) as pdf:
        (code,) = zxingcpp.read_barcodes(pdf[0].render(scale=200 / 72).to_pil())
    place = ask("sleeve", "where", f"{code.text}/12")["frames"][0]
    assert (place["binder"], place["page"], place["row"], place["place"]) == ("Harbour", 1, 3, 2)

    # The strip goes to a lab for an enlargement, and is asked for when it is late.
    lend = ("sleeve", "lend", "26-001-N/12", "--to", "Low Wharf", "--due", "2026-06-01", "--today", "2026-05-25")
    loan = ask(*lend)["loans"][0]
    assert any("Low Wharf" in json.dumps(one) for one in ask("due")["due"])
    assert ask("find", '"harbour 12"')["frames"][0]["where"]["lent_to"] == "Low Wharf"
    ask("sleeve", "back", loan["id"])
    assert not any("Low Wharf" in json.dumps(one) for one in ask("due")["due"])

    # The page moves to another binder, and back by one undo.
    ask("sleeve", "binder", "Quay")
    ask("sleeve", "move", "Harbour/1", "Quay")
    assert ask("find", '"harbour 12"')["frames"][0]["where"]["binder"] == "Quay"
    ask("sleeve", "undo")
    assert ask("find", '"harbour 12"')["frames"][0]["where"]["binder"] == "Harbour"

    # Which size does it bear, and what goes to the lab.
    eight = ask("prints", "fit", "26-001-N/12", "--size", "8R")["pictures"][0]["sizes"][0]
    assert (eight["loss_pct"], eight["verdict"].split(",")[0]) == (16.67, "good on a wall from 45 cm")
    assert ("26-001-N", "12") in found(ask, "--not-printed")
    made = ask("prints", "files", "26-001-N/12", "--size", "8R:2", "--out", tmp_path / "lab")["files"][0]
    with Image.open(tmp_path / "lab" / made["file"]) as jpeg:
        assert jpeg.size == (3000, 2398)
    assert ("26-001-N", "12") not in found(ask, "--not-printed")
    assert len(found(ask, "--not-printed")) == 13
