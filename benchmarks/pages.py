"""How long pages take on the server: the first page and lists with 2,000 rolls and 50,000 frames, a 1600-px preview.

    python benchmarks/pages.py [--work DIR] [--rolls 2000]

Times are of the server alone, without a network: the application is called in this process, warm, and the median and
the slowest of many calls are printed. Sizes are what travels for the first page, packed, with stylesheet, script, font.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient
from sqlalchemy import insert

from dryside.book.folder import open_book
from dryside.book.ids import next_code
from dryside.book.schema import cameras, frames, rolls, stocks
from dryside.web.app import Site, create_app
from dryside.web.pages import static
from dryside.web.security import Door
from dryside.web.settings import open_sessions

CALLS = 25
FRAMES_A_ROLL = 25
STATES = ("camera", "exposed", "at the lab", "scans back", "negatives back")


def fill(book, count: int) -> None:
    """Rolls with frames, most of them sleeved, a few at every place of the journey."""
    with book.write() as conn:
        conn.execute(insert(stocks), [{"name": "Almen Colour 200", "process": "c41", "kind": "colour negative",
                                       "iso": 200, "remjet": "no", "base": "unknown"}])  # fmt: skip
        conn.execute(insert(cameras), [{"name": "Almen 2"}])
        made, last = [], 0
        for place in range(count):
            day = date(2023 + place // 700, 1, 1) + timedelta(days=place % 700 // 2)
            last = 0 if place % 700 == 0 else last
            code = str(next_code(day.year, last))
            last = int(code.split("-")[1])
            state = STATES[place % 5] if place > count - 25 else "sleeved"
            made.append({"code": code, "stock_id": 1, "camera_id": 1, "format": "135", "process": "c41",
                         "state": state, "cross_process": False, "push_stops": 0.0, "title": f"Walk {place}",
                         "exposed_on": day.isoformat(), "changed_at": "2026-01-01T00:00:00+00:00"})  # fmt: skip
        conn.execute(insert(rolls), made)
        for start in range(0, count, 100):
            conn.execute(insert(frames), [
                {"roll_id": roll, "position": n, "label": str(n + 1), "caption": f"quay {n} by the old harbour",
                 "blank": False, "printed": False, "taken_at": "2024-05-01T12:00:00+02:00",
                 "taken_utc": 1.7e9 + roll * 30 + n}
                for roll in range(start + 1, min(start + 100, count) + 1) for n in range(FRAMES_A_ROLL)
            ])  # fmt: skip


def measured(call) -> tuple[float, float]:
    """Median and slowest of `CALLS` calls, ms, after two to warm up."""
    for _ in range(2):
        call()
    took = []
    for _ in range(CALLS):
        began = time.perf_counter()
        call()
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took), max(took)


def preview_ms() -> tuple[float, float]:
    """A 1600-px positive made again as a control moves, JPEG included."""
    import simplejpeg

    from dryside.negatives.adjusting import Adjustment, adjusted
    from dryside.negatives.rendering import PRINT
    from dryside.negatives.roll import FrameSamples, recipe_for_roll
    from dryside.negatives.small_frames import SmallFrame, develop_small

    rng = np.random.default_rng(1)
    levels = rng.integers(2000, 40000, (1067, 1600, 3), dtype=np.uint16)
    samples = FrameSamples(levels[::16, ::16].astype(np.float32) / 52000, None)
    recipe = recipe_for_roll([samples], process="c41", rendering=PRINT).recipes[0]
    frame = SmallFrame(levels)

    def once() -> None:
        pixels = develop_small(frame, adjusted(recipe, Adjustment(exposure_stops=0.3, black=0.01)))
        simplejpeg.encode_jpeg(pixels, quality=85, colorsubsampling="420", fastdct=True)

    return measured(once)


def travels(client: TestClient) -> int:
    """Bytes of the first page with all it needs, as they travel."""
    needed = ["/", static("dryside.css"), static("page.js"), "/static/archivo-latin.woff2", static("mark.svg")]
    total = 0
    for path in needed:
        with client.stream("GET", path, headers={"accept-encoding": "gzip"}) as answer:
            total += sum(len(piece) for piece in answer.iter_raw())
    return total


def main() -> None:
    """Print the table."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--work", type=Path)
    reader.add_argument("--rolls", type=int, default=2000)
    given = reader.parse_args()
    folder = given.work or Path(tempfile.mkdtemp(prefix="dryside-pages-"))
    with open_book(folder / "book") as book:
        fill(book, given.rolls)
        site = Site(book, Door(frozenset({"testserver"}), False), open_sessions(book), today=date(2026, 6, 5))
        client = TestClient(create_app(site))  # without its lifespan: no job runner beside the measurement
        last = client.get("/api/rolls").json()["rolls"][0]["code"]
        deep = client.get("/find?words=quay").text.split('data-more="')[1].split('"')[0].replace("&amp;", "&")
        rows = [
            ("first page (Today)", "/", 50),
            ("rolls, newest", "/rolls", 50),
            ("rolls, page 20", "/rolls?after=800", 50),
            ("one roll", f"/rolls/{last}", 50),
            ("pictures found, first page", "/find?words=quay", 50),
            ("pictures found, next page", deep, 50),
        ]
        print(f"{given.rolls} rolls, {given.rolls * FRAMES_A_ROLL} frames; {CALLS} calls each, ms on the server\n")
        print(f"{'page':32}{'median':>9}{'slowest':>9}{'limit':>7}")
        for name, path, limit in rows:
            median, slowest = measured(lambda path=path: client.get(path))
            print(f"{name:32}{median:9.1f}{slowest:9.1f}{limit:7}")
        median, slowest = preview_ms()
        print(f"{'preview, 1600 px, with JPEG':32}{median:9.1f}{slowest:9.1f}{60:7}")
        print(f"\nfirst page with stylesheet, script, font and mark: {travels(client) / 1000:.1f} kB (limit 100)")


if __name__ == "__main__":
    main()
