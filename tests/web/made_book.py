"""A small book with a roll at every place of the journey, made by the functions that commands call; all invented."""

from __future__ import annotations

import io
import zipfile
from datetime import date
from pathlib import Path

import numpy as np

from dryside.book.folder import open_book
from dryside.book.frame_import import apply_import, plan_import, read_log
from dryside.book.journey import RollState
from dryside.book.loading import NewRoll, load_roll
from dryside.book.money import Money
from dryside.book.notes.noted import Assumptions
from dryside.book.rolls import find_roll, get_roll, move_roll
from dryside.book.stocks import add_stock, add_to_shelf
from dryside.labs.book_labs import add_lab, get_lab
from dryside.labs.collecting import collect
from dryside.labs.drafts import draft_order
from dryside.labs.orders import record_order
from dryside.labs.waiting import describe_rolls
from dryside.scans.receive import receive
from dryside.sleeves.binders import add_binder
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.filing import carry_out, filing_of_plan
from dryside.sleeves.page_choice import pages_for
from dryside.sleeves.roll_film import film_of_roll

TODAY = date(2026, 6, 5)
LABS = ("Quarry Street", "Mill Bridge")
NOTE = """camera: Almen 2
lens: Almen 50 mm f/2
11 April 2026, Torva
1 1/125 f8 50mm quay, low water #harbour
2 1/250 f8 10:20 painted houses #harbour ***
3 1/250 f8 10:25 crane against the sky
4 1/60 f2.8 11:05 Mira by the window #portrait *****
5 1/125 f4 11:40 stairs
6 blank
"""


def lab_file(name: str, *, price: str, days: int) -> str:
    """A lab's price list."""
    return f"""name = "{name}"
currency = "EUR"
prices_as_of = 2026-05-01
closed = ["Sunday"]
holds_negatives_days = 60
scans_kept_days = 30
minimum_order = "0.00"
postage = "0.00"

[[develop]]
process = "c41"
formats = ["135"]
price = "{price}"
push_per_stop = "2.00"
working_days = {days}

[[scan]]
name = "standard"
long_edge_px = 480
price = "4.00"

[[print]]
size = "4R"
price = "0.50"
"""


def picture(number: int, *, width: int = 480, height: int = 320) -> np.ndarray:
    """A scene that no other number has: bars and a slope, uint8."""
    rng = np.random.default_rng(number)
    rows, columns = np.mgrid[0:height, 0:width]
    base = rng.uniform(40, 200, 3) * (0.5 + 0.5 * rows[..., None] / height)
    bars = 40 * np.sin(columns[..., None] * (0.02 + 0.013 * number) + rng.uniform(0, 6, 3))
    return np.clip(base + bars + rng.normal(0, 4, (height, width, 1)), 0, 255).astype(np.uint8)


def jpeg(pixels: np.ndarray) -> bytes:
    """A JPEG as labs send it."""
    from PIL import Image

    held = io.BytesIO()
    Image.fromarray(pixels).save(held, "JPEG", quality=90)
    return held.getvalue()


def delivery(path: Path, folder: str, count: int, *, last_is_black: bool = False, first: int = 0) -> Path:
    """A zip with `count` scans numbered from 1."""
    with zipfile.ZipFile(path, "w") as packed:
        for number in range(1, count + 1):
            black = last_is_black and number == count
            pixels = np.full((320, 480, 3), 12, np.uint8) if black else picture(first + number)
            packed.writestr(f"{folder}/{folder}_{number:02}.jpg", jpeg(pixels))
    return path


def make_book(where: Path | str, files: Path, *, book_files: Path | None = None) -> None:
    """Fill an empty book: rolls sleeved, with scans back, at the lab, exposed (two) and in a camera."""
    with open_book(where, files=book_files) as book:
        with book.write() as conn:
            add_stock(conn, "Almen Colour 200", process="c41", kind="colour negative", iso=200)
            price = Money.parse("6.00", "EUR")
            add_to_shelf(conn, "Almen Colour 200", film_format="135", quantity=9, expires_on="2027-03-31",
                         price_each=price, exposures=6)  # fmt: skip
            for name, price_text, days in zip(LABS, ("7.00", "9.00"), (5, 1), strict=True):
                add_lab(conn, lab_file(name, price=price_text, days=days), source=name, today=TODAY)
        codes = [_roll(book, title) for title in ("Quay", "Viaduct", "Allotment", "Fair", "Night train")]
        with book.write() as conn:
            load_roll(conn, NewRoll(on=date(2026, 5, 30), stock="Almen Colour 200", camera="Almen 2",
                                    owner="Ida Brandt", title="In the bag"))  # fmt: skip
        _hand_in(book, codes[:3])
        receive(book, [delivery(files / "first.zip", "1001", 6)], rolls=[codes[0]], at="2026-05-20T12:00:00+02:00")
        receive(book, [delivery(files / "second.zip", "1002", 6, last_is_black=True, first=20)], rolls=[codes[1]],
                at="2026-05-20T13:00:00+02:00")  # fmt: skip
        _sleeve(book, codes[0])


def _roll(book, title: str) -> str:
    with book.write() as conn:
        new = NewRoll(on=date(2026, 4, 10), stock="Almen Colour 200", camera="Almen 2", owner="Ida Brandt", title=title)
        roll = load_roll(conn, new, at="2026-04-10T12:00:00+02:00").roll
        assume = Assumptions(offset="+02:00", year=2026)
        apply_import(conn, roll, plan_import(conn, roll, read_log("note", NOTE.encode(), assume)))
        moved = move_roll(conn, roll, RollState.EXPOSED, at="2026-04-20T12:00:00+02:00", exposed_on="2026-05-10")
    return moved.code


def _hand_in(book, codes: list[str]) -> None:
    with book.write() as conn:
        rolls = describe_rolls(conn, [find_roll(conn, code) for code in codes])
        known = get_lab(conn, LABS[0], day=TODAY)
        order = draft_order(known.lab, [one.as_wish() for one in rolls], date(2026, 5, 12))
        row = record_order(conn, known, order, at="2026-05-12T12:00:00+02:00")
        collect(conn, row, at="2026-05-21T12:00:00+02:00", rolls=codes[:1], prints=False)


def _sleeve(book, code: str) -> None:
    with book.write() as conn:
        roll = get_roll(conn, find_roll(conn, code).id)
        film = film_of_roll(conn, roll)
        binder = add_binder(conn, "Torva")
        carry_out(conn, roll, filing_of_plan(plan_cuts(film.frames, pages_for(roll.format))), binder,
                  at="2026-05-22T12:00:00+02:00")  # fmt: skip


def draw_strip(path: Path) -> Path:
    """A capture of the strip with frames 1 to 3 of the first roll on a light table, 16-bit linear TIFF."""
    import tifffile

    from dryside.demo.simulator import Camera, Placed, draw_capture, lay_out

    scenes = [picture(1 + number, width=360, height=240).astype(np.float32) / 255 for number in range(3)]
    strip = lay_out(scenes, first_number=1, stops=[0.2, 0.4, 0.1], words="ALMEN 200")
    per_mm = 16.0
    camera = Camera(rows=round(46 * per_mm), columns=round((strip.length_mm + 14) * per_mm), pixels_per_mm=per_mm)
    made = draw_capture(Placed(strip, tilt_degrees=0.6), camera, seed=4)
    tifffile.imwrite(path, made.pixels, photometric="rgb", metadata=None)
    return path
