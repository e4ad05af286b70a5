"""From a note to the book: planned, then carried out; the same note again adds nothing."""

import os
import random
import signal
import subprocess
import sys
import time
from datetime import date

import pytest

from dryside.book.cameras import list_lenses
from dryside.book.events import list_events
from dryside.book.frame_import import apply_import, next_label_of, plan_import, read_log
from dryside.book.frames import find_frame, list_frames, update_frame
from dryside.book.notes.noted import Assumptions
from dryside.book.rolls import add_roll, get_roll, list_rolls
from dryside.book.schema import strips
from dryside.film.refusal import NotFound, Refusal

NOTE = b"""Camera: Ondine 35
Lens: Nightjar 50mm f1.4
14 July 2026
3  1/250 f8 harbour wall, sun behind
4 1/60 f4 14:30 gulls ***
8 blank
5-6 same
"""
HERE = Assumptions(offset="+02:00", year=2026)


@pytest.fixture
def roll(book):
    with book.write() as conn:
        return add_roll(conn, film_format="135", process="c41", on=date(2026, 7, 1), exposures=36)


def bring_in(book, roll, content=NOTE, **options):
    reading = read_log("note.txt", content, HERE)
    assert reading.problems == ()
    with book.write() as conn:
        plan = plan_import(conn, get_roll(conn, roll.id), reading, **options)
        return plan, apply_import(conn, roll, plan)


def frames_of(book, roll):
    with book.read() as conn:
        return list_frames(conn, roll.id)


def test_frames_are_added_in_the_order_of_the_film_with_those_between(book, roll):
    plan, count = bring_in(book, roll)
    assert (count, plan.unnoted) == (5, ("7",))
    frames = frames_of(book, roll)
    assert [(one.label, one.position) for one in frames] == [(str(i + 3), i) for i in range(6)]
    assert frames[5].blank
    assert (frames[1].taken_at, frames[1].taken_utc) == ("2026-07-14T14:30:00+02:00", 1784032200.0)
    assert frames[4].caption is None
    with book.read() as conn:
        (lens,) = list_lenses(conn)
        assert {one.lens_id for one in frames} == {lens.id, None}
        assert get_roll(conn, roll.id).camera_id is not None
        assert list_events(conn, roll.id)[-1].detail == {"added": 5, "changed": 0, "unnoted": ["7"]}


def test_the_same_note_again_adds_nothing(book, roll):
    bring_in(book, roll)
    before = frames_of(book, roll)
    plan, count = bring_in(book, roll)
    assert plan.does_nothing
    assert count == 0
    assert frames_of(book, roll) == before
    with book.read() as conn:
        assert len(list_events(conn, roll.id)) == 2


def test_what_a_person_changed_in_the_book_is_kept_and_said(book, roll):
    bring_in(book, roll)
    with book.write() as conn:
        update_frame(conn, find_frame(conn, roll.id, "04").id, caption="terns", rating=5)
    plan, count = bring_in(book, roll, NOTE + b"7 f2 1/30 late\n")
    assert {(one.label, one.column) for one in plan.kept} == {("4", "caption"), ("4", "rating")}
    assert count == 1
    assert frames_of(book, roll)[1].caption == "terns"
    bring_in(book, roll, replace=True)
    assert frames_of(book, roll)[1].caption == "gulls"


def test_frames_that_come_before_move_the_others_up(book, roll):
    bring_in(book, roll)
    bring_in(book, roll, b"00 1/60 f8 the shop\n1 1/60 f8 the door\n")
    assert [one.label for one in frames_of(book, roll)] == ["00", "0", "1", "2", "3", "4", "5", "6", "7", "8"]
    assert [one.position for one in frames_of(book, roll)] == list(range(10))


def test_frames_do_not_come_between_those_of_a_cut_roll(book, roll):
    bring_in(book, roll)
    with book.write() as conn:
        conn.execute(strips.insert().values(roll_id=roll.id, number=1, first_position=0, last_position=5))
    before = frames_of(book, roll)
    with pytest.raises(Refusal, match="cut into strips already"):
        bring_in(book, roll, b"1 1/60 f8 the door\n")
    assert frames_of(book, roll) == before
    bring_in(book, roll, b"9 1/60 f8 after the end is no trouble\n")


def test_more_frames_than_the_film_holds_are_remarked(book, roll):
    plan, _ = bring_in(book, roll, b"1-42 1/60 f8 many\n")
    assert plan.remarks == ("6 frames more than the roll's 36 exposures",)


def test_a_header_that_disagrees_with_the_book_is_remarked_and_the_book_kept(book, roll):
    bring_in(book, roll)
    plan, _ = bring_in(book, roll, b"Camera: Sabre\n3 f8 1/250\n")
    assert plan.remarks == ("the note says camera Sabre, the book Ondine 35; the book is kept",)


def test_the_next_label_counts_on(book, roll):
    with book.read() as conn:
        assert next_label_of(conn, roll) == "1"
    bring_in(book, roll)
    with book.read() as conn:
        assert next_label_of(conn, roll) == "9"
        with pytest.raises(NotFound, match=r"frame 30: not in this book\. The roll's frames: 3, 4"):
            find_frame(conn, roll.id, "30")


def test_a_sheet_is_told_from_a_note_and_no_text_is_refused_by_name(book):
    sheet = read_log("log.csv", b"frame,shutter,aperture\n1,1/60,4\n", HERE)
    assert sheet.frames[0].aperture == 4.0
    with pytest.raises(Refusal, match=r"^scan\.jpg: this is no text"):
        read_log("scan.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF", HERE)


IMPORT = """
import sys
from dryside.book.folder import open_book
from dryside.book.frame_import import apply_import, plan_import, read_log
from dryside.book.notes.noted import Assumptions
from dryside.book.rolls import list_rolls
note = "".join(f"{n} 1/60 f8 wall {n}\\n" for n in range(1, 37)).encode()
with open_book(sys.argv[1]) as book:
    print("open", flush=True)
    for roll in range(30):
        with book.write() as conn:
            row = list_rolls(conn)[roll]
            apply_import(conn, row, plan_import(conn, row, read_log("n.txt", note, Assumptions(year=2026))))
"""


@pytest.mark.slow
def test_killed_at_any_moment_a_roll_has_all_its_frames_or_none_and_a_rerun_ends_the_same(book):
    if not book.is_sqlite:
        pytest.skip("the killed process opens the folder by itself")
    with book.write() as conn:
        for _ in range(30):
            add_roll(conn, film_format="135", process="c41", on=date(2026, 7, 1))
    draw = random.Random(3)
    command = [sys.executable, "-c", IMPORT, str(book.root)]
    for _ in range(6):
        run = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        run.stdout.readline()
        time.sleep(draw.random() * 0.25)
        os.kill(run.pid, signal.SIGKILL)
        run.communicate()
        with book.read() as conn:
            assert {len(list_frames(conn, row.id)) for row in list_rolls(conn)} <= {0, 36}
    subprocess.run(command, check=True, capture_output=True)
    with book.read() as conn:
        assert {len(list_frames(conn, row.id)) for row in list_rolls(conn)} == {36}
        assert {len(list_events(conn, row.id)) for row in list_rolls(conn)} == {2}
