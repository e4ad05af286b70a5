"""`lab`, `plan`, `dropoff`, `due` and `collect` as a person runs them."""

from __future__ import annotations

from datetime import date

import icalendar
import pytest

from dryside.book.folder import open_book
from dryside.book.journey import RollState
from dryside.book.people import add_person
from dryside.book.rolls import add_roll
from dryside.book.stocks import add_stock
from labs.lab_maker import QUAY, TERN

ROLLS = """\
roll,process,format,push,scan,prints,need_by,owner
A1,c41,135,,standard,4R:10,,Ilse
A2,e6,135,,standard,"4R:2;8R:1",,Rui
"""


@pytest.fixture
def files(tmp_path):
    """Two labs and two rolls as files."""
    labs = tmp_path / "labs"
    labs.mkdir()
    (labs / "quay.toml").write_text(QUAY)
    (labs / "tern.toml").write_text(TERN)
    (tmp_path / "rolls.csv").write_text(ROLLS)
    return tmp_path


@pytest.fixture
def season(dryside, book_place, files):
    """The same labs in the book, and three rolls that wait; gives their codes."""
    dryside.day = "2026-09-08"
    dryside("lab", "add", files / "labs")
    where, place = book_place
    with open_book(where, files=place) as book, book.write() as conn:
        owners = [
            add_person(conn, "Ilse Marquardt", phone="000 111", is_keeper=True).id,
            add_person(conn, "Rui Tavora").id,
        ]
        stock = add_stock(conn, "Tidewater 400", process="c41", kind="colour negative", iso=400).id
        return [
            add_roll(
                conn, film_format="135", process="c41", on=date(2026, 8, 1), state=RollState.EXPOSED,
                owner_id=owners[n % 2], stock_id=stock, exposed_on="2026-09-01", push_stops=n // 2,
            ).code
            for n in range(3)
        ]  # fmt: skip


def plan_from_files(dryside, files, *words):
    return dryside.json(
        "plan", "--labs", files / "labs", "--rolls", files / "rolls.csv", "--from", "2026-09-08", *words
    )


def test_a_plan_needs_no_book_and_has_the_fixed_form(dryside, files):
    document = plan_from_files(dryside, files)
    # By hand: A1 at Tern 5 + 4 + 10 x 0.40 = 13.00, A2 12 + 4 + 2 x 0.40 + 4.00 = 20.80, postage 4.50. A1 at the other
    # lab is 7 + 5 + 5.00 = 17.00 and leaves A2 at 25.30: 42.30.
    (plan,) = document["plans"]
    assert plan["total"] == {"amount": "38.30", "currency": "EUR"}
    (order,) = plan["orders"]
    # In on Tuesday the 8th; slides on the next hand day, Friday the 11th, and three open days: Wednesday the 16th.
    assert (order["lab"], order["drop_off"], order["ready"], plan["ready"]) == (
        "Tern & Daughter", "2026-09-08", "2026-09-16", "2026-09-16",
    )  # fmt: skip
    assert [(line["roll"], line["service"], line["amount"]) for line in order["lines"]] == [
        ("A1", "develop", "5.00"), ("A1", "scan", "4.00"), ("A1", "print 4R", "4.00"), ("A2", "develop", "12.00"),
        ("A2", "scan", "4.00"), ("A2", "print 4R", "0.80"), ("A2", "print 8R", "4.00"),
    ]  # fmt: skip
    assert [(fee["service"], fee["amount"]) for fee in order["fees"]] == [("postage", "4.50")]
    assert document["refused"] == []


def test_each_rolls_price_at_each_lab_is_shown_line_by_line_or_why_not(dryside, files):
    found = {(one["roll"], one["lab"]): one for one in plan_from_files(dryside, files, "--prices")["prices"]}
    assert found["A1", "Quay Street Film"]["price"] == {"amount": "17.00", "currency": "EUR"}
    assert found["A1", "Tern & Daughter"]["price"] == {"amount": "13.00", "currency": "EUR"}
    assert [line["amount"] for line in found["A1", "Tern & Daughter"]["lines"]] == ["5.00", "4.00", "4.00"]
    assert found["A2", "Quay Street Film"]["reasons"] == ["slide film (E-6) is not taken", "no prints in 8R"]
    words = ("plan", "--labs", files / "labs", "--rolls", files / "rolls.csv", "--from", "2027-02-03", "--prices")
    assert "13.00 EUR†" in dryside(*words).out


def test_a_plan_for_people_is_a_table_and_a_plot(dryside, files):
    said = dryside(
        "plan", "--labs", files / "labs", "--rolls", files / "rolls.csv", "--from", "2026-09-08", "--plot",
        files / "plot.svg",
    )  # fmt: skip
    assert "develop E-6, 135" in said.out and "Tern & Daughter" in said.out
    assert "everything ready on" in (files / "plot.svg").read_text()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--budget", "10"), "it has no currency"),
        (("--budget", "10 EUR"), "the cheapest plan costs"),
        (("--rate", "GBP"), "no currency with a number above 0"),
        (("--currency", "JPY"), "no lab has prices in it"),
        (("--plot", "plot.gif"), "a plot is a .png or an .svg"),
        (("--from", "tomorrow"), "this is no day"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_line(dryside, files, words, message):
    base = ("plan", "--labs", files / "labs", "--rolls", files / "rolls.csv", "--from", "2026-09-08")
    said = dryside(*(base[:-2] if words[0] == "--from" else base), *words, status=2)
    assert message in said.err and "Traceback" not in said.err


def test_labs_are_added_whole_or_not_at_all(dryside, files):
    (files / "labs" / "wrong.toml").write_text(QUAY.replace('"7.00"', '"7.0.0"').replace("Quay Street", "Other"))
    said = dryside("lab", "add", files / "labs", status=2)
    assert "wrong.toml, line 14: price '7.0.0' has two decimal points" in said.err
    assert dryside.json("lab", "list")["labs"] == []
    found = dryside.json("lab", "check", files / "labs" / "wrong.toml", status=2)
    assert found["problems"][0]["thing"] == "wrong.toml, line 14"


def test_labs_are_listed_shown_and_retired(dryside, files):
    dryside("lab", "add", files / "labs")
    assert [one["name"] for one in dryside.json("lab", "list")["labs"]] == ["Quay Street Film", "Tern & Daughter"]
    assert "C-41 in 135, 120: 7.00 EUR, push 2.50 a stop, 1 open day" in dryside("lab", "show", "quay").out
    assert dryside("lab", "show", "quay", "--toml").out.strip() == QUAY.strip()
    assert dryside.json("lab", "show", "tern")["rush"][0]["price"] == "6.00"
    dryside("lab", "retire", "quay")
    assert [one["name"] for one in dryside.json("lab", "list")["labs"]] == ["Tern & Daughter"]


def test_the_whole_way_from_plan_to_collecting(dryside, season, files):
    out = files / "out"
    dryside("dropoff", "wish", season[0], "--scan", "standard", "--prints", "4R:5", "--returns", "uncut")
    assert len(dryside.json("plan")["plans"]) >= 1
    papers = dryside.json("dropoff", "papers", "--lab", "quay", "--out", out, "--contact", "name,phone", "--twin")
    assert [path.split("/")[-1] for path in papers["papers"]] == [
        "order-quay-street-film-2026-09-08.pdf", "order-quay-street-film-2026-09-08-labels.pdf",
    ]  # fmt: skip
    (order,) = dryside.json("dropoff", "record", "--lab", "quay", "--out", out)["orders"]
    # 7 + 5 + 2.50, 7, and 7 + 2.50 for the push.
    assert (order["order"], order["total"]["amount"], order["ready"]) == ("O26-001", "31.00", "2026-09-09")

    photo = files / "receipt.pdf"
    photo.write_bytes(b"%PDF-1.4 receipt")
    receipt = dryside.json(
        "dropoff", "receipt", "O26-001", "--number", "4711", "--paid", "31.50", "--file", photo,
        "--line", f"{season[2]} push=3.00", "--lab-number", f"{season[2]}=T-9",
    )  # fmt: skip
    assert receipt["differences"][0]["more"] == "0.50" and receipt["total"]["more"] == "0.50"
    shares = dryside.json("dropoff", "show", "O26-001")["shares"]
    assert [(one["owner"], one["owes"]["amount"]) for one in shares] == [
        ("Ilse Marquardt", "24.50"), ("Rui Tavora", "7.00"),
    ]  # fmt: skip

    due = dryside.json("due", "--ics", files / "due.ics")["due"]
    assert [one["kind"] for one in due] == ["prints", "scans", "negatives"]
    assert len(icalendar.Calendar.from_ical((files / "due.ics").read_bytes()).walk("VEVENT")) == 3

    dryside.day = "2026-09-12"
    assert dryside.json("collect", "O26-001", season[0], "--negatives")["still_there"] == sorted(season[1:])
    assert dryside.json("collect", "O26-001")["closed"] is True
    assert [one["kind"] for one in dryside.json("due")["due"]] == ["scans"]


def test_a_plan_is_recorded_with_an_order_for_each_lab(dryside, season):
    made = dryside.json("dropoff", "record")["orders"]
    assert sorted(roll for order in made for roll in order["rolls"]) == sorted(season)
    assert len(dryside.json("dropoff", "list")["orders"]) == len(made)
    said = dryside("dropoff", "record", status=2)
    assert "no roll waits for a lab" in said.err


def test_at_the_counter_everything_may_be_different(dryside, season):
    made = dryside.json(
        "dropoff", "record", season[0], "--lab", "tern", "--told", f"{season[0]}=30.00", "--ready", "2026-09-30"
    )
    assert (made["orders"][0]["total"]["amount"], made["orders"][0]["ready"]) == ("34.50", "2026-09-30")
    assert "they belong to one lab's order" in dryside("dropoff", "record", "--ready", "2026-09-30", status=2).err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("papers", "--page", "a5"), "paper is a4 or letter"),
        (("papers", "--contact", "shoe size"), "it is none of name, phone, email or address"),
        (("papers", "--labels", "3 by 8"), "this is no grid of labels"),
        (("papers", "--plan", "9"), "Look: dryside plan"),
        (("papers", "--lab", "nowhere"), "not in this book"),
        (("receipt", "O26-009", "--paid", "1"), "not in this book"),
        (("wish", "26-999-K", "--scan", "standard"), "26-999"),
    ],
)
def test_what_a_drop_off_cannot_do_is_refused_in_one_line(dryside, season, words, message):
    said = dryside("dropoff", *words, status=3 if "not in" in message or "26-999" in message else 2)
    assert message in said.err and "Traceback" not in said.err


def test_templates_are_copied_to_be_changed(dryside, files):
    written = dryside.json("dropoff", "templates", files / "mine")["written"]
    assert any(path.endswith("order-sheet.typ") for path in written)
    assert dryside.json("dropoff", "templates", files / "mine")["written"] == []
