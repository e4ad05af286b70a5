"""What can be made again is held within a size: the longest unused goes first."""

from __future__ import annotations

import os

from dryside.web.kept import note_use, trim


def kept(folder, name: str, *, size: int, used: int):
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(bytes(size))
    os.utime(path, (used, used))
    return path


def test_the_longest_unused_goes_first_and_nothing_within_the_limit(tmp_path):
    for number in range(10):
        kept(tmp_path, f"{number // 5}/{number}.npy", size=1000, used=1_000_000 + number)
    assert trim(tmp_path, "*.npy", 10_000).dropped == 0
    found = trim(tmp_path, "*.npy", 5_000)
    assert (found.size_bytes, found.dropped) == (4_000, 6)
    assert sorted(path.name for path in tmp_path.rglob("*.npy")) == ["6.npy", "7.npy", "8.npy", "9.npy"]


def test_a_use_counts_as_new_and_leaves_the_time_of_change(tmp_path):
    old = kept(tmp_path, "1.npy", size=1000, used=1_000_000)
    kept(tmp_path, "2.npy", size=1000, used=1_000_001)
    note_use(old)
    assert old.stat().st_mtime == 1_000_000
    trim(tmp_path, "*.npy", 1_500)
    assert [path.name for path in tmp_path.iterdir()] == ["1.npy"]


def test_other_files_stay(tmp_path):
    kept(tmp_path, "samples.npy", size=5000, used=1_000_000)
    kept(tmp_path, "12.npy", size=5000, used=1_000_000)
    trim(tmp_path, "[0-9]*.npy", 1_000)
    assert [path.name for path in tmp_path.iterdir()] == ["samples.npy"]


def test_a_folder_that_is_not_there_holds_nothing(tmp_path):
    assert trim(tmp_path / "none", "*", 1).size_bytes == 0
