"""A watched folder: what lies in it and what comes is received once it is whole."""

from __future__ import annotations

import threading
import time
import zipfile

import pytest

from dryside.film.refusal import NotFound, Refusal
from dryside.scans.watching import deliveries_in, watch_folder
from scans.deliveries import folder_of, placed, waiting_roll


def test_each_zip_and_folder_is_a_delivery_and_loose_files_are_one(tmp_path):
    (tmp_path / "a").mkdir()
    for name in ("b.zip", "1.jpg", "2.jpg", ".hidden", "c.zip.part"):
        (tmp_path / name).write_bytes(b"x")
    found = [[path.name for path in paths] for paths in deliveries_in(tmp_path)]
    assert found == [["a"], ["b.zip"], ["1.jpg", "2.jpg"]]


def test_what_comes_is_received_and_what_cannot_be_is_told(book, tmp_path):
    waiting_roll(book, labels=range(1, 4))
    folder = tmp_path / "inbox"
    folder.mkdir()
    pictures = folder_of(tmp_path / "in", ["1.jpg", "2.jpg", "3.jpg"])
    told, stop = [], threading.Event()
    watcher = threading.Thread(
        target=watch_folder, args=(book, folder, told.append), kwargs={"settle_s": 0.3, "stop": stop}
    )
    watcher.start()
    try:
        (folder / "broken.zip").write_bytes(b"PK\x03\x04 not a zip")
        with zipfile.ZipFile(tmp_path / "d.zip", "w") as archive:
            for path in sorted(pictures.iterdir()):
                archive.write(path, path.name)
        (tmp_path / "d.zip").rename(folder / "d.zip")
        deadline = time.monotonic() + 30
        while len(told) < 2 and time.monotonic() < deadline:
            time.sleep(0.05)
    finally:
        stop.set()
        watcher.join()
    assert {type(one) is Refusal for one in told} == {True, False}
    assert placed(book) == {f"{n}.jpg": ("sure", str(n)) for n in (1, 2, 3)}


def test_a_folder_that_is_not_there_is_not_found(book, tmp_path):
    with pytest.raises(NotFound, match="there is no such folder"):
        watch_folder(book, tmp_path / "none", print)
