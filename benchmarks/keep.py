"""Keeping originals: copied, hashed, forced to disk, read back, renamed; beside a plain verified copy.

python benchmarks/keep.py [--work DIR] [--files 24] [--megabytes 25] [--rounds 3]

The plain verified copy does what one would write by hand with the same promise: hash the source, copy it, force it to
disk, hash the copy. Every method in turn in each round; the median of the ratios counts. Also: a check of the book, a
backup, and the same backup again.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from dryside.book.backup import back_up
from dryside.book.check import check_book
from dryside.book.files import keep_original
from dryside.book.folder import open_book


def plain(source: Path, target: Path) -> None:
    before = hashlib.file_digest(source.open("rb"), "sha256").hexdigest()
    with source.open("rb") as stream, target.open("wb") as copy:
        shutil.copyfileobj(stream, copy, 4 * 1024 * 1024)
        copy.flush()
        os.fsync(copy.fileno())
    assert hashlib.file_digest(target.open("rb"), "sha256").hexdigest() == before


def timed(work) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def one_round(folder: Path, sources: list[Path], size_mb: int) -> float:
    (folder / "plain").mkdir(parents=True)
    by_hand = timed(lambda: [plain(path, folder / "plain" / path.name) for path in sources])
    with open_book(folder / "book") as book:
        kept = timed(lambda: [keep_original(book, path, kind="scan") for path in sources])
        again = timed(lambda: [keep_original(book, path, kind="scan") for path in sources])
        checked = timed(lambda: check_book(book))
        saved = timed(lambda: back_up(book, folder / "backup"))
        saved_again = timed(lambda: back_up(book, folder / "backup"))
    print(
        f"plain verified copy {size_mb / by_hand:6.0f} MB/s, kept {size_mb / kept:6.0f}, again {size_mb / again:6.0f},"
        f" check {size_mb / checked:6.0f}, backup {size_mb / saved:6.0f}, backup again {saved_again:.2f} s"
    )
    return by_hand / kept


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path)
    parser.add_argument("--files", type=int, default=24)
    parser.add_argument("--megabytes", type=int, default=25)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="dryside-keep-", dir=options.work))
    sources = []
    for i in range(options.files):
        sources.append(folder / f"in-{i}.tif")
        sources[-1].write_bytes(os.urandom(options.megabytes * 1_000_000))
    ratios = []
    for number in range(options.rounds):
        ratios.append(one_round(folder / f"round-{number}", sources, options.files * options.megabytes))
        shutil.rmtree(folder / f"round-{number}")
    print(f"speed of keeping over a plain verified copy: {statistics.median(ratios):.2f} (at least 0.5 is asked)")
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
