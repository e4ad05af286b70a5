"""Originals by checksum: verified, once, never changed, whole after any kill."""

import hashlib
import io
import os
import random
import signal
import subprocess
import sys
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryside.book.files import (
    atomic_file,
    find_file,
    guess_media_type,
    keep_original,
    original_path,
    put_picture,
    store_original,
)
from dryside.book.schema import files
from dryside.film.refusal import Refusal


def originals(book):
    return sorted(path for path in book.originals.rglob("*") if path.is_file())


# SHA-256 of 'abc': FIPS 180-2, appendix B.1.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_an_original_is_named_by_its_published_digest_and_cannot_be_written(book, tmp_path):
    (tmp_path / "scan.tif").write_bytes(b"abc")
    row = keep_original(book, tmp_path / "scan.tif", kind="scan")
    assert (row.sha256, row.size, row.name, row.media_type) == (ABC, 3, "scan.tif", "image/tiff")
    path = original_path(book, ABC)
    assert path == book.originals / "ba" / ABC[2:]
    assert path.read_bytes() == b"abc"
    assert path.stat().st_mode & 0o222 == 0


def test_keeping_the_same_bytes_again_adds_nothing(book, tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"same")
    first = keep_original(book, tmp_path / "a.jpg", kind="scan")
    assert keep_original(book, io.BytesIO(b"same"), kind="phone shot", name="b.jpg") == first
    assert len(originals(book)) == 1


def test_the_row_joins_a_transaction_that_is_under_way(book):
    with pytest.raises(RuntimeError, match="stop"), book.write() as conn:
        row = keep_original(book, io.BytesIO(b"x"), kind="scan", name="x", conn=conn)
        raise RuntimeError("stop")
    with book.read() as conn:
        assert find_file(conn, row.sha256) is None
    assert original_path(book, row.sha256).exists()  # an orphan, which check names


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=5000))
def test_any_bytes_come_back_the_same(book, content):
    kept = store_original(book, io.BytesIO(content))
    assert kept.path.read_bytes() == content
    assert kept.sha256 == hashlib.sha256(content).hexdigest()


def test_a_large_stream_is_copied_in_blocks(book):
    content = random.Random(1).randbytes(9 * 1024 * 1024 + 17)
    assert store_original(book, io.BytesIO(content)).sha256 == hashlib.sha256(content).hexdigest()


def test_a_damaged_original_of_another_length_is_written_anew(book):
    kept = store_original(book, io.BytesIO(b"whole"))
    kept.path.chmod(0o644)
    kept.path.write_bytes(b"wh")
    assert store_original(book, io.BytesIO(b"whole")).was_new
    assert kept.path.read_bytes() == b"whole"


def test_what_cannot_be_read_is_refused_and_leaves_nothing(book, tmp_path):
    with pytest.raises(Refusal, match=r"missing\.jpg: it could not be kept \(No such file"):
        keep_original(book, tmp_path / "missing.jpg", kind="scan")
    with pytest.raises(Refusal, match="could not be kept"):
        keep_original(book, tmp_path, kind="scan")
    assert originals(book) == []


class Breaking(io.BytesIO):
    """A stream whose disk fails half way."""

    def read(self, size=-1):
        block = super().read(min(size, 1000))
        if self.tell() > 3000:
            raise OSError(5, "Input/output error")
        return block


def test_a_source_that_fails_half_way_leaves_nothing(book):
    with pytest.raises(Refusal, match="Input/output error"):
        store_original(book, Breaking(b"x" * 9000), name="roll.zip")
    assert originals(book) == []


def test_pictures_appear_whole_or_not_at_all(book):
    path = put_picture(book, "26-001-N/01.jpg", b"one")
    put_picture(book, "26-001-N/01.jpg", b"two")
    assert path.read_bytes() == b"two"
    with pytest.raises(RuntimeError, match="stop"), atomic_file(path) as stream:
        stream.write(b"half")
        raise RuntimeError("stop")
    assert path.read_bytes() == b"two"
    assert [one.name for one in path.parent.iterdir()] == ["01.jpg"]


@pytest.mark.parametrize("name", ["../book.db", "/etc/passwd", "a/../../x", ""])
def test_a_picture_never_leaves_its_folder(book, name):
    with pytest.raises(ValueError, match="leads out of"):
        put_picture(book, name, b"x")


def test_media_types_of_what_people_hand_in():
    kinds = {"a.DNG": "image/x-adobe-dng", "a.heic": "image/heic", "a.jpg": "image/jpeg", "a.tif": "image/tiff"}
    assert {name: guess_media_type(name) for name in kinds} == kinds
    assert guess_media_type("a.unheard") == "application/octet-stream"


KEEP_MANY = """
import sys
from pathlib import Path
from dryside.book.files import keep_original
from dryside.book.folder import open_book
with open_book(sys.argv[1]) as book:
    for path in sorted(Path(sys.argv[2]).iterdir()):
        keep_original(book, path, kind="scan")
        print(path.name, flush=True)
"""


@pytest.mark.slow
def test_killed_at_any_moment_every_row_has_its_whole_file_and_a_rerun_ends_the_same(book, tmp_path):
    if not book.is_sqlite:
        pytest.skip("the killed process opens the folder by itself")
    source = tmp_path / "in"
    source.mkdir()
    draw = random.Random(5)
    for i in range(30):
        (source / f"{i:02d}.tif").write_bytes(draw.randbytes(300_000))
    said = ""
    for _ in range(8):
        run = subprocess.Popen(
            [sys.executable, "-c", KEEP_MANY, str(book.root), str(source)], stdout=subprocess.PIPE, text=True
        )
        first = run.stdout.readline()  # it is at work now
        time.sleep(draw.random() * 0.1)
        os.kill(run.pid, signal.SIGKILL)
        said = first + run.communicate()[0]
        with book.read() as conn:
            for row in conn.execute(files.select()):
                assert hashlib.sha256(original_path(book, row.sha256).read_bytes()).hexdigest() == row.sha256
            names = {row.name for row in conn.execute(files.select())}
        assert set(said.split()) <= names  # what was said to be kept is kept
    subprocess.run([sys.executable, "-c", KEEP_MANY, str(book.root), str(source)], check=True, capture_output=True)
    with book.read() as conn:
        digests = {row.sha256 for row in conn.execute(files.select())}
    assert digests == {hashlib.sha256(path.read_bytes()).hexdigest() for path in source.iterdir()}
    assert len([path for path in originals(book) if path.suffix != ".part"]) == 30
