"""Rolls to be planned, as a list a person keeps: CSV from any spreadsheet."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from pathlib import Path

from dryside.book.notes.days import read_day
from dryside.film.formats import parse_format
from dryside.film.nearest import in_words, nearest_names
from dryside.film.processes import parse_process
from dryside.film.refusal import NotFound, Refusal
from dryside.film.speed import parse_push

_REQUIRED = ("roll", "process", "format")
_COLUMNS = (*_REQUIRED, "push", "scan", "prints", "need_by", "owner", "rush", "apart", "stock")
_YES = {"yes", "y", "true", "1", "x", "rush", "ja", "sim", "oui", "si", "sí"}
_NO = {"", "no", "n", "false", "0", "none", "-"}
_MOST_COPIES = 10_000


@dataclass(frozen=True)
class RollWish:
    """What one roll shall have done.

    Attributes
    ----------
    roll : str
        Its name: the code of the book, or whatever the person writes on it.
    process, format : str
        Keys of the film room.
    push_stops : Fraction
        Push above 0, pull below 0.
    scan : str or None
        The scan's name at the lab; None: no scan.
    prints : tuple of (str, int)
        Size and copies, each size once.
    need_by : date or None
        The last day on which it may be ready.
    owner : str or None
    rush : bool
        Whether the lab's rush service is asked for.
    apart : frozenset of str
        Rolls that share a word never travel in one order.
    stock : str or None
        The film's name, for warnings.
    """

    roll: str
    process: str
    format: str
    push_stops: Fraction = Fraction(0)
    scan: str | None = None
    prints: tuple[tuple[str, int], ...] = ()
    need_by: date | None = None
    owner: str | None = None
    rush: bool = False
    apart: frozenset[str] = frozenset()
    stock: str | None = None


@dataclass(frozen=True)
class RollList:
    """The rolls of a file, and its columns that mean nothing here."""

    wishes: tuple[RollWish, ...]
    unread_columns: tuple[str, ...] = ()


def read_roll_file(path: Path, *, start: date | None = None) -> RollList:
    """Read a CSV of rolls.

    Raises
    ------
    NotFound
        If there is no such file.
    Refusal
        As `read_rolls`.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise NotFound(str(path), f"it cannot be read ({error.strerror})", "Name a CSV file of rolls.") from error
    return read_rolls(data, source=path.name, start=start)


def read_rolls(data: bytes, *, source: str = "rolls.csv", start: date | None = None) -> RollList:
    """Read rolls from CSV: commas, semicolons or tabs; UTF-8, UTF-16 or a Windows code page; any order of columns.

    Parameters
    ----------
    data : bytes
        The file. Columns `roll`, `process`, `format`; optionally `push`, `scan`, `prints`, `need_by`, `owner`,
        `rush`, `apart`, `stock`.
    source : str, optional
        What messages call the file.
    start : date, optional
        The day from which is planned: a `need_by` before it is refused.

    Raises
    ------
    Refusal
        Naming the line: a missing column, a roll listed twice, an impossible process or format, a push, print or day
        that cannot be read, a need_by in the past.
    """
    rows = _rows(decode_text(data, source=source), source)
    if not rows:
        raise Refusal(
            source, "there is no roll in it", f"Write a first line {','.join(_COLUMNS[:8])} and a line a roll."
        )
    _, header = rows[0]
    columns, unread = _columns(header, source)
    wishes: list[RollWish] = []
    lines: dict[str, int] = {}
    for line, cells in rows[1:]:
        if any(cell.strip() for cell in cells[len(header) :]):
            found = f"the line has {len(cells)} cells, the first line names {len(header)} columns"
            raise Refusal(
                f"{source}, line {line}", found, 'Put a cell that holds the delimiter in quotes: "4R:10;8R:1".'
            )
        row = {name: cells[place].strip() if place < len(cells) else "" for name, place in columns.items()}
        wish = _wish(row, f"{source}, line {line}", start)
        if wish.roll.casefold() in lines:
            found = f"roll {wish.roll} stands in line {lines[wish.roll.casefold()]} already"
            raise Refusal(f"{source}, line {line}", found, "Take one of the two lines out.")
        lines[wish.roll.casefold()] = line
        wishes.append(wish)
    return RollList(tuple(wishes), unread)


def decode_text(data: bytes, *, source: str) -> str:
    """Text of a file of unknown encoding: by its mark, else UTF-8, else the Windows code page of western Europe.

    Raises
    ------
    Refusal
        If it is no text at all.
    """
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if data.startswith(mark):
            try:
                return data.decode(encoding)
            except UnicodeDecodeError:
                break
    if b"\0" in data:
        raise Refusal(source, "this is no text file", "Save the sheet as CSV and name that file.")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        # Western Europe's code page leaves five bytes undefined; a file with one of them comes from farther east.
        try:
            return data.decode("cp1252")
        except UnicodeDecodeError:
            return data.decode("cp1251", errors="replace")


def _rows(text: str, source: str) -> list[tuple[int, list[str]]]:
    """Lines that hold something, with their numbers, cut at the delimiter that finds the most known columns."""
    # A spreadsheet may say its delimiter in a first line of its own.
    said = re.match(r"sep=(.)\r?\n", text)
    skipped = 1 if said else 0
    body = text[said.end() :] if said else text
    first = next((line for line in body.splitlines() if line.strip()), "")
    delimiter = said[1] if said else max(",;\t|", key=lambda sign: _known_in(first, sign))
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    rows: list[tuple[int, list[str]]] = []
    begin = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                rows.append((begin + skipped, cells))
            begin = reader.line_num + 1
    except csv.Error as error:
        line = reader.line_num + skipped
        found = f"the line is not well-formed CSV ({error})"
        raise Refusal(f"{source}, line {line}", found, 'Close each quote: "4R:10;8R:1".') from error
    return rows


def _known_in(line: str, delimiter: str) -> int:
    return sum(_plain(cell) in _COLUMNS for cell in line.split(delimiter))


def _plain(cell: str) -> str:
    return re.sub(r"[\s_-]+", "_", cell.strip().strip('"').strip().casefold()).strip("_")


def _columns(header: Sequence[str], source: str) -> tuple[dict[str, int], tuple[str, ...]]:
    """Place of each known column, and the names of the others."""
    columns: dict[str, int] = {}
    unread = []
    for place, cell in enumerate(header):
        name = _plain(cell)
        if name not in _COLUMNS:
            unread += [cell.strip()] if cell.strip() else []
        elif name in columns:
            raise Refusal(f"{source}, line 1", f"column {name} stands twice", "Keep one of the two.")
        else:
            columns[name] = place
    missing = [name for name in _REQUIRED if name not in columns]
    if missing:
        near = nearest_names(missing[0], unread)
        remedy = f"The first line names the columns: {in_words(_COLUMNS, last='and')}."
        if near:
            remedy = f"Is it '{near[0]}'? Name it '{missing[0]}'."
        raise Refusal(f"{source}, first line", f"there is no column '{missing[0]}'", remedy)
    return columns, tuple(unread)


def _wish(row: dict[str, str], where: str, start: date | None) -> RollWish:
    roll = row["roll"]
    if not roll:
        raise Refusal(where, "the roll has no name", "Write the code that stands on it.")
    try:
        process, film_format = parse_process(row["process"]), parse_format(row["format"])
        push = parse_push(row.get("push", ""))
    except Refusal as refusal:
        raise Refusal(f"{where}, roll {roll}", f"{refusal.thing}: {refusal.found}", refusal.remedy) from refusal
    where = f"{where}, roll {roll}"
    scan = row.get("scan", "")
    return RollWish(
        roll=roll,
        process=process,
        format=film_format,
        push_stops=push,
        scan=None if scan.casefold() in ("", "none", "no", "-") else scan,
        prints=parse_prints(row.get("prints", ""), where=where),
        need_by=_need_by(row.get("need_by", ""), where, start),
        owner=row.get("owner") or None,
        rush=_rush(row.get("rush", ""), where),
        apart=frozenset(word.casefold() for word in re.split(r"[\s,;]+", row.get("apart", "")) if word),
        stock=row.get("stock") or None,
    )


def parse_prints(text: str, *, where: str = "prints") -> tuple[tuple[str, int], ...]:
    """Sizes and copies from `4R:10;8R:1`; a size named twice is added up.

    Raises
    ------
    Refusal
        If a part is no size with a whole number of copies.
    """
    copies: dict[str, int] = {}
    for part in re.split(r"[;,|\n]+", text):
        if not part.strip():
            continue
        matched = re.fullmatch(r"\s*(?P<size>[^:=]+?)\s*[:=]\s*(?P<count>\d+)\s*", part)
        if not matched or int(matched["count"]) > _MOST_COPIES:
            raise Refusal(where, f"prints '{part.strip()}' is no size with a number", "Write it like 4R:10;8R:1.")
        if count := int(matched["count"]):
            size = next((known for known in copies if known.casefold() == matched["size"].casefold()), matched["size"])
            copies[size] = copies.get(size, 0) + count
    return tuple(copies.items())


def _need_by(text: str, where: str, start: date | None) -> date | None:
    if not text:
        return None
    try:
        day = read_day(text)
    except Refusal as error:
        # 3/4/2026 is two days; nobody should learn on the third of April which one was meant.
        raise Refusal(where, f"need_by '{text}' is no day: {error.found}", "Write it like 2026-09-30.") from error
    if start is not None and day < start:
        found = f"need_by {day} is past: the plan begins on {start}"
        raise Refusal(where, found, "Correct it, or leave it empty.")
    return day


def _rush(text: str, where: str) -> bool:
    word = text.casefold()
    if word not in _YES | _NO:
        raise Refusal(where, f"rush '{text}' is neither yes nor no", "Write yes, or leave it empty.")
    return word in _YES
