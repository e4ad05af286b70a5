"""Receiving against a plain verified copy: 36 TIFFs of 24 MP, both in one run, each in turn.

A plain verified copy reads each file, writes it, forces it to the disk, reads the copy back and compares digests.
Receiving does that, checks each picture for being whole, makes its thumbnail, reads labels and writes the book.

    python benchmarks/receive.py [--files 36] [--bits 16] [--rounds 2] [--work DIR]
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import statistics
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import numpy as np
import tifffile

from dryside.book.folder import open_book
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll, move_roll
from dryside.scans.receive import receive

BLOCK = 4 << 20
WIDTH, HEIGHT = 6000, 4000


def make_delivery(folder: Path, count: int, bits: int) -> int:
    """Write `count` uncompressed TIFFs, each different; returns bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(1)
    small = rng.uniform(0, 1, (40, 60, 3)).astype(np.float32)
    ramp = np.kron(small, np.ones((HEIGHT // 40, WIDTH // 60, 1), np.float32))
    for k in range(count):
        image = np.roll(ramp, 97 * k, axis=1)
        whole = (image * (65535 if bits == 16 else 255)).astype(np.uint16 if bits == 16 else np.uint8)
        tifffile.imwrite(
            folder / f"0612-{k + 1:02d}.tif", whole, photometric="rgb", resolution=(4000, 4000), metadata=None
        )
    os.sync()
    return sum(path.stat().st_size for path in folder.iterdir())


def digest(path: Path) -> str:
    found = hashlib.sha256()
    with path.open("rb", buffering=0) as file:
        while block := file.read(BLOCK):
            found.update(block)
    return found.hexdigest()


def verified_copy(source: Path, target: Path) -> None:
    """Copy one file and read the copy back, as `originals` are kept."""
    found = hashlib.sha256()
    with source.open("rb", buffering=0) as file, target.open("wb", buffering=0) as out:
        while block := file.read(BLOCK):
            found.update(block)
            out.write(block)
        os.fsync(out.fileno())
        os.posix_fadvise(out.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    if digest(target) != found.hexdigest():
        raise SystemExit(f"{target} reads back differently")


def copy_all(folder: Path, target: Path, workers: int) -> float:
    target.mkdir(parents=True)
    start = time.perf_counter()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(lambda path: verified_copy(path, target / path.name), sorted(folder.iterdir())))
    return time.perf_counter() - start


def receive_all(folder: Path, place: Path, count: int) -> float:
    with open_book(place) as book:
        with book.write() as conn:
            roll = add_roll(conn, film_format="135", process="c41", on=date(2026, 5, 1), exposures=count)
            move_roll(conn, move_roll(conn, roll, RollState.EXPOSED), RollState.AT_LAB)
        start = time.perf_counter()
        delivery = receive(book, [folder])
        took = time.perf_counter() - start
        assert delivery.new == count
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=36)
    parser.add_argument("--bits", type=int, choices=(8, 16), default=16)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--work", type=Path)
    args = parser.parse_args()
    work = args.work or Path(tempfile.mkdtemp(prefix="dryside-receive-"))
    size = make_delivery(work / "in", args.files, args.bits)
    print(f"{args.files} TIFFs of {WIDTH} x {HEIGHT} px, {args.bits} bit, {size / 1e9:.2f} GB")
    rows = []
    for k in range(args.rounds):
        single = copy_all(work / "in", work / "copy", 1)
        shutil.rmtree(work / "copy")
        double = copy_all(work / "in", work / "copy", 2)
        shutil.rmtree(work / "copy")
        ours = receive_all(work / "in", work / "book", args.files)
        shutil.rmtree(work / "book")
        rows.append((single, double, ours))
        print(f"round {k + 1}: copy on one thread {single:.1f} s, on two {double:.1f} s, receive {ours:.1f} s")
    single, double, ours = (statistics.median(row[k] for row in rows) for k in range(3))
    print(f"receive runs at {single / ours:.2f} of a verified copy on one thread (set: 0.50), "
          f"{double / ours:.2f} of one on two")  # fmt: skip
    if args.work is None:
        shutil.rmtree(work)


if __name__ == "__main__":
    main()
