"""`dryside spending` on a temporary book: money as text with its currency, and figures of the labs."""

import json
from datetime import date

import pytest
from typer.testing import CliRunner

from dryside.book.folder import open_book
from dryside.book.rolls import add_roll
from dryside.book.rows import insert
from dryside.book.schema import labs, order_lines, orders
from dryside.cli.main import app
from dryside.film.refusal import NotFound, Refusal


@pytest.fixture
def run(book_place):
    """A book with one paid and one unpaid order; a function that runs the command on it."""
    where, files = book_place
    with open_book(where, files=files) as book, book.write() as conn:
        lab = insert(conn, labs, {"name": "Low Wharf", "active": True})
        for number, paid in (("O26-001", "12.00"), ("O26-002", None)):
            roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1))
            values = {
                "lab_id": lab,
                "number": number,
                "dropped_on": "2026-05-10",
                "estimate": "12.00",
                "currency": "EUR",
            }
            order = insert(conn, orders, {**values, "paid": paid, "paid_on": "2026-05-20" if paid else None})
            for service, price in (("develop", "7.00"), ("scan", "5.00")):
                line = {"order_id": order, "roll_id": roll.id, "service": service, "estimate": price}
                insert(conn, order_lines, line)
    place = ["--book", where, *(["--files", str(files)] if files else [])]

    def invoked(*words):
        done = CliRunner().invoke(app, [*place, "spending", *map(str, words)], env={"DRYSIDE_TODAY": "2026-06-05"})
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return done.stdout

    return invoked


def test_every_figure_is_in_the_json(run, tmp_path):
    told = json.loads(run("--by", "service", "--plots", tmp_path / "plots", "--json"))
    assert [(row["key"], row["total"]["amount"]) for row in told["rows"]] == [("develop", "14.00"), ("scan", "10.00")]
    assert told["whole"][0]["unpaid"] == {"amount": "12.00", "currency": "EUR"}
    assert told["unpaid"][0]["order"] == "O26-002"
    assert told["labs"][0]["orders"] == 2
    assert told["shelf"]["rolls"] == 0
    assert sorted(path.name for path in (tmp_path / "plots").iterdir()) == ["spending-EUR.png", "spending-EUR.svg"]


def test_words_say_what_waits_and_how_the_labs_work(run):
    told = run("--labs")
    assert "2026-05" in told
    assert "Not paid yet: order O26-002, Low Wharf, dropped off 2026-05-10, 12.00 EUR" in told
    assert "none rated" in told


def test_what_cannot_be_told_is_refused(run, tmp_path):
    with pytest.raises(Refusal, match="Use one of: month"):
        run("--by", "weather")
    with pytest.raises(Refusal, match="this is no day"):
        run("--since", "May")
    with pytest.raises(NotFound, match="there is no book here"):
        CliRunner().invoke(app, ["--book", str(tmp_path / "none"), "spending"], catch_exceptions=False)
