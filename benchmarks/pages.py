"""How long pages take on the server: every page of a book with 2,000 rolls and 50,000 frames, a 1600-px preview.

    python benchmarks/pages.py [--work DIR] [--rolls 2000]

The book holds what years leave behind: orders, deliveries with a scan of each frame, developments, prints, strips in
binders, events. Times are of the server alone, without a network: the application is called in this process, warm, and
the median and the slowest of many calls are printed. Sizes are what travels for the first page, packed, with
stylesheet, script, font.
"""

from __future__ import annotations

import argparse
import hashlib
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
from dryside.book.schema import (
    binders,
    cameras,
    deliveries,
    developments,
    events,
    files,
    frame_strips,
    frames,
    order_lines,
    orders,
    pages,
    people,
    prints,
    rolls,
    scans,
    shelf,
    stocks,
    strips,
)
from dryside.labs.book_labs import add_lab
from dryside.web.app import Site, create_app
from dryside.web.pages import static
from dryside.web.security import Door
from dryside.web.settings import open_sessions

CALLS = 25
FRAMES_A_ROLL = 25
ROLLS_AN_ORDER = 5
FRAMES_A_STRIP = 4
STATES = ("camera", "exposed", "at the lab", "scans back", "negatives back")
TODAY = date(2026, 6, 5)
WROTE = "2026-01-01T00:00:00+00:00"
LAB = """name = "{name}"
currency = "EUR"
prices_as_of = 2026-05-01
holds_negatives_days = 60
[[develop]]
process = "c41"
formats = ["135", "120"]
price = "{price}"
push_per_stop = "2.00"
working_days = 3
[[scan]]
name = "standard"
price = "4.00"
[[print]]
size = "4R"
price = "0.50"
"""


def fill(book, count: int) -> None:
    """Rolls with frames, most of them sleeved, a few at every place of the journey; and all that came of them."""
    with book.write() as conn:
        conn.execute(insert(stocks), [
            {"name": f"Almen Colour {iso}", "process": "c41", "kind": "colour negative", "iso": iso, "remjet": "no",
             "base": "unknown"} for iso in (100, 200, 400)
        ])  # fmt: skip
        conn.execute(insert(cameras), [{"name": "Almen 2"}])
        conn.execute(insert(people), [{"name": "Ida Brandt"}])
        conn.execute(insert(shelf), [{"stock_id": 1 + n % 3, "format": "135", "quantity": n % 5 + 1, "kept": "cool",
                                      "price_each": "6.00", "currency": "EUR",
                                      "expires_on": f"2027-{n % 12 + 1:02}-28"} for n in range(30)])  # fmt: skip
        for name, price in (("Mill Bridge", "7.00"), ("Quarry Street", "9.00"), ("Low Wharf", "6.50")):
            add_lab(conn, LAB.format(name=name, price=price), source=name, today=TODAY)
        made, last = [], 0
        for place in range(count):
            last = 0 if place % 700 == 0 else last
            code = str(next_code(_day(place).year, last))
            last = int(code.split("-")[1])
            made.append(
                {"code": code, "stock_id": 1 + place % 3, "camera_id": 1, "owner_id": 1, "format": "135",
                 "process": "c41", "state": _state(place, count), "cross_process": False, "push_stops": 0.0,
                 "title": f"Walk {place}", "exposed_on": _day(place).isoformat(), "changed_at": WROTE}
            )  # fmt: skip
        conn.execute(insert(rolls), made)
        for start in range(0, count, 100):
            some = range(start, min(start + 100, count))
            _frames(conn, some)
            _journeys(conn, some, count)
        _orders(conn, count)


def _day(place: int) -> date:
    return date(2023 + place // 700, 1, 1) + timedelta(days=place % 700 // 2)


def _state(place: int, count: int) -> str:
    return STATES[place % 5] if place > count - 25 else "sleeved"


def _frames(conn, places: range) -> None:
    conn.execute(insert(frames), [
        {"roll_id": place + 1, "position": n, "label": str(n + 1), "caption": f"quay {n} by the old harbour",
         "blank": False, "printed": n < 3, "rating": n % 6 or None, "taken_at": "2024-05-01T12:00:00+02:00",
         "taken_utc": 1.7e9 + (place + 1) * 30 + n}
        for place in places for n in range(FRAMES_A_ROLL)
    ])  # fmt: skip


def _frame_id(place: int, n: int) -> int:
    return place * FRAMES_A_ROLL + n + 1


def _journeys(conn, places: range, count: int) -> None:
    """What each roll left: events, strips in a binder of fifty pages, three prints, what its capture measured."""
    on = {place: _day(place).isoformat() for place in places}
    conn.execute(insert(events), [
        {"roll_id": place + 1, "at": f"{on[place]}T12:00:00+00:00", "at_utc": 1.7e9 + place, "kind": "moved",
         "from_state": one, "to_state": two}
        for place in places for one, two in zip(STATES, (*STATES[1:], "sleeved"), strict=True)
    ])  # fmt: skip
    new = [place for place in places if place % 50 == 0]
    if new:
        conn.execute(insert(binders), [{"name": f"Binder {place // 50 + 1}", "holds": "acetate"} for place in new])
    filed = [place for place in places if _state(place, count) == "sleeved"]
    conn.execute(insert(pages), [{"binder_id": place // 50 + 1, "number": place % 50 + 1, "layout": "7x4"}
                                 for place in filed])  # fmt: skip
    many = -(-FRAMES_A_ROLL // FRAMES_A_STRIP)
    conn.execute(insert(strips), [
        {"roll_id": place + 1, "number": n + 1, "first_position": n * FRAMES_A_STRIP, "length_mm": 152.0,
         "last_position": min(FRAMES_A_ROLL, (n + 1) * FRAMES_A_STRIP) - 1, "page_id": place + 1, "row": n + 1,
         "place": 1}
        for place in filed for n in range(many)
    ])  # fmt: skip
    conn.execute(insert(frame_strips), [
        {"frame_id": _frame_id(place, n), "strip_id": place * many + n // FRAMES_A_STRIP + 1,
         "place": n % FRAMES_A_STRIP + 1}
        for place in filed for n in range(FRAMES_A_ROLL)
    ])  # fmt: skip
    conn.execute(insert(prints), [{"frame_id": _frame_id(place, n), "size": "4R", "copies": 1, "fill": "fill",
                                   "made_on": on[place]} for place in places for n in range(3)])  # fmt: skip
    conn.execute(insert(developments), [
        {"roll_id": place + 1, "base_red": 0.28 + place % 7 / 500, "base_green": 0.62 + place % 5 / 400,
         "base_blue": 0.94 + place % 6 / 300, "contrast": 0.6 + place % 9 / 300, "measured_on": on[place]}
        for place in filed
    ])  # fmt: skip


def _orders(conn, count: int) -> None:
    """An order for every five rolls that went to a lab, its lines and its delivery with a scan of each frame."""
    for order, start in enumerate(range(0, count - ROLLS_AN_ORDER, ROLLS_AN_ORDER), start=1):
        places = range(start, start + ROLLS_AN_ORDER)
        on = _day(start) + timedelta(days=4)
        is_new = start > count - 26
        days = {name: None if is_new else (on + timedelta(days=many)).isoformat()
                for name, many in (("scans_on", 6), ("ready_real_on", 6), ("negatives_fetched_on", 9))}  # fmt: skip
        conn.execute(insert(orders), [
            {"lab_id": order % 3 + 1, "price_list_id": order % 3 + 1, "number": f"O{on.year % 100}-{order:03}",
             "dropped_on": on.isoformat(), "ready_on": (on + timedelta(days=5)).isoformat(), "estimate": "55.00",
             "paid": "55.00", "paid_on": on.isoformat(), "currency": "EUR", "calendar_sequence": 0, **days}
        ])  # fmt: skip
        conn.execute(insert(order_lines), [
            {"order_id": order, "roll_id": place + 1, "owner_id": 1, "service": service, "quantity": 1,
             "estimate": price}
            for place in places for service, price in (("develop", "7.00"), ("scan", "4.00"))
        ])  # fmt: skip
        if not is_new:
            _delivery(conn, order, places, on + timedelta(days=6))


def _delivery(conn, order: int, places: range, on: date) -> None:
    many = ROLLS_AN_ORDER * FRAMES_A_ROLL
    first = (order - 1) * many + 1
    conn.execute(insert(deliveries), [{"order_id": order, "name": f"{order}.zip", "sha256": _digest(f"d{order}"),
                                       "received_at": f"{on}T12:00:00+00:00", "report": {"rolls": []}}])  # fmt: skip
    conn.execute(insert(files), [
        {"sha256": _digest(f"f{first + n}"), "size": 2_000_000, "media_type": "image/jpeg", "name": f"{n}.jpg",
         "kind": "scan", "added_at": WROTE} for n in range(many)
    ])  # fmt: skip
    conn.execute(insert(scans), [
        {"file_id": first + k * FRAMES_A_ROLL + n, "delivery_id": order, "roll_id": place + 1,
         "frame_id": _frame_id(place, n), "sequence": k * FRAMES_A_ROLL + n, "origin": "lab", "name": f"{n}.jpg",
         "width": 3000, "height": 2000, "state": "sure", "confidence": 0.98,
         "reasons": {"why": [{"says": "the number in the name"}]}}
        for k, place in enumerate(places) for n in range(FRAMES_A_ROLL)
    ])  # fmt: skip


def _digest(words: str) -> str:
    return hashlib.sha256(words.encode()).hexdigest()


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


def _rows(client: TestClient) -> list[tuple[str, str, int | None]]:
    """Name, address and limit of each page that is measured."""
    last = client.get("/api/rolls").json()["rolls"][0]["code"]
    sleeved = client.get("/api/rolls?state=sleeved").json()["rolls"][0]["code"]
    order = client.get("/api/orders").json()["orders"][-30]["number"]
    deep = _more(client, "/find?words=quay")
    while _seen(deep) > 2000 * FRAMES_A_ROLL // 2 and (further := _more(client, deep)):
        deep = further
    return [
        ("first page (Today)", "/", 50),
        ("rolls, newest", "/rolls", None),
        ("rolls, page 20", "/rolls?after=800", None),
        ("one roll, in a camera", f"/rolls/{last}", None),
        ("one roll, sleeved", f"/rolls/{sleeved}", None),
        ("pictures found, first page", "/find?words=quay", None),
        ("pictures found, next page", _more(client, "/find?words=quay"), None),
        ("pictures found, half way", deep, None),
        ("in the field, what it asks for", "/field/state", None),
        ("drop-off", "/drop-off", None),
        ("orders", "/orders", None),
        ("one order", f"/orders/{order}", None),
        ("back from the lab", "/back", None),
        ("one delivery, 125 scans", "/back/300", None),
        ("negatives, choice of a roll", "/negatives", None),
        ("prints, choice of a roll", "/prints", None),
        ("sleeves", "/sleeves", None),
        ("one page of a binder", "/sleeves/Binder 3/7", None),
        ("labs", "/labs", None),
        ("one lab", "/labs/Mill Bridge", None),
        ("spending", "/spending", None),
        ("shelf", "/shelf", None),
    ]


def _more(client: TestClient, path: str) -> str:
    text = client.get(path).text
    return text.split('data-more="')[1].split('"')[0].replace("&amp;", "&") if 'data-more="' in text else ""


def _seen(path: str) -> int:
    return int(path.rsplit("after=", 1)[1].partition("&")[0]) if "after=" in path else 0


def main() -> None:
    """Print the table."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--work", type=Path)
    reader.add_argument("--rolls", type=int, default=2000)
    given = reader.parse_args()
    folder = given.work or Path(tempfile.mkdtemp(prefix="dryside-pages-"))
    with open_book(folder / "book") as book:
        fill(book, given.rolls)
        site = Site(book, Door(frozenset({"testserver"}), False), open_sessions(book), today=TODAY)
        client = TestClient(create_app(site))  # without its lifespan: no job runner beside the measurement
        rows = _rows(client)
        print(f"{given.rolls} rolls, {given.rolls * FRAMES_A_ROLL} frames; {CALLS} calls each, ms on the server\n")
        print(f"{'page':32}{'median':>9}{'slowest':>9}{'limit':>7}")
        for name, path, limit in rows:
            answer = client.get(path)
            assert answer.status_code == 200, (path, answer.status_code)
            median, slowest = measured(lambda path=path: client.get(path))
            print(f"{name:32}{median:9.1f}{slowest:9.1f}{limit or '':>7}")
        median, slowest = preview_ms()
        print(f"{'preview, 1600 px, with JPEG':32}{median:9.1f}{slowest:9.1f}{60:7}")
        print(f"\nfirst page with stylesheet, script, font and mark: {travels(client) / 1000:.1f} kB (limit 100)")


if __name__ == "__main__":
    main()
