"""A frame's line read back is the frame: the round trip that editing in place stands on."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.book.frame_line import position_for, read_frame_line
from dryside.book.frames import add_frame
from dryside.book.notes.noted import Assumptions
from dryside.book.notes.write_line import note_line
from dryside.book.rolls import add_roll
from dryside.film.exposure import aperture_scale, parse_shutter, shutter_scale

# Without the florin sign, which notes use for f-numbers and readers take for f.
LETTERS = st.characters(whitelist_categories=("Ll", "Lu"), max_codepoint=0x24F, blacklist_characters="ƒ")
WORDS = st.text(alphabet=LETTERS, min_size=2, max_size=9)
SHUTTERS = [one.text for one in shutter_scale("third") if "/" in one.text]
APERTURES = [one.text for one in aperture_scale("third")]
ASSUME = Assumptions(offset="+02:00", year=2026)


@pytest.fixture(scope="module")
def open_one(tmp_path_factory):
    from dryside.book.folder import open_book

    with open_book(tmp_path_factory.mktemp("book")) as book:
        yield book


def roll_of(conn):
    return add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1))


@settings(max_examples=25)
@given(
    shutter=st.sampled_from(SHUTTERS),
    aperture=st.sampled_from(APERTURES),
    focal=st.sampled_from([28.0, 50.0, 105.0]),
    caption=st.lists(WORDS, min_size=1, max_size=4).map(" ".join),
    rating=st.integers(1, 5),
    minute=st.integers(0, 59),
)
def test_a_line_that_is_left_as_it_is_changes_nothing(open_one, shutter, aperture, focal, caption, rating, minute):
    with open_one.write() as conn:
        roll = roll_of(conn)
        frame = add_frame(
            conn, roll.id, position=0, label="7", shutter=shutter, shutter_s=parse_shutter(shutter).seconds,
            aperture=float(aperture), focal_mm=focal, caption=caption, rating=rating, keywords="harbour sea",
            taken_at=f"2026-05-02T10:{minute:02}:00+02:00", taken_to="minute", place="Torva",
        )  # fmt: skip
        found = read_frame_line(conn, roll, note_line(frame), ASSUME)
    assert found.changes == {}


def test_what_is_taken_out_of_a_line_is_taken_out_of_the_book(tmp_path):
    from dryside.book.folder import open_book

    with open_book(tmp_path / "book") as book, book.write() as conn:
        roll = roll_of(conn)
        add_frame(conn, roll.id, position=0, label="7", caption="quay", rating=3, latitude=43.9, longitude=-11.5)
        found = read_frame_line(conn, roll, "7 1/250 f8", ASSUME)
        assert found.changes["caption"] is None
        assert found.changes["rating"] is None
        assert "latitude" not in found.changes
        assert position_for(conn, roll, "8") == 1
