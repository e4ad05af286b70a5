"""Where a roll's frames lie, from what the engine found in its captures."""

import itertools
import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.files import keep_original
from dryside.book.rows import insert
from dryside.book.schema import captures
from dryside.demo.simulator import Camera, Placed, draw_capture, lay_out
from dryside.film.refusal import Refusal
from dryside.film.sleeves import sleeve_page
from dryside.negatives.measure import MeasureOptions, measure_capture
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.roll_film import film_of_roll, roll_labels, seen_in


def geometry(starts_mm, labels, *, width_mm=36.0, scale=20.0, turn_degrees=0.0, origin=(500.0, 300.0)):
    """What the engine writes of frames that begin at these places along a film turned by an angle."""
    turn = math.radians(turn_degrees)
    along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    frames = []
    for start, label in zip(starts_mm, labels, strict=True):
        corners = [(start, 0), (start + width_mm, 0), (start + width_mm, 24), (start, 24)]
        frames.append(
            {"label": label, "corners": [list(np.array(origin) + scale * (x * along + y * across)) for x, y in corners]}
        )
    return {"pixels_per_mm": scale, "frames": frames}


@given(turn=st.floats(-180, 180), scale=st.floats(8, 100))
def test_gaps_are_as_on_the_film_whichever_way_it_lies(turn, scale):
    seen = seen_in(geometry([0, 38.4, 75.0], ["4", "5", "6"], turn_degrees=turn, scale=scale))
    assert [frame.label for frame in seen] == ["4", "5", "6"]
    gaps = [later.start_mm - earlier.end_mm for earlier, later in itertools.pairwise(seen)]
    assert gaps == pytest.approx([2.4, 0.6], abs=1e-6)


def test_frames_seen_from_the_wrong_end_are_put_in_the_rolls_order():
    seen = seen_in(geometry([0, 38, 76], ["6", "5", "4"]))
    assert [frame.label for frame in seen] == ["4", "5", "6"]
    assert seen[0].start_mm < seen[1].start_mm < seen[2].start_mm


def test_frames_without_a_label_and_captures_without_a_scale_tell_nothing():
    assert seen_in({"frames": []}) == []
    assert seen_in(geometry([0, 38], [None, "5"]))[0].label == "5"
    assert seen_in({**geometry([0], ["5"]), "pixels_per_mm": None}) == []


def add_capture(book, roll, found, name, tmp_path):
    path = tmp_path / name
    path.write_bytes(name.encode())
    kept = keep_original(book, path, kind="capture")
    with book.write() as conn:
        values = {"file_id": kept.id, "roll_id": roll.id, "made_at": "2026-06-01T10:00:00+00:00"}
        insert(conn, captures, {**values, "geometry": json.loads(json.dumps(found))})


def test_a_wide_gap_and_an_overlap_in_the_captures_move_the_cuts(book, make_roll, tmp_path):
    roll = make_roll(12)
    one = [0, 38, 76, 113.0, 149, 187]  # frames 4 and 5 touch
    two = [0, 38, 90, 128, 166, 204]  # 14 mm more between 8 and 9
    add_capture(book, roll, geometry(one, ["1", "2", "3", "4", "5", "6"]), "a", tmp_path)
    add_capture(
        book, roll, geometry(two, ["7", "8", "9", "10", "11", "12"], scale=31.0, turn_degrees=178), "b", tmp_path
    )
    with book.read() as conn:
        film = film_of_roll(conn, roll)
    assert film.measured == 12
    plan = plan_cuts(film.frames, [sleeve_page("7x4")])
    assert "frames 4 and 5 touch and stay together" in plan.remarks
    assert 4 not in {cut.after + 1 for cut in plan.cuts}
    assert all(strip.length_mm <= plan.page.row_length_mm + 1e-6 for strip in plan.strips)
    gap = film.frames[8].start_mm - film.frames[7].end_mm
    assert gap == pytest.approx(16, abs=1e-6)


def test_a_drawn_capture_read_by_the_engine_gives_its_true_gaps(book, make_roll, tmp_path):
    import tifffile

    rng = np.random.default_rng(4)
    pictures = [rng.random((100, 150, 3)).astype(np.float32) * 0.6 + 0.05 for _ in range(4)]
    strip = lay_out(pictures, gaps_mm=[2.0, 5.0, 1.2], first_number=5)
    drawn = draw_capture(Placed(strip, tilt_degrees=0.7), Camera(rows=900, columns=3400, pixels_per_mm=20.0), seed=2)
    path = tmp_path / "strip.tif"
    tifffile.imwrite(path, drawn.pixels, photometric="rgb")
    measured = measure_capture(path, MeasureOptions(film_format="135"))
    found = {
        "pixels_per_mm": measured.strip.pixels_per_mm,
        "frames": [{"label": frame.label, "corners": frame.corners.tolist()} for frame in measured.frames],
    }
    roll = make_roll(4, first=5)
    add_capture(book, roll, found, "strip", tmp_path)
    with book.read() as conn:
        film = film_of_roll(conn, roll)
    assert film.measured == 4
    gaps = [later.start_mm - earlier.end_mm for earlier, later in zip(film.frames, film.frames[1:], strict=False)]
    assert gaps == pytest.approx([2.0, 5.0, 1.2], abs=0.3)


def test_labels_go_on_where_the_log_ends(book, make_roll):
    roll = make_roll(3, exposures=36)
    empty = make_roll(0, exposures=24)
    with book.read() as conn:
        assert roll_labels(conn, roll, 5) == ["1", "2", "3", "4", "5"]
        assert roll_labels(conn, roll) == ["1", "2", "3"]
        assert len(roll_labels(conn, empty)) == 24
        with pytest.raises(Refusal, match="2 is fewer"):
            roll_labels(conn, roll, 2)
