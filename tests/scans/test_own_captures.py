"""Own captures in the book: originals kept, positives with their frames, and nothing twice."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import func, select

from dryside.book import schema
from dryside.book.frames import add_frame, list_frames
from dryside.book.rolls import add_roll
from dryside.film.refusal import Refusal
from dryside.negatives.development import FrameTones
from dryside.negatives.invert import CaptureInverted, FramePositive, RollInverted
from dryside.scans.own_captures import file_positives, positives_folder

CORNERS = ((0.0, 0.0), (9.0, 0.0), (9.0, 6.0), (0.0, 6.0))
NOW = "2026-06-05T12:00:00+01:00"


@pytest.fixture
def roll(book):
    with book.write() as conn:
        row = add_roll(conn, film_format="135", process="c41", on=date(2026, 6, 1), at="2026-06-01T09:00:00+01:00")
        for position, label in enumerate(("1", "2")):
            add_frame(conn, row.id, position=position, label=label)
    return row


def inverted(book, roll, tmp_path: Path, *labels: str | None, folder: Path | None = None) -> RollInverted:
    """What the engine hands over, with real files."""
    capture = tmp_path / "strip.tif"
    capture.write_bytes(b"a capture")
    folder = folder or positives_folder(book, roll)
    folder.mkdir(parents=True, exist_ok=True)
    frames = []
    for index, label in enumerate(labels):
        positive = folder / f"strip-{index}.tif"
        positive.write_bytes(b"a positive")
        positive.with_suffix(".jpg").write_bytes(f"shown {index}".encode())
        frames.append(FramePositive(index, CORNERS, label, "edge code", positive, (0.2, 0.6, 0.9), ()))
    return RollInverted((CaptureInverted(capture, 20.0, 0.5, False, tuple(frames)),), ())


def count(book, table) -> int:
    with book.read() as conn:
        return int(conn.execute(select(func.count()).select_from(table)).scalar())


def test_a_positive_is_filed_with_the_frame_whose_number_the_film_shows(book, roll, tmp_path):
    filed = file_positives(book, roll, inverted(book, roll, tmp_path, "2", "1"), made_at=NOW)
    assert filed.frames == ("2", "1")
    with book.read() as conn:
        of_frame = dict(conn.execute(select(schema.positives.c.frame_id, schema.positives.c.picture)).all())
        labels = {frame.id: frame.label for frame in list_frames(conn, roll.id)}
    assert {labels[frame]: Path(picture).name for frame, picture in of_frame.items()} == {
        "2": "strip-0.jpg",
        "1": "strip-1.jpg",
    }


def test_a_positive_of_no_known_frame_is_kept_and_named(book, roll, tmp_path):
    filed = file_positives(book, roll, inverted(book, roll, tmp_path, "1", None, "17"), made_at=NOW)
    assert filed.frames == ("1",)
    assert filed.without_frame == ("strip-1.tif", "strip-2.tif")
    assert count(book, schema.positives) == 3


def test_the_same_captures_again_add_nothing(book, roll, tmp_path):
    for _ in range(2):
        file_positives(book, roll, inverted(book, roll, tmp_path, "1", "2"), made_at=NOW)
    assert [count(book, t) for t in (schema.captures, schema.positives, schema.files, schema.developments)] == [
        1,
        2,
        1,
        1,
    ]


def test_the_capture_is_kept_as_it_was_handed_in(book, roll, tmp_path):
    file_positives(book, roll, inverted(book, roll, tmp_path, "1"), made_at=NOW)
    kept = [path for path in book.originals.rglob("*") if path.is_file()]
    assert [path.read_bytes() for path in kept] == [b"a capture"]


def test_contrast_and_range_of_the_development_are_noted_and_a_roll_that_tells_none_has_none(book, roll, tmp_path):
    made = inverted(book, roll, tmp_path, *map(str, range(1, 9)))
    (capture,) = made.captures
    tones = [FrameTones(1.0 + 0.1 * (n % 3), 0.61 if n == 4 else None) for n in range(8)]
    told = replace(capture, frames=tuple(replace(f, tones=t) for f, t in zip(capture.frames, tones, strict=True)))
    file_positives(book, roll, replace(made, captures=(told,)), made_at=NOW)
    with book.read() as conn:
        row = conn.execute(select(schema.developments)).one()
    assert (row.contrast, row.picture_range, row.picture_range_frames) == (0.61, 1.1, 8)
    assert 0 < row.picture_range_error < 0.1
    file_positives(book, roll, made, made_at=NOW)
    with book.read() as conn:
        row = conn.execute(select(schema.developments)).one()
    assert (row.contrast, row.picture_range, row.picture_range_error, row.picture_range_frames) == (None, None, None, 0)


def test_the_base_density_of_the_development_is_the_frames_median(book, roll, tmp_path):
    file_positives(book, roll, inverted(book, roll, tmp_path, "1", "2"), made_at=NOW)
    with book.read() as conn:
        row = conn.execute(select(schema.developments)).one()
    assert np.allclose((row.base_red, row.base_green, row.base_blue), (0.2, 0.6, 0.9))


def test_positives_outside_the_book_are_refused(book, roll, tmp_path):
    elsewhere = inverted(book, roll, tmp_path, "1", folder=tmp_path / "elsewhere")
    with pytest.raises(Refusal, match="lies outside the book's pictures"):
        file_positives(book, roll, elsewhere, made_at=NOW)
