"""The season as steps: a command that a person would type, on the day she types it, or what the world does meanwhile.

A step that is done already is not done again, so a second run adds nothing and a killed run goes on where it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import func, select

from dryside.book import schema
from dryside.book.folder import Book
from dryside.book.ids import make_code
from dryside.demo.season_plan import FRIEND, KEEPER, LAB_FILES, ROLLS, TIME_ZONE, SeasonRoll, season_file

BINDER = "Negatives 2026"
DROPPED = date(2026, 5, 12)
HARBOUR_BACK = date(2026, 5, 19)
NORTH_BACK = date(2026, 5, 26)
NOW = date(2026, 6, 5)
# Our order number, the receipt's, what was paid, its rolls.
ORDERS = (("O26-001", "2207", "42.00", (1, 2, 3)), ("O26-002", "815", "54.00", (4, 5, 6)))


@dataclass(frozen=True)
class Command:
    """What a person types after `dryside`, on a day; skipped where `done` says that the book has it already."""

    words: tuple[str, ...]
    day: date
    done: Callable[[Book], bool] = lambda _: False


@dataclass(frozen=True)
class Happening:
    """What the world does meanwhile: a lab scans, a phone saves a note. `make` writes files and is harmless twice."""

    told: str
    make: Callable[[Path], None]
    makes: tuple[str, ...] = ()


Step = Command | Happening


def steps(desk: Path) -> Iterator[Step]:
    """The season in order.

    Parameters
    ----------
    desk : Path
        Folder for what lies beside the book: notes, deliveries, captures, positives, papers.
    """
    yield from _set_up(desk)
    for roll in ROLLS[:-1]:
        yield from _shoot(roll, desk)
    yield from _drop_off(desk)
    yield from _shoot(ROLLS[-1], desk)
    yield from _back_from_the_lab(desk)
    yield from _own_captures(desk)
    yield from _sleeve_and_find(desk)


def code(number: int) -> str:
    """Code of the season's roll `number`."""
    return str(make_code(2026, number))


def has(table: str, **columns: object) -> Callable[[Book], bool]:
    """Whether the book has a row of `table` with these values."""

    def look(book: Book) -> bool:
        rows = schema.metadata.tables[table]
        with book.read() as conn:
            found = (
                select(func.count())
                .select_from(rows)
                .where(*(rows.c[name] == value for name, value in columns.items()))
            )
            return bool(conn.execute(found).scalar())

    return look


def roll_is_past(number: int, *states: str) -> Callable[[Book], bool]:
    """Whether roll `number` has been in one of these places."""

    def look(book: Book) -> bool:
        events, rolls = schema.events, schema.rolls
        with book.read() as conn:
            found = (
                select(func.count())
                .select_from(events.join(rolls))
                .where(rolls.c.code == code(number), events.c.to_state.in_(states))
            )
            return bool(conn.execute(found).scalar())

    return look


# --- before ------------------------------------------------------------------------------------------------------


def _set_up(desk: Path) -> Iterator[Step]:
    day = date(2026, 4, 9)

    def write_labs(at: Path) -> None:
        (at / "labs").mkdir(parents=True, exist_ok=True)
        for name in LAB_FILES:
            (at / "labs" / name).write_text(season_file(name), encoding="utf-8")

    yield Command(
        ("book", "add-person", KEEPER, "--keeper", "--email", "ines@example.org"), day, has("people", name=KEEPER)
    )
    yield Command(("book", "add-person", FRIEND), day, has("people", name=FRIEND))
    for name, film_format, owner in (
        ("Halden 35", "135", KEEPER),
        ("Halden 35 Second", "135", KEEPER),
        ("Corvane Six", "120-6x6", KEEPER),
        ("Merrin Compact", "135", FRIEND),
    ):
        words: tuple[str, ...] = ("book", "add-camera", name, "--maker", name.split()[0], "--model", name)
        yield Command((*words, "--format", film_format, "--owner", owner), day, has("cameras", name=name))
    for name, focal, widest in (
        ("Halden 50 mm f/2", "50", "2"),
        ("Halden 35 mm f/2.8", "35", "2.8"),
        ("Corvane 80 mm f/2.8", "80", "2.8"),
    ):
        words = ("book", "add-lens", name, "--maker", name.split()[0], "--focal", focal, "--widest", widest)
        yield Command(words, day, has("lenses", name=name))
    for name, process, iso, more in (
        ("Solvei 200", "c41", "200", ["--dx", "81-3"]),
        ("Solvei 400", "c41", "400", ["--dx", "81-7"]),
        ("Tarn 160", "c41", "160", []),
        ("Brackwater 400", "bw", "400", ["--dx", "97-5"]),
        ("Nocturne 500", "ecn2", "500", ["--remjet", "yes"]),
        ("Clarion 100", "e6", "100", ["--dx", "101-2"]),
    ):
        yield Command(("stock", "add", name, "--process", process, "--iso", iso, *more), day, has("stocks", name=name))
    for stock, film_format, exposures, quantity, price, expires in (
        ("Solvei 200", "135", 24, 4, "6.20", "2027-03-31"),
        ("Tarn 160", "120-6x6", 12, 3, "7.90", "2027-08-31"),
        ("Brackwater 400", "135", 12, 2, "5.40", "2028-01-31"),
        ("Nocturne 500", "135", 12, 1, "9.50", "2026-11-30"),
        ("Clarion 100", "135", 12, 2, "11.80", "2026-07-31"),
        ("Solvei 400", "135", 12, 2, "7.10", "2027-05-31"),
    ):
        put = ("stock", "put", stock, "--quantity", str(quantity), "--format", film_format)
        bought = ("--exposures", str(exposures), "--price", price, "--expires", expires, "--kept", "cool")
        yield Command(put + bought, day, has("shelf", price_each=price))
    yield Happening(
        "She writes her labs' price lists into files.", write_labs, tuple(f"labs/{name}" for name in LAB_FILES)
    )
    yield Command(("lab", "add", str(desk / "labs")), day, has("labs", name="Parcel Film"))


def _shoot(roll: SeasonRoll, desk: Path) -> Iterator[Step]:
    def write_note(at: Path) -> None:
        (at / "notes").mkdir(parents=True, exist_ok=True)
        (at / "notes" / f"{code(roll.number)}.txt").write_text(roll.note, encoding="utf-8")

    words = [
        "roll",
        "load",
        "--stock",
        roll.stock,
        "--format",
        roll.format,
        "--camera",
        roll.camera,
        "--owner",
        roll.owner,
    ]
    words += ["--exposures", str(roll.exposures), "--title", roll.title]
    if roll.push_stops:
        words += ["--push", f"+{roll.push_stops}", "--ei", str(roll.exposure_index)]
    note = f"notes/{code(roll.number)}.txt"
    yield Command(tuple(words), roll.loaded, has("rolls", code=code(roll.number)))
    yield Happening(f"Frames are noted on the phone while shooting: {note}", write_note, (note,))
    imported = ("frames", "import", code(roll.number), str(desk / note), "--offset", TIME_ZONE)
    yield Command(imported, roll.finished)
    yield Command(("roll", "finish", code(roll.number)), roll.finished, roll_is_past(roll.number, "exposed"))


# --- at the counter ----------------------------------------------------------------------------------------------


def _drop_off(desk: Path) -> Iterator[Step]:
    waiting = [roll for roll in ROLLS if roll.finished < DROPPED]
    at_the_lab = [roll_is_past(roll.number, "at the lab") for roll in waiting]

    def dropped(book: Book) -> bool:
        return all(one(book) for one in at_the_lab)

    wishes = ("dropoff", "wish", *(code(roll.number) for roll in waiting), "--scan", "standard", "--returns", "strips")
    yield Command(wishes, DROPPED, dropped)
    yield Command(("dropoff", "wish", code(1), "--prints", "4R:4"), DROPPED, dropped)
    yield Command(("plan", "--plot", str(desk / "plan.png")), DROPPED, dropped)
    yield Command(("dropoff", "record", "--contact", "name", "--contact", "email", "--twin"), DROPPED, dropped)
    for order, number, paid, rolls in ORDERS:
        words = ["dropoff", "receipt", order, "--number", number, "--paid", paid]
        for roll in rolls:
            words += ["--lab-number", f"{code(roll)}={number}-{roll}"]
        yield Command(tuple(words), DROPPED, has("orders", receipt_number=number))


# --- back --------------------------------------------------------------------------------------------------------


def _back_from_the_lab(desk: Path) -> Iterator[Step]:
    from dryside.demo.season_pictures import scans_of, write_delivery

    def deliver(name: str, numbers: tuple[int, ...], scanned: datetime) -> Callable[[Path], None]:
        def make(at: Path) -> None:
            folders = {f"{name}-{number}": scans_of(ROLLS[number - 1], scanned=scanned) for number in numbers}
            write_delivery(at / "deliveries" / f"{name}.zip", folders, made=scanned)

        return make

    for (order, name, _, numbers), day in zip(ORDERS, (HARBOUR_BACK, NORTH_BACK), strict=True):
        zipped = f"deliveries/{name}.zip"
        scanned = datetime(day.year, day.month, day.day, 11, 30)  # noqa: DTZ001 - a lab's file knows no zone
        yield Happening(f"The lab develops, scans and sends {zipped}", deliver(name, numbers, scanned), (zipped,))
        yield Command(("receive", str(desk / zipped), "--order", order), day)
        yield Command(("tag", *(code(number) for number in numbers)), day)
    yield Command(("collect", "O26-001", "--negatives"), date(2026, 5, 20), roll_is_past(1, "negatives back"))
    yield Command(("contact", code(1)), NOW)
    yield Command(("contact", code(2)), NOW)
    yield Command(("inspect", code(1)), NOW)


def _own_captures(desk: Path) -> Iterator[Step]:
    from dryside.demo.season_captures import CAPTURES, write_captures

    made = tuple(f"captures/{name}" for name in CAPTURES)
    yield Happening(
        "On the kitchen table she photographs two strips of roll 1 and the bare light.", write_captures, made
    )
    flat = str(desk / "captures" / "flat.tif")
    strips = tuple(str(desk / "captures" / name) for name in CAPTURES if name.startswith("strip"))
    common = ("--process", "c41", "--format", "135", "--flat", flat)
    yield Command(
        ("calibrate", strips[0], *common, "--frame", "1", "--out", str(desk / "solvei-200.profile.json")), NOW
    )
    profile = ("--profile", str(desk / "solvei-200.profile.json"))
    yield Command(("invert", *strips, *common, *profile, "--roll", code(1)), NOW)


# --- sleeve, find, keep ------------------------------------------------------------------------------------------


def _sleeve_and_find(desk: Path) -> Iterator[Step]:
    yield Command(("sleeve", "plan", code(1)), NOW)
    for number, cut in ((1, "4"), (2, "3"), (3, "4")):
        words = ("sleeve", "file", code(number), "--binder", BINDER, "--cut-in", cut)
        yield Command(words, NOW, roll_is_past(number, "sleeved"))
    yield Command(("sleeve", "insert", BINDER), NOW)
    yield Command(("find", "harbour", "wall"), NOW)
    yield Command(("find", "Noor"), NOW)
    yield Command(("prints", "fit", f"{code(1)}/12", "--size", "4R,8R,S8R,A4"), NOW)
    yield Command(("due",), NOW)
    yield Command(("spending",), NOW)
    yield Command(("check",), NOW)
    yield Command(("roll", "list"), NOW)
