"""Finding among a million frames: every filter and mixes of them, very common words included.

python benchmarks/find.py [--work DIR] [--frames 1000000] [--queries 300]

A book of invented frames is filled through the bulk path (timed beside the bare sqlite3 module), then each kind of
search is asked many times with values drawn at random. Milliseconds in the database, through `find_frames`. `short`
counts the pages that the budget cut short: fewer than 50 frames, and more may follow.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from dryside.book.bulk import bulk_add_frames
from dryside.book.folder import open_book
from dryside.book.schema import cameras, lenses, people, rolls, stocks
from dryside.book.search import PAGE, FrameQuery, find_frames

FRAMES_A_ROLL = 36
SYLLABLES = [c + v for c in "bcdfghjklmnprstvwz" for v in "aeiou"]
COLUMNS = (
    "roll_id", "position", "label", "taken_at", "taken_utc", "shutter", "shutter_s", "aperture", "lens_id", "caption",
    "keywords", "person", "latitude", "longitude", "place", "rating", "blank", "printed",
)  # fmt: skip
START = datetime(2006, 1, 1, 9, tzinfo=UTC)


def vocabulary(size: int, rng: random.Random) -> list[str]:
    words: dict[str, None] = {}
    while len(words) < size:
        words["".join(rng.choice(SYLLABLES) for _ in range(rng.randint(2, 4)))] = None
    return list(words)


def invented(count: int, words: list[str], seed: int = 1):
    """Rows of frames: captions by Zipf's law, places round forty towns, times over twenty years."""
    g = np.random.default_rng(seed)
    weights = 1 / np.arange(1, len(words) + 1) ** 1.05
    lengths = g.integers(4, 13, count)
    drawn = g.choice(len(words), lengths.sum(), p=weights / weights.sum())
    at = np.concatenate([[0], np.cumsum(lengths)])
    towns = np.stack([g.uniform(36, 60, 40), g.uniform(-9, 25, 40)], axis=1)
    town = g.integers(0, 40, count)
    spread = g.normal(0, 0.05, (count, 2))
    rating = g.choice(6, count, p=[0.5, 0.1, 0.15, 0.15, 0.07, 0.03])
    step = timedelta(days=20 * 365) / count
    for i in range(count):
        when = START + i * step
        latitude, longitude = (towns[town[i]] + spread[i]).round(6).tolist()
        here = i % 2 == 0
        caption = " ".join(words[k] for k in drawn[at[i] : at[i + 1]])
        yield (
            i // FRAMES_A_ROLL + 1, i % FRAMES_A_ROLL, str(i % FRAMES_A_ROLL + 1), when.isoformat(timespec="seconds"),
            when.timestamp(), "1/250", 0.004, 8.0, i % 10 + 1, caption, words[int(town[i]) + 200],
            ("ida", "noor", "tomas", None)[i // 7 % 4], latitude if here else None, longitude if here else None,
            f"town{town[i]}", int(rating[i]) or None, 0, int(i % 11 == 0),
        )  # fmt: skip


def fill(folder: Path, rows: list[tuple]) -> None:
    with open_book(folder) as book, book.write() as conn:
        conn.execute(people.insert(), [{"name": f"person {k}", "is_keeper": False} for k in range(1, 6)])
        conn.execute(cameras.insert(), [{"name": f"camera {k}"} for k in range(1, 13)])
        conn.execute(lenses.insert(), [{"name": f"lens {k}"} for k in range(1, 11)])
        kinds = {"process": "c41", "kind": "colour negative", "iso": 400, "remjet": "no", "base": "unknown"}
        conn.execute(stocks.insert(), [{"name": f"stock {k}", **kinds} for k in range(1, 21)])
        count = len(rows) // FRAMES_A_ROLL + 1
        common = {"format": "135", "process": "c41", "cross_process": False, "push_stops": 0.0, "changed_at": "2026"}
        values = [
            {"code": f"{k:08d}", "owner_id": k % 5 + 1, "stock_id": k % 20 + 1, "camera_id": k % 12 + 1,
             "state": "scans back" if k > count - 40 else "sleeved", "title": f"walk {k % 300}", **common}
            for k in range(count)
        ]  # fmt: skip
        conn.execute(rolls.insert(), values)
        began = time.perf_counter()
        bulk_add_frames(conn, COLUMNS, rows)
        took = time.perf_counter() - began
    print(f"bulk_add_frames, search index included: {took:.1f} s, {len(rows) / took:,.0f} frames/s")


def bare(folder: Path, rows: list[tuple]) -> float:
    """Seconds for the same rows by the sqlite3 module alone, into the same table without its search index."""
    with open_book(folder) as book, book.read() as conn:
        made = [
            row[0]
            for row in conn.exec_driver_sql(
                "SELECT sql FROM sqlite_master WHERE tbl_name = 'frames' AND sql IS NOT NULL AND type != 'trigger'"
            )
        ]
    connection = sqlite3.connect(folder / "bare.db")
    connection.execute("PRAGMA journal_mode=WAL")
    for sql in made:
        connection.execute(sql)
    began = time.perf_counter()
    with connection:
        holders = ",".join("?" * len(COLUMNS))
        connection.executemany(f"INSERT INTO frames ({','.join(COLUMNS)}) VALUES ({holders})", rows)
    took = time.perf_counter() - began
    connection.close()
    print(f"the bare sqlite3 module, same table and indexes, no search index: {took:.1f} s")
    return took


def kinds(words: list[str], rng: random.Random) -> dict:
    """Name of a kind of search: a function that draws one."""
    day = lambda: date(2006, 1, 1) + timedelta(days=rng.randrange(7000))  # noqa: E731
    common = lambda: words[rng.randrange(20)]  # noqa: E731
    middling = lambda: words[rng.randrange(100, 1000)]  # noqa: E731
    rare = lambda: words[rng.randrange(5000, len(words))]  # noqa: E731
    near = lambda: (rng.uniform(36, 60), rng.uniform(-9, 25))  # noqa: E731

    def days(most: int):
        first = day()
        return {"since": first, "until": first + timedelta(days=rng.randrange(most))}

    q = FrameQuery
    return {
        "no filter": q,
        "very common word (first 20)": lambda: q(common()),
        "common word (100th to 1000th)": lambda: q(middling()),
        "rare word": lambda: q(rare()),
        "two very common words": lambda: q(f"{common()} {common()}"),
        "three words": lambda: q(f"{common()} {middling()} {common()}"),
        "phrase of two very common words": lambda: q(f'"{common()} {common()}"'),
        "beginning of three letters": lambda: q(rare()[:3] + "*"),
        "beginning of a very common word": lambda: q(common()[: rng.randint(3, 5)] + "*"),
        "two beginnings of common words": lambda: q(f"{common()[:4]}* {common()[:3]}*"),
        "common word without another": lambda: q(f"{middling()} -{common()}"),
        "word that is nowhere": lambda: q("qqqqq"),
        "a day": lambda: q(**days(1)),
        "up to 60 days": lambda: q(**days(60)),
        "up to five years": lambda: q(**days(1800)),
        "open end": lambda: q(since=day()),
        "within 1 km": lambda: q(near=near(), within_km=1),
        "within 20 km": lambda: q(near=near(), within_km=20),
        "within 300 km": lambda: q(near=near(), within_km=300),
        "camera": lambda: q(camera_id=rng.randint(1, 12)),
        "lens": lambda: q(lens_id=rng.randint(1, 10)),
        "stock": lambda: q(stock_id=rng.randint(1, 20)),
        "person": lambda: q(person=rng.choice(["ida", "noor", "tomas"])),
        "rating 4 and more": lambda: q(rating=4),
        "not printed": lambda: q(not_printed=True),
        "negatives at the lab": lambda: q(negatives_at_lab=True),
        "negatives at the lab, common word": lambda: q(common(), negatives_at_lab=True),
        "camera, rating 5, common word": lambda: q(common(), camera_id=rng.randint(1, 12), rating=5),
        "camera, lens, stock, rating 5": lambda: q(
            camera_id=rng.randint(1, 12), lens_id=rng.randint(1, 10), stock_id=rng.randint(1, 20), rating=5
        ),
        "person, 60 days, not printed": lambda: q(person="ida", not_printed=True, **days(60)),
        "common word, five years, rating 3": lambda: q(common(), rating=3, **days(1800)),
        "common word within 20 km": lambda: q(common(), near=near(), within_km=20),
        "everything at once": lambda: q(
            common(), person="noor", camera_id=rng.randint(1, 12), rating=2, not_printed=True, near=near(),
            within_km=100, **days(3000)
        ),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path)
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--queries", type=int, default=300)
    options = parser.parse_args()
    folder = options.work or Path(tempfile.mkdtemp(prefix="dryside-find-"))
    words = vocabulary(30_000, random.Random(1))
    if not (folder / "book" / "book.db").exists():
        rows = list(invented(options.frames, words))
        fill(folder / "book", rows)
        bare(folder / "book", rows)
        del rows
    print(f"file: {(folder / 'book' / 'book.db').stat().st_size / 1e6:.0f} MB\n")
    ask(folder / "book", kinds(words, random.Random(2)), options.queries)
    if options.work is None:
        shutil.rmtree(folder)


def ask(folder: Path, drawn: dict, count: int) -> None:
    heads = f"{'p50 ms':>8} {'p99 ms':>8} {'most ms':>8} {'found':>6} {'short':>6} {'next page p99':>14}"
    print(f"{'search, a page of 50':38} {heads}")
    everything = []
    with open_book(folder) as book, book.read() as conn:
        for name, draw in drawn.items():
            first, second, found, short = [], [], 0, 0
            for _ in range(count):
                query = draw()
                began = time.perf_counter()
                page = find_frames(conn, query)
                first.append((time.perf_counter() - began) * 1000)
                found += len(page.frames)
                short += page.after is not None and len(page.frames) < PAGE
                if page.after is not None:
                    began = time.perf_counter()
                    find_frames(conn, query, after=page.after)
                    second.append((time.perf_counter() - began) * 1000)
            everything += first + second
            p50, p99 = np.percentile(first, (50, 99))
            then = f"{np.percentile(second, 99):14.2f}" if second else f"{'':14}"
            figures = f"{p50:8.2f} {p99:8.2f} {max(first):8.2f} {found / count:6.1f} {short:6} {then}"
            print(f"{name:38} {figures}", flush=True)
    p50, p99 = np.percentile(everything, (50, 99))
    print(f"{'all of them':38} {p50:8.2f} {p99:8.2f} {max(everything):8.2f}")


if __name__ == "__main__":
    main()
