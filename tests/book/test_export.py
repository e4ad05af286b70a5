"""Export and import: what goes out comes in again; formulas stay words; foreign sheets are read by a mapping."""

import csv
import io
import json

import pytest

from book.kept_book import fill
from dryside.book.export import export_book
from dryside.book.folder import open_book
from dryside.book.frames import list_frames
from dryside.book.notes.noted import Assumptions
from dryside.book.rolls import find_roll, list_rolls, names_of
from dryside.book.schema import metadata
from dryside.book.sheet_import import apply_frames, import_rolls, plan_frames, read_frames, read_rolls
from dryside.book.stocks import add_stock
from dryside.film.refusal import Refusal

HERE = Assumptions(offset="+00:00")


@pytest.fixture
def full(book):
    fill(book)
    return book


def test_every_table_is_written_in_both_forms(full, tmp_path):
    made = export_book(full, tmp_path / "out")
    assert {path.name for path in made} >= {f"{name}.{form}" for name in metadata.tables for form in ("csv", "json")}
    people = json.loads((tmp_path / "out" / "people.json").read_text("utf-8"))
    assert people[0]["name"] == "Ida"
    with pytest.raises(Refusal, match="neither csv nor json"):
        export_book(full, tmp_path / "out", ["xls"])


def test_no_cell_of_any_csv_begins_a_formula(full, tmp_path):
    for path in export_book(full, tmp_path / "out", ["csv"]):
        for row in csv.reader(io.StringIO(path.read_text("utf-8-sig"))):
            for cell in row:
                assert not cell.startswith(("=", "+", "@", "\t"))


def test_the_logs_come_back_into_an_empty_book_and_a_second_time_add_nothing(full, tmp_path):
    export_book(full, tmp_path / "out", ["csv"])
    rolls = (tmp_path / "out" / "log-of-rolls.csv").read_bytes()
    frames = (tmp_path / "out" / "log-of-frames.csv").read_bytes()
    with open_book(tmp_path / "other") as other:
        for added in (2, 0):
            with other.write() as conn:
                assert len(import_rolls(conn, read_rolls(rolls, {}))[0]) == added
                plans, problems = plan_frames(conn, read_frames(frames, HERE, {})[0])
                assert problems == []
                assert (apply_frames(conn, plans) > 0) == (added > 0)
        with other.read() as conn, full.read() as old:
            assert [roll.code for roll in list_rolls(conn)] == [roll.code for roll in list_rolls(old)]
            assert names_of(conn, find_roll(conn, "H7").id) == ["H7"]
            pairs = zip(
                list_frames(conn, find_roll(conn, "H7").id), list_frames(old, find_roll(old, "H7").id), strict=True
            )
            for new, known in pairs:
                for column in ("label", "caption", "taken_at", "taken_to", "shutter", "aperture", "rating", "printed"):
                    assert getattr(new, column) == getattr(known, column)


NOTEBOOK = (
    "Film Nr;Filmsorte;Kamera;Datum;Bemerkung;Wetter\n"
    "1998/3;Fennel 400;Ondine 35;1998-05-01;am See;Regen\n"
    "1998/4;Fennel 400;Ondine 35;1926-05-01;sehr alt;\n"
).encode("cp1252")


def test_a_notebooks_numbers_stay_as_second_names(full):
    with full.write() as conn:
        added, known = import_rolls(conn, read_rolls(NOTEBOOK, {}))
        assert (len(added), known) == (2, 0)
        roll = find_roll(conn, "1998/3")
        assert (roll.code[:3], roll.process, roll.state, roll.notes) == ("98-", "c41", "negatives back", "am See")
        assert find_roll(conn, "1998/4").loaded_on == "1926-05-01"
        assert import_rolls(conn, read_rolls(NOTEBOOK, {})) == ([], 2)
    assert read_rolls(NOTEBOOK, {}).left_over == ("Wetter",)


def test_a_mapping_says_which_column_is_which(full):
    reading = read_rolls(NOTEBOOK, {"title": "Wetter", "notes": "-"})
    assert reading.rolls[0].columns["title"] == "Regen"
    assert reading.rolls[0].columns["notes"] is None
    with pytest.raises(Refusal, match=r"no column of that name.*Film Nr"):
        read_rolls(NOTEBOOK, {"title": "Himmel"})
    with pytest.raises(Refusal, match="there is no such field"):
        read_rolls(NOTEBOOK, {"weather": "Wetter"})


def test_rows_and_rolls_that_cannot_be_are_named(full):
    reading = read_rolls(b"roll,process,push\nA1,c41,+1\nA2,c99,\n,c41,\nA4,bw,+3/4\n", {})
    assert [problem.line for problem in reading.problems] == [3, 4, 5]
    with pytest.raises(Refusal, match="line 2: stock Gone 100 is not in the book"), full.write() as conn:
        import_rolls(conn, read_rolls(b"roll,stock\nB1,Gone 100\n", {}))
    with pytest.raises(Refusal, match="no column is the roll's number"):
        read_rolls(b"a,b\n1,2\n", {})


def test_frames_of_a_roll_that_is_not_there_are_named(full):
    content = b"roll,frame,shutter,aperture\nH7,9,1/60,4\nnowhere,1,1/60,4\nH7,10,fast,4\n"
    with full.write() as conn:
        plans, problems = plan_frames(conn, read_frames(content, HERE, {})[0])
        assert [problem.line for problem in problems] == [4, 3]
        assert apply_frames(conn, plans) == 1
        assert [one.label for one in list_frames(conn, find_roll(conn, "H7").id)][-1] == "9"


def test_a_column_says_which_frames_were_printed_and_the_book_keeps_what_it_knows(full):
    content = b"roll,frame,printed\nH7,1,yes\nH7,2,no\nH7,3,\n"
    with full.write() as conn:
        plans, problems = plan_frames(conn, read_frames(content, HERE, {"caption": "-"})[0])
        assert (problems, apply_frames(conn, plans)) == ([], 1)
        frames = list_frames(conn, find_roll(conn, "H7").id)
        assert [frame.printed for frame in frames[:3]] == [True, True, False]
        (kept,) = plans[0][1].kept
        assert (kept.label, kept.column, kept.in_book, kept.in_note) == ("2", "printed", True, False)
    content = b"roll,frame,gedruckt\nH7,1,vielleicht\n"
    with full.read() as conn:
        _, problems = plan_frames(conn, read_frames(content, HERE, {})[0])
    assert "vielleicht" in str(problems[0])


def test_a_stock_added_later_lets_the_sheet_in(full):
    with full.write() as conn:
        add_stock(conn, "Gone 100", process="bw", kind="black-and-white", iso=100)
        assert len(import_rolls(conn, read_rolls(b"roll,stock\nB1,Gone 100\n", {}))[0]) == 1
