"""`dryside sleeve` on a temporary book: what it prints, writes and refuses."""

import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryside.book.folder import open_book
from dryside.book.frames import add_frames
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll, add_roll_name, find_roll, update_roll
from dryside.cli.main import app
from dryside.film.refusal import NotFound, Refusal
from paper.pdf_reading import words

DAY = "2026-06-05"


@pytest.fixture
def place(book_place):
    """Global options that name a book with two rolls, their negatives back: 37 frames from 0, and 12 of 6x6."""
    where, files = book_place
    with open_book(where, files=files) as book, book.write() as conn:
        for count, first, film_format in ((37, 0, "135"), (12, 1, "120-6x6")):
            back = RollState.NEGATIVES_BACK
            roll = add_roll(conn, film_format=film_format, process="c41", on=date(2026, 5, 1), state=back)
            labels = enumerate(range(first, first + count))
            add_frames(conn, [{"roll_id": roll.id, "position": n, "label": str(label)} for n, label in labels])
    return ["--book", where, *(["--files", str(files)] if files else [])]


@pytest.fixture
def ask(place):
    """Run a command and read its one JSON document."""

    def asked(*words):
        done = CliRunner().invoke(app, [*place, "sleeve", *map(str, words), "--json"], env={"DRYSIDE_TODAY": DAY})
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)

    return asked


@pytest.fixture
def tell(place):
    """Run a command and read its words."""

    def told(*words):
        done = CliRunner().invoke(
            app, [*place, "sleeve", *map(str, words)], env={"DRYSIDE_TODAY": DAY, "COLUMNS": "160"}
        )
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return done.stdout

    return told


def test_a_plan_says_strips_and_cuts_and_draws_them(ask, tell, tmp_path):
    made = ask("plan", "26-001-N", "--pages", "7x6", "--out", tmp_path / "plan.pdf")
    assert [strip["frames"][0] for strip in made["strips"]] == ["0", "6", "12", "17", "22", "27", "32"]
    assert (made["page"], made["pages"], len(made["cuts"]), made["measured_frames"]) == ("7x6", 1, 6, 0)
    assert made["cuts"][0]["between"] == ["5", "6"]
    assert (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF")
    assert "37 frames, 7 strips, 1 page of 7x6" in tell("plan", "26-001-N", "--pages", "7x6")
    drawn = ask("plan", "26-001-N", "--pages", "7x6", "--true-size", "--out", tmp_path / "plan.png")["files"]
    assert drawn == [str(tmp_path / f"plan-{page}.png") for page in (1, 2)]
    kept = ask("plan", "26-001-N", "--pages", "7x6", "--form", "svg")
    assert kept["svg"].endswith("cut plans/26-001-N.svg")
    assert Path(kept["svg"]).read_text().startswith("<svg")


def test_pages_of_medium_format_are_proposed_by_themselves(ask):
    made = ask("plan", "26-002-L")
    assert (made["page"], [len(strip["frames"]) for strip in made["strips"]]) == ("3x4", [4, 4, 4])


def test_a_roll_of_several_frame_sizes(ask):
    made = ask("plan", "26-001-N", "--format", "half:20,135:10,panoramic:7", "--pages", "7x6")
    assert sum(len(strip["frames"]) for strip in made["strips"]) == 37
    assert max(strip["length_mm"] for strip in made["strips"]) <= 234


def test_filing_where_undo_and_filing_again(ask):
    ask("file", "26-001-N", "--binder", "Harbour", "--pages", "7x6")
    place = ask("where", "26-001-N/17")["frames"][0]
    assert (place["binder"], place["page"], place["row"], place["place"]) == ("Harbour", 1, 4, 1)
    assert ask("undo")["what"] == "file roll 26-001-N in Harbour"
    assert ask("where", "26-001-N/17")["frames"][0]["binder"] is None
    assert ask("undo", "--list")["changes"][0]["undone"] is True
    ask("file", "26-001-N", "--binder", "harbour", "--cut-in", "4", "--pages", "7x5")
    assert ask("where", "dryside:roll/26-001-N")["frames"][36]["page"] == 2


def test_a_dry_run_files_nothing(ask):
    made = ask("file", "26-001-N", "--binder", "Harbour", "--strips", "0-3,4-7", "--dry-run")
    assert (made["filed"], made["missing"][:2]) == (False, ["8", "9"])
    assert ask("binder")["binders"] == []


def test_inserts_spines_and_what_lies_in_a_binder(ask, tmp_path):
    ask("file", "26-001-N", "--binder", "Harbour", "--pages", "7x5")
    written = ask("insert", "Harbour", "--out", tmp_path)["inserts"]
    assert len(written) == 2
    assert ask("insert", "Harbour/2", "--out", tmp_path)["inserts"] == written[1:]
    assert ask("insert", "26-001-N", "--out", tmp_path)["inserts"] == written
    assert ask("spine", "--out", tmp_path / "spines.pdf")["labels"][0]["name"] == "Harbour"
    assert ask("where", "dryside:binder/Harbour")["pages"][0] == {"page": 1, "layout": "7x5", "rolls": ["26-001-N"]}


def test_moving_refiling_and_lending(ask, tell):
    ask("file", "26-001-N", "--binder", "Harbour", "--pages", "7x5")
    ask("binder", "Garden", "--shelf", "study")
    assert ask("move", "Harbour/1", "Garden")["to_place"] == "Garden/1"
    assert ask("refile", "Harbour", "--into", "Garden")["moves"][0]["to_place"] == "Garden/2"
    loan = ask("lend", "26-001-N/3", "--to", "Low Wharf", "--due", "2026-06-20")["loans"][0]
    assert loan["what"] == "strip 1 (frames 0 to 4) of roll 26-001-N"
    assert "Low Wharf" in tell("back")
    assert ask("back", loan["id"])["loans"][0]["back_on"] == DAY
    assert ask("lend", "Garden/1", "--to", "Ines")["loans"][0]["what"] == "page 1 of binder Garden"


def test_care_says_where_the_numbers_come_from(ask, tell):
    ask("file", "26-001-N", "--binder", "Harbour")
    care = ask("care")["binders"][0]
    assert care["materials"] == ["colour"]
    assert "ISO 18911" in tell("care")
    assert "local rules and licensed practice come first" in tell("care")
    # From a freezer at -18 degC: film/storage.py, by a maker's table of warm-up hours.
    assert "from a freezer for 1.5 h or longer, before its bag is opened" in " ".join(tell("care").split())


def test_care_warns_of_film_that_may_be_nitrate(ask, tell, book_place):
    where, files = book_place
    with open_book(where, files=files) as book, book.write() as conn:
        update_roll(conn, find_roll(conn, "26-001-N").id, exposed_on="1926-08-01")
    ask("file", "26-001-N", "--binder", "Attic")
    told = " ".join(tell("care").split())
    for word in ("CAUTION", "nitrate", "do not project it", "local fire", "licensed"):
        assert word in told


@pytest.mark.parametrize(
    ("words", "kind", "message"),
    [
        (("plan", "26-001-N", "--pages", "0x5"), Refusal, "rows and frames a row run from 1"),
        (("plan", "26-001-N", "--pages", "seven"), Refusal, "not rows x frames a row"),
        (("plan", "26-001-N", "--frames", "12"), Refusal, "37 frames are logged, 12 is fewer"),
        (("plan", "26-001-N", "--frames", "999"), Refusal, "no roll bears more than 200"),
        (("plan", "26-001-N", "--format", "half:x"), Refusal, "has no number of frames"),
        (("plan", "26-001-N", "--format", "half:3"), Refusal, "3 for 37 frames"),
        (("plan", "26-009-X"), NotFound, "26-009-X"),
        (("file", "26-001-N", "--binder", "Harbour", "--strips", "0-4,4-8"), Refusal, "on strip 1 and on strip 2"),
        (
            ("file", "26-001-N", "--binder", "Harbour", "--strips", "0-3", "--cut-in", "4"),
            Refusal,
            "the same thing twice",
        ),
        (("file", "26-001-N", "--binder", "Harbour", "--cut-in", "0"), Refusal, "at least one frame"),
        (("file", "26-001-N", "--binder", "a/b"), Refusal, "has a slash"),
        (("where", "26-001-N/99"), NotFound, "frame 99"),
        (("insert", "Nowhere"), NotFound, "binder Nowhere"),
        (("insert", "26-001-N"), NotFound, "none of its strips lies in a binder"),
        (("move", "Nowhere/1", "Elsewhere"), NotFound, "binder Nowhere"),
        (("lend", "26-001-N", "--to", "Ines"), NotFound, "no strips to lend"),
        (("back", "77"), NotFound, "loan 77"),
        (("undo",), NotFound, "nothing to take back"),
        (("spine",), NotFound, "there is no binder yet"),
        (("refile", "Nowhere"), NotFound, "binder Nowhere"),
    ],
)
def test_what_cannot_be_done_is_refused_by_name(ask, words, kind, message):
    with pytest.raises(kind) as refused:
        ask(*words)
    assert message in str(refused.value)


def test_a_roll_known_by_an_old_number_is_found(ask, place, book_place):
    where, files = book_place
    with open_book(where, files=files) as book, book.write() as conn:
        add_roll_name(conn, find_roll(conn, "26-001-N").id, "old 14")
    plan = ask("plan", "old 14")
    assert plan["roll"] == "26-001-N"
    assert "old 14" in words(Path(plan["pdf"]).read_bytes())
    ask("file", "old 14", "--binder", "Harbour")
    assert ask("where", "old 14/3")["frames"][0]["binder"] == "Harbour"
    assert "old 14" in words(Path(ask("insert", "Harbour")["inserts"][0]).read_bytes())
