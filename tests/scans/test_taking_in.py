"""A receive that is killed at any moment loses and doubles nothing."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dryside.book.folder import open_book
from dryside.book.schema import deliveries, events, files, frames, scans
from dryside.scans.parcel import open_parcel
from dryside.scans.receive import receive
from dryside.scans.taking_in import take_in
from scans.deliveries import folder_of, waiting_roll

RECEIVE = """
import sys
from pathlib import Path
from dryside.book.folder import open_book
from dryside.scans.receive import receive
print("ready", flush=True)
with open_book(sys.argv[1]) as book:
    receive(book, [Path(sys.argv[2])], at="2026-06-01T12:00:00+02:00")
"""


def contents(place):
    """Everything the book holds but for its own clock: rows, and the files in its folder."""
    with open_book(place) as book, book.read() as conn:
        rows = [
            sorted(conn.execute(files.select().with_only_columns(files.c.sha256, files.c.name, files.c.size))),
            sorted(conn.execute(scans.select().with_only_columns(
                scans.c.name, scans.c.state, scans.c.frame_id, scans.c.sequence, scans.c.confidence))),
            conn.execute(deliveries.select().with_only_columns(deliveries.c.sha256, deliveries.c.report)).all(),
            conn.execute(frames.select().with_only_columns(frames.c.label, frames.c.position)).all(),
            conn.execute(events.select().with_only_columns(events.c.kind, events.c.to_state)).all(),
        ]  # fmt: skip
        folder = book.root
    kept = sorted(
        (str(path.relative_to(folder)), path.stat().st_size)
        for part in ("originals", "pictures", "journal")
        for path in (folder / part).rglob("*")
        if path.is_file() and path.suffix != ".part"
    )
    return rows, kept


@pytest.mark.slow
def test_killed_at_any_moment_and_run_again_the_book_is_the_same(tmp_path):
    delivery = folder_of(tmp_path / "in", [f"0612-{n:02d}.jpg" for n in range(1, 17)], width=1200, height=800)

    def new_book(name):
        with open_book(tmp_path / name) as book:
            waiting_roll(book, labels=range(1, 17))
        return tmp_path / name

    straight = new_book("straight")
    subprocess.run([sys.executable, "-c", RECEIVE, straight, delivery], check=True, capture_output=True)
    expected = contents(straight)
    rng = random.Random(7)
    cut_short = 0
    for attempt in range(3):
        place = new_book(f"killed{attempt}")
        kept = 0
        for _ in range(2):  # killed twice, then left to finish
            kept = rng.randint(kept, 16)
            cut_short += _killed(place, delivery, kept, rng.uniform(0, 0.2))
        with open_book(place) as book:
            receive(book, [delivery], at="2026-06-01T12:00:00+02:00")
        assert contents(place) == expected
    assert cut_short >= 1  # not all of them came too late


def _killed(place, delivery, kept, more_s):
    """Start a receive and kill it a moment after it has kept so many files; whether it was still at work."""
    process = subprocess.Popen([sys.executable, "-c", RECEIVE, place, delivery], stdout=subprocess.PIPE)
    process.stdout.readline()
    while process.poll() is None and sum(1 for _ in (place / "originals").glob("??/*")) < kept:
        time.sleep(0.005)
    time.sleep(more_s)
    at_work = process.poll() is None
    process.kill()
    process.wait()
    process.stdout.close()
    return at_work


def test_a_second_run_finds_what_the_first_one_did(book, tmp_path):
    waiting_roll(book, labels=range(1, 4))
    entries = open_parcel([folder_of(tmp_path / "in", ["1.jpg", "2.jpg", "3.jpg"])]).entries
    first, journal = take_in(book, entries[:2])
    assert first.resumed == 0
    assert journal.read_text().count("sha256") == 2
    journal.write_text(journal.read_text() + '{"key": "cut off he')
    second, _ = take_in(book, entries[:2])
    assert second.resumed == 2
    assert second.taken == first.taken


def test_a_journal_is_not_believed_where_the_original_is_gone(book, tmp_path):
    entries = open_parcel([folder_of(tmp_path / "in", ["1.jpg"])]).entries
    first, _ = take_in(book, entries)
    stored = next(path for path in book.originals.rglob("*") if path.is_file())
    stored.chmod(0o644)
    stored.unlink()
    second, _ = take_in(book, entries)
    assert second.resumed == 0
    assert second.taken == first.taken
    assert stored.is_file()


def test_every_name_is_told_as_it_is_done(book, tmp_path):
    folder = folder_of(tmp_path / "in", ["1.jpg", "2.jpg"])
    names = []
    take_in(book, open_parcel([folder]).entries, step=names.append)
    assert sorted(names) == ["1.jpg", "2.jpg"]
    assert isinstance(folder, Path)
