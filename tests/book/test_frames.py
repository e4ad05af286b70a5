"""Frames: ranges, labels, instants."""

from datetime import date

import pytest

from dryside.book.frames import add_frame, add_frames, film_order, find_frame, list_frames, normal_label, update_frame
from dryside.book.instants import now, parse_day, parse_instant, utc_seconds
from dryside.book.rolls import add_roll
from dryside.film.refusal import Refusal


@pytest.fixture
def roll_id(book):
    with book.write() as conn:
        return add_roll(conn, film_format="135", process="c41", on=date(2026, 7, 1)).id


def test_a_frame_is_found_by_its_label_however_it_is_written(book, roll_id):
    with book.write() as conn:
        add_frame(conn, roll_id, position=0, label="7A", taken_at="2026-07-14T14:30:00+02:00")
        frame = find_frame(conn, roll_id, "07a")
        assert frame.taken_utc == 1784032200.0
        with pytest.raises(Refusal, match="already has frame 7A there"):
            add_frame(conn, roll_id, position=0, label="8")
        assert update_frame(conn, frame.id, taken_at=None).taken_utc is None


@pytest.mark.parametrize(
    ("column", "value"),
    [("latitude", 90.1), ("longitude", -181), ("rating", 6), ("aperture", 0), ("shutter_s", 0), ("exposure_bias", 25)],
)
def test_what_lies_out_of_its_range_is_refused(book, roll_id, column, value):
    with pytest.raises(Refusal, match=f"{column} {value}: it must lie from"), book.write() as conn:
        add_frames(conn, [{"roll_id": roll_id, "position": 0, "label": "1", column: value}])
    with book.read() as conn:
        assert list_frames(conn, roll_id) == []


def test_labels_sort_along_the_film():
    labels = ["12", "1A", "0", "00", "2", "1", "nine", "X"]
    assert sorted(labels, key=film_order) == ["X", "00", "0", "1", "1A", "2", "12", "nine"]
    assert (normal_label(" 07 "), normal_label("nine")) == ("7", "nine")


def test_instants_need_their_offset_and_may_lie_before_1970():
    assert utc_seconds("1970-01-01T01:00:00+01:00") == 0.0
    assert utc_seconds("1926-05-01T12:00:00+00:00") == -1378123200.0
    assert parse_instant(now()).tzinfo is not None
    with pytest.raises(Refusal, match="needs its offset"):
        utc_seconds("2026-07-14T14:30:00")
    with pytest.raises(Refusal, match="no date and time"):
        utc_seconds("yesterday")
    with pytest.raises(Refusal, match="this is no day"):
        parse_day("31.2.")
