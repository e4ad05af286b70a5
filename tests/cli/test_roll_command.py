"""`dryside stock`, `roll`: from the shelf to a finished roll, as a person types it."""

import pytest


@pytest.fixture
def shelf(dryside):
    dryside("stock", "add", "Fennel 400", "--process", "C-41", "--iso", "400/27°")
    dryside(
        "stock", "put", "fennel 400", "--quantity", "3", "--price", "9.50", "--expires", "2026-08-01", "--kept", "cold"
    )
    return dryside


def test_the_shelf_says_what_expires_first_and_what_it_is_worth(shelf):
    said = shelf("stock", "shelf").out
    assert "2026-08-01 (12 days)" in said
    assert "Worth: 28.50 EUR." in said
    assert shelf.json("stock", "shelf")["worth"] == [{"amount": "28.50", "currency": "EUR"}]
    assert shelf.json("stock", "list")["stocks"][0]["iso"] == 400


def test_a_roll_gets_its_code_and_goes_on_its_way(shelf):
    loaded = shelf.json(
        "roll", "load", "--stock", "Fennel 400", "--camera", "Ondine 35", "--owner", "Ida", "--name", "H7"
    )
    assert loaded["roll"]["code"] == "26-001-N"
    assert "3 h before opening" in loaded["warnings"][0]
    assert "exposed and not yet at a lab" in shelf("roll", "finish", "h7", "--on", "2026-07-19").out
    shown = shelf.json("roll", "show", "26001n")
    assert shown["names"] == ["H7"]
    assert (shown["roll"]["exposed_on"], shown["roll"]["owner"]) == ("2026-07-19", "Ida")
    assert [event["at"][:10] for event in shown["events"]] == ["2026-07-20", "2026-07-19"]
    assert "Ondine 35" in shelf("roll", "list", "--state", "exposed").out
    assert shelf.json("roll", "list", "--state", "camera")["rolls"] == []
    assert shelf.json("stock", "shelf")["shelf"][0]["lot"]["quantity"] == 2


def test_a_refusal_names_thing_finding_and_remedy_and_the_exit_status(shelf):
    shelf("roll", "load", "--stock", "Fennel 400")
    said = shelf("roll", "finish", "26-001-M", status=3)
    assert said.err == (
        "dryside: roll 26-001-M: mistyped: M is not the check character of 26-001. Did you mean 26-001-N?\n"
    )
    refused = shelf.json("roll", "move", "26-001-N", "sleeved", status=2)["refused"]
    assert refused["found"] == "it is in a camera; it cannot go to 'sleeved' from there"
    assert shelf("roll", "load", status=2).err.endswith("Name one: --stock or --process.\n")
    assert "nothing to change" in shelf("roll", "set", "26-001-N", status=2).err


def test_what_the_book_says_of_a_roll_can_be_changed(shelf):
    shelf("roll", "load", "--stock", "Fennel 400", "--ei", "800")
    changed = shelf.json("roll", "set", "26-001-N", "--push", "+1", "--title", "Ferry", "--format", "half")["roll"]
    assert (changed["push_stops"], changed["title"], changed["format"]) == (1.0, "Ferry", "half")
    assert "is also 1998/3" in shelf("roll", "name", "26-001-N", "1998/3").out
    assert "+1" in shelf("roll", "show", "1998/3").out
    assert "lost" in shelf("roll", "move", "1998/3", "lost", "--why", "ferry").out


def test_without_a_book_nothing_is_made_by_looking(dryside, tmp_path):
    if "--files" in dryside.options:
        pytest.skip("a database is always there")
    assert "there is no book here" in dryside("roll", "list", status=3).err
    assert not (tmp_path / "book").exists()
