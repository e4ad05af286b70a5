"""Rolls and frames from a notebook's or spreadsheet's CSV: read into a plan, then carried out in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from dryside.book.cameras import find_or_add_camera
from dryside.book.frame_import import ImportPlan, apply_import, plan_import
from dryside.book.ids import can_be_given, parse_code
from dryside.book.instants import parse_day
from dryside.book.journey import RollState, parse_state
from dryside.book.notes.noted import Assumptions, Problem, Reading
from dryside.book.notes.sheet import decode, read_sheet, read_table
from dryside.book.people import find_or_add_person
from dryside.book.rolls import RollRow, add_roll, find_roll
from dryside.book.stocks import find_stock
from dryside.film.formats import parse_format
from dryside.film.nearest import nearest_names
from dryside.film.processes import parse_process
from dryside.film.refusal import NotFound, Refusal
from dryside.film.speed import parse_push, parse_speed

if TYPE_CHECKING:
    from sqlalchemy import Connection

# Field: what its column may be called, in four languages.
ROLL_COLUMNS: dict[str, tuple[str, ...]] = {
    "roll": ("roll", "roll number", "roll no", "no", "number", "id", "code", "film no", "filmnummer", "film nr", "nr",
             "rouleau", "n°", "carrete", "número"),
    "own_name": ("own name", "name", "own number", "archive number", "archivnummer", "cote", "signatura"),
    "title": ("title", "titel", "titre", "título", "subject", "motiv"),
    "stock": ("stock", "film", "emulsion", "film stock", "filmsorte", "pellicule", "película"),
    "format": ("format", "formato", "film format"),
    "process": ("process", "prozess", "procédé", "proceso", "entwicklung"),
    "push": ("push", "push/pull", "push stops"),
    "exposure_index": ("exposure index", "ei", "rated", "exposed at", "iso", "asa"),
    "exposures": ("exposures", "frames", "aufnahmen", "vues", "tomas"),
    "camera": ("camera", "kamera", "appareil", "cámara", "body"),
    "owner": ("owner", "photographer", "fotograf", "photographe", "fotógrafo", "besitzer"),
    "state": ("state", "where", "status", "place"),
    "loaded_on": ("loaded on", "loaded", "date", "datum", "start", "eingelegt", "fecha", "chargé"),
    "exposed_on": ("exposed on", "finished", "end", "fertig", "fin", "unloaded"),
    "expires_on": ("expires on", "expiry", "ablauf", "péremption", "caducidad"),
    "apart": ("apart", "irreplaceable"),
    "notes": ("notes", "note", "remarks", "bemerkung", "remarques", "notas"),
}  # fmt: skip


@dataclass(frozen=True)
class NotedRoll:
    """A roll as a row has it; `own_names` are numbers that are no codes of ours."""

    line: int
    code: str | None
    own_names: tuple[str, ...]
    day: date | None
    state: RollState
    columns: dict[str, Any]
    stock: str | None
    camera: str | None
    owner: str | None


@dataclass(frozen=True)
class RollReading:
    """A sheet of rolls, read."""

    rolls: tuple[NotedRoll, ...]
    problems: tuple[Problem, ...]
    left_over: tuple[str, ...]


def read_rolls(content: bytes, mapping: Mapping[str, str]) -> RollReading:
    """Read a CSV of rolls, one row a roll.

    Raises
    ------
    Refusal
        If the mapping names a field or column that there is not, or no column names the roll.
    """
    names, rows = read_table(decode(content))
    places = _places(names, mapping)
    if not {"roll", "own_name"} & set(places):
        raise Refusal("sheet", f"no column is the roll's number among {', '.join(names)}", "Say it: --map roll=COLUMN.")
    rolls, problems = [], []
    for line, cells in rows:
        said = {field: cells[place] for field, place in places.items() if place < len(cells) and cells[place]}
        try:
            rolls.append(_roll(said, line))
        except Refusal as refusal:
            problems.append(Problem(line, ", ".join(cells), f"{refusal.thing}: {refusal.found}", refusal.remedy))
    left_over = tuple(name for place, name in enumerate(names) if place not in places.values() and name.strip())
    return RollReading(tuple(rolls), tuple(problems), left_over)


def import_rolls(conn: Connection, reading: RollReading) -> tuple[list[RollRow], int]:
    """Add the rolls that the book has not, inside one `Book.write`; (added, how many it had already).

    A roll is known by its code or any of its own names, so the same sheet again adds nothing.
    """
    added, known = [], 0
    for noted in reading.rolls:
        if any(_in_book(conn, name) for name in (noted.code, *noted.own_names) if name):
            known += 1
            continue
        stock = find_stock(conn, noted.stock) if noted.stock else None
        columns = dict(noted.columns)
        process = columns.pop("process", None) or (stock.process if stock else None)
        if process is None:
            what = f"stock {noted.stock} is not in the book" if noted.stock else "neither stock nor process is said"
            raise Refusal(f"line {noted.line}", what, "Add the stock first: dryside stock add; or a process column.")
        film_format = columns.pop("format", "135")
        added.append(
            add_roll(
                conn,
                film_format=film_format,
                process=process,
                on=noted.day or date.today(),  # noqa: DTZ011  # only its year goes into the code
                state=noted.state,
                code=noted.code,
                names=noted.own_names,
                stock_id=stock.id if stock else None,
                camera_id=find_or_add_camera(conn, noted.camera).id if noted.camera else None,
                owner_id=find_or_add_person(conn, noted.owner).id if noted.owner else None,
                **columns,
            )
        )
    return added, known


def read_frames(
    content: bytes, assume: Assumptions, mapping: Mapping[str, str]
) -> tuple[dict[str, Reading], list[str]]:
    """Read a CSV of frames of many rolls: a reading by roll as written, and the names of columns left out.

    Raises
    ------
    Refusal
        If no column names the roll, or the mapping names what there is not.
    """
    names, rows = read_table(decode(content))
    lower = [name.strip().lower() for name in names]
    wanted = mapping.get("roll", "").strip().lower()
    known = (wanted,) if wanted else ROLL_COLUMNS["roll"][:3] + ROLL_COLUMNS["roll"][6:]
    place = next((lower.index(name) for name in known if name in lower), None)
    if place is None:
        raise Refusal("sheet", f"no column is the roll among {', '.join(names)}", "Say it: --map roll=COLUMN.")
    by_roll: dict[str, list[tuple[int, list[str]]]] = {}
    for line, cells in rows:
        by_roll.setdefault(cells[place] if place < len(cells) else "", []).append((line, cells))
    rest = {field: column for field, column in mapping.items() if field != "roll"}
    left: list[str] = []
    readings = {}
    for roll, listed in by_roll.items():
        readings[roll] = _frames_of(names, place, listed, assume, rest)
        left = [word for remark in readings[roll].remarks for word in remark.partition(": ")[2].split(", ")]
    return readings, left


def plan_frames(
    conn: Connection, readings: Mapping[str, Reading], *, replace_old: bool = False
) -> tuple[list[tuple[RollRow, ImportPlan]], list[Problem]]:
    """What importing the frames will do, roll by roll, and every line that cannot be imported."""
    plans: list[tuple[RollRow, ImportPlan]] = []
    problems: list[Problem] = []
    for name, reading in readings.items():
        problems += reading.problems
        lines = [frame.line for frame in reading.frames]
        try:
            roll = find_roll(conn, name)
        except NotFound as refusal:
            first = min(lines, default=0)
            problems.append(Problem(first, name, str(refusal), "Import the rolls first: dryside book import rolls."))
            continue
        plans.append((roll, plan_import(conn, roll, replace(reading, remarks=()), replace=replace_old)))
    return plans, problems


def apply_frames(conn: Connection, plans: list[tuple[RollRow, ImportPlan]]) -> int:
    """Carry the plans out inside one `Book.write`; how many frames were added or changed."""
    return sum(apply_import(conn, roll, plan) for roll, plan in plans)


def _frames_of(
    names: list[str], place: int, rows: list[tuple[int, list[str]]], assume: Assumptions, mapping: Mapping[str, str]
) -> Reading:
    """Read the rows of one roll, and give problems and frames the lines of the whole sheet."""
    import csv
    import io

    text = io.StringIO(newline="")
    writer = csv.writer(text)
    for cells in (names, *(cells for _, cells in rows)):
        writer.writerow([cell.replace("\n", " ") for i, cell in enumerate(cells) if i != place])
    reading = read_sheet(text.getvalue(), assume, mapping)
    lines = {number: line for number, (line, _) in enumerate(rows, start=2)}
    frames = tuple(replace(frame, line=lines.get(frame.line, frame.line)) for frame in reading.frames)
    problems = tuple(replace(one, line=lines.get(one.line, one.line)) for one in reading.problems)
    return replace(reading, frames=frames, problems=problems)


def _places(names: list[str], mapping: Mapping[str, str]) -> dict[str, int]:
    """Field: place of its column; what the person says wins."""
    lower = [name.strip().lower().replace("_", " ") for name in names]
    places: dict[str, int] = {}
    for field, column in mapping.items():
        if field not in ROLL_COLUMNS:
            raise Refusal(f"--map {field}={column}", "there is no such field", f"Near it: {_near(field)}.")
        plain = column.strip().lower().replace("_", " ")
        if column != "-" and plain not in lower:
            raise Refusal(f"--map {field}={column}", "no column of that name", f"Columns: {', '.join(names)}.")
        if column != "-":
            places[field] = lower.index(plain)
    for field, words in ROLL_COLUMNS.items():
        if field not in mapping:
            place = next((lower.index(word) for word in words if word in lower), None)
            if place is not None and place not in places.values():
                places[field] = place
    return places


def _near(field: str) -> str:
    return ", ".join(nearest_names(field, ROLL_COLUMNS, count=3))


def _roll(said: Mapping[str, str], line: int) -> NotedRoll:
    names = [said[field] for field in ("roll", "own_name") if said.get(field)]
    if not names:
        raise Refusal(f"line {line}", "the roll has no number", "Give it one.")
    code = _our_code(said.get("roll", ""))
    own = tuple(dict.fromkeys(name for name in names if code is None or name != said.get("roll")))
    days = {
        field: parse_day(said[field][:10]).isoformat()
        for field in ("loaded_on", "exposed_on", "expires_on")
        if said.get(field)
    }
    began = days.get("loaded_on") or days.get("exposed_on")
    columns: dict[str, Any] = {
        "format": parse_format(said["format"]) if said.get("format") else "135",
        "process": parse_process(said["process"]) if said.get("process") else None,
        "push_stops": float(parse_push(said.get("push", ""))),
        "exposure_index": parse_speed(said["exposure_index"]) if said.get("exposure_index") else None,
        "exposures": _count(said.get("exposures")),
        "title": said.get("title"),
        "irreplaceable": said.get("apart"),
        "notes": said.get("notes"),
        **days,
    }
    return NotedRoll(
        line=line,
        code=code,
        own_names=own,
        day=date.fromisoformat(began) if began else None,
        state=parse_state(said["state"]) if said.get("state") else RollState.NEGATIVES_BACK,
        columns=columns,
        stock=said.get("stock"),
        camera=said.get("camera"),
        owner=said.get("owner"),
    )


def _our_code(text: str) -> str | None:
    """The code that a number is, if it is one of ours; any other number stays a name of its owner's."""
    try:
        code = parse_code(text)
    except Refusal:
        return None
    return str(code) if can_be_given(code) and "-" in text else None


def _count(text: str | None) -> int | None:
    if text is None:
        return None
    if not text.isdigit():
        raise Refusal(f"exposures {text!r}", "not a whole number", "Write it like 36.")
    return int(text)


def _in_book(conn: Connection, name: str) -> bool:
    try:
        find_roll(conn, name)
    except NotFound:
        return False
    return True
