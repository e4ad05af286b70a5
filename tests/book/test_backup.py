"""Backup and restore: the restored book equals the lost one; a full disk, a kill and a changed byte do no harm."""

import errno
import hashlib
import io
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing

import pytest

from book.kept_book import fill
from dryside.book import content_store
from dryside.book.backup import back_up, list_snapshots, read_snapshot, restore
from dryside.book.files import keep_original, put_picture
from dryside.book.folder import open_book
from dryside.book.people import add_person, list_people
from dryside.book.search import FrameQuery, find_frames
from dryside.book.table_copy import table_digest
from dryside.film.refusal import NotFound, Refusal


def kept_files(root):
    return {
        path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for name in ("originals", "pictures", "paper")
        for path in (root / name).rglob("*")
        if path.is_file() and "thumbnails" not in path.parts
    }


def tables(book):
    with book.read() as conn:
        return table_digest(conn)


@pytest.fixture
def full(book):
    fill(book)
    return book


def test_the_restored_book_equals_the_lost_one(full, tmp_path):
    before, files = tables(full), kept_files(full.root)
    back_up(full, tmp_path / "backup")
    full.close()
    shutil.rmtree(full.root)
    restore(tmp_path / "backup", tmp_path / "again")
    with open_book(tmp_path / "again", create=False) as again:
        assert tables(again) == before
        assert kept_files(again.root) == files
        with again.read() as conn:
            assert [one.caption for one in find_frames(conn, FrameQuery("mowe")).frames] == ["Möwe, 2 m"]
        with again.write() as conn:
            assert add_person(conn, "Noor").id == 2


def test_a_book_moves_to_postgresql_and_back_by_backup(full, tmp_path, other_postgresql_url):
    before, files = tables(full), kept_files(full.root)
    back_up(full, tmp_path / "backup")
    restore(tmp_path / "backup", other_postgresql_url, files=tmp_path / "shared")
    with open_book(other_postgresql_url, files=tmp_path / "shared") as shared:
        assert tables(shared) == before
        assert kept_files(shared.root) == files
        with shared.write() as conn:
            assert add_person(conn, "Noor").id == 2
        now = tables(shared)
        back_up(shared, tmp_path / "second")
    with pytest.raises(Refusal, match="holds a book already"):
        restore(tmp_path / "backup", other_postgresql_url, files=tmp_path / "other")
    restore(tmp_path / "second", tmp_path / "home")
    with open_book(tmp_path / "home") as home:
        assert tables(home) == now


def test_only_new_content_is_copied(full, tmp_path):
    first = back_up(full, tmp_path / "backup")
    assert first.copied > 0
    second = back_up(full, tmp_path / "backup")
    assert second.copied == 0
    put_picture(full, "x/copy.jpg", (full.pictures / "26-001-N" / "01.jpg").read_bytes())
    assert back_up(full, tmp_path / "backup").copied == 0  # the same content under another name
    put_picture(full, "x/new.jpg", b"12345")
    assert back_up(full, tmp_path / "backup").copied == 5
    assert len(list_snapshots(tmp_path / "backup")) == 4


def test_an_older_snapshot_can_be_restored(full, tmp_path):
    before = tables(full)
    name = back_up(full, tmp_path / "backup").snapshot
    with full.write() as conn:
        add_person(conn, "Noor")
    put_picture(full, "26-001-N/01.jpg", b"tagged anew")
    back_up(full, tmp_path / "backup")
    restore(tmp_path / "backup", tmp_path / "old", snapshot=name)
    with open_book(tmp_path / "old") as old:
        assert tables(old) == before
        assert (old.pictures / "26-001-N" / "01.jpg").read_bytes() != b"tagged anew"
    with pytest.raises(NotFound, match="snapshot yesterday: not in this backup"):
        restore(tmp_path / "backup", tmp_path / "none", snapshot="yesterday")


def test_a_backup_taken_while_others_write_is_of_one_moment(full, tmp_path):
    stop = threading.Event()

    def write():
        number = 0
        while not stop.is_set():
            with full.write() as conn:  # always two at a time
                add_person(conn, f"a{number}")
                add_person(conn, f"b{number}")
            keep_original(full, io.BytesIO(str(number).encode()), kind="scan", name="x")
            number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(3):
            back_up(full, tmp_path / "backup")
    finally:
        stop.set()
        writer.join()
    for name in list_snapshots(tmp_path / "backup"):
        restore(tmp_path / "backup", tmp_path / name, snapshot=name)
        with open_book(tmp_path / name) as again, again.read() as conn:
            assert len(list_people(conn)) % 2 == 1  # Ida and pairs
            for (sha256,) in conn.exec_driver_sql("SELECT sha256 FROM files"):
                assert (again.originals / sha256[:2] / sha256[2:]).exists()


def test_one_changed_byte_in_the_backup_is_found(full, tmp_path):
    back_up(full, tmp_path / "backup")
    victim = max((tmp_path / "backup" / "content").glob("??/*"), key=lambda path: path.stat().st_size)
    content = bytearray(victim.read_bytes())
    content[100] ^= 1
    victim.chmod(0o644)
    victim.write_bytes(content)
    with pytest.raises(Refusal, match="the backup of this file is damaged"):
        restore(tmp_path / "backup", tmp_path / "again")
    assert not (tmp_path / "again").exists()
    report = back_up(full, tmp_path / "backup", verify_all=True)  # the book has it still: copied anew
    assert report.damaged == ()
    restore(tmp_path / "backup", tmp_path / "again")


def test_a_changed_database_or_list_is_found(full, tmp_path):
    name = back_up(full, tmp_path / "backup").snapshot
    database = tmp_path / "backup" / "snapshots" / f"{name}.db"
    content = bytearray(database.read_bytes())
    content[-100] ^= 1
    database.write_bytes(content)
    with pytest.raises(Refusal, match="database of this snapshot is damaged"):
        restore(tmp_path / "backup", tmp_path / "again")
    database.with_suffix(".json").write_text(json.dumps({"name": name}))
    with pytest.raises(Refusal, match="list of a backup is damaged"):
        read_snapshot(tmp_path / "backup")
    back_up(full, tmp_path / "backup")
    restore(tmp_path / "backup", tmp_path / "again")


def test_a_place_that_is_not_empty_is_never_written_over(full, tmp_path):
    back_up(full, tmp_path / "backup")
    with pytest.raises(Refusal, match="never writes over a book"):
        restore(tmp_path / "backup", full.root)
    with pytest.raises(NotFound, match="there is no backup here"):
        restore(tmp_path / "nothing", tmp_path / "x")


def test_a_backup_inside_the_book_or_over_something_else_is_refused(full, tmp_path):
    with pytest.raises(Refusal, match="both would be lost together"):
        back_up(full, full.root / "backup")
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("Dear")
    with pytest.raises(Refusal, match="is no backup"):
        back_up(full, tmp_path / "letters")


def test_a_full_disk_leaves_earlier_snapshots_as_they_are(full, tmp_path, monkeypatch):
    """The disk is made full at the moment when the copy is forced to it; below, a real limit cuts a write short."""
    back_up(full, tmp_path / "backup")
    before = {path: path.read_bytes() for path in (tmp_path / "backup").rglob("*") if path.is_file()}
    put_picture(full, "x/new.jpg", b"new")

    def full_disk(_handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(content_store.os, "fsync", full_disk)
    with pytest.raises(Refusal, match="the disk is full; what was there before is untouched"):
        back_up(full, tmp_path / "backup")
    monkeypatch.undo()
    assert {path: path.read_bytes() for path in (tmp_path / "backup").rglob("*") if path.is_file()} == before
    assert back_up(full, tmp_path / "backup").copied == 3


LIMITED = """
import resource, sys
from pathlib import Path
from dryside.book.backup import back_up
from dryside.book.folder import open_book
from dryside.film.refusal import Refusal
with open_book(sys.argv[1]) as book:
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
    try:
        back_up(book, Path(sys.argv[2]))
    except Refusal as refusal:
        print(refusal)
"""


@pytest.mark.parametrize("limit", [30_000, 2_500_000])
def test_a_write_that_the_system_cuts_short_leaves_nothing_half_written(full, tmp_path, limit):
    """The lower limit cuts the copy of the database short, the higher one that of a file."""
    if not full.is_sqlite:
        pytest.skip("the limited process opens the folder by itself")
    keep_original(full, io.BytesIO(bytes(3_000_000)), kind="scan", name="large.tif")
    command = [sys.executable, "-c", LIMITED, str(full.root), str(tmp_path / "backup"), str(limit)]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "backup" in run.stdout
    assert run.stderr == ""
    assert not list((tmp_path / "backup").rglob("*.part"))
    assert not list((tmp_path / "backup").rglob("*.json"))
    back_up(full, tmp_path / "backup")
    restore(tmp_path / "backup", tmp_path / "again")


def test_a_snapshot_is_one_plain_database_that_anything_can_read(full, tmp_path):
    name = back_up(full, tmp_path / "backup").snapshot
    with closing(sqlite3.connect(tmp_path / "backup" / "snapshots" / f"{name}.db")) as connection:
        assert connection.execute("SELECT count(*) FROM frames").fetchone() == (4,)
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


BACK_UP = """
import sys
from pathlib import Path
from dryside.book.backup import back_up
from dryside.book.folder import open_book
with open_book(sys.argv[1]) as book:
    print("open", flush=True)
    back_up(book, Path(sys.argv[2]))
"""


@pytest.mark.slow
def test_killed_at_any_moment_what_is_listed_can_be_restored(full, tmp_path):
    if not full.is_sqlite:
        pytest.skip("the killed process opens the folder by itself")
    draw = random.Random(11)
    for i in range(40):
        keep_original(full, io.BytesIO(draw.randbytes(200_000)), kind="scan", name=f"{i}.tif")
    before = tables(full)
    command = [sys.executable, "-c", BACK_UP, str(full.root), str(tmp_path / "backup")]
    for _ in range(5):
        run = subprocess.Popen(command, stdout=subprocess.PIPE)
        run.stdout.readline()
        time.sleep(draw.random() * 0.3)
        os.kill(run.pid, signal.SIGKILL)
        run.communicate()
    subprocess.run(command, check=True, capture_output=True)
    for number, name in enumerate(list_snapshots(tmp_path / "backup")):
        restore(tmp_path / "backup", tmp_path / f"again{number}", snapshot=name)
        with open_book(tmp_path / f"again{number}") as again:
            assert tables(again) == before
    assert not list((tmp_path / "backup").rglob("*.part"))
