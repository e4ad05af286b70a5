"""A log kept as a sheet (CSV): delimiter, encoding and columns are found out; values are read as in notes."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from dryside.book.notes.days import DATE, TIME, instant_of, read_date, read_time
from dryside.book.notes.noted import Assumptions, NotedFrame, Problem, Reading
from dryside.book.notes.pieces import Pieces, plain_signs, put_field
from dryside.book.notes.words import BLANK, FIELD_NAMES, ROLL_NAMES, field_of
from dryside.film.frame_labels import label_at, normalise_label, parse_label
from dryside.film.nearest import nearest_names
from dryside.film.refusal import Refusal

DELIMITERS = ",;\t|"
KNOWN_COLUMNS = (*FIELD_NAMES, *ROLL_NAMES)


def decode(content: bytes) -> str:
    """Text of a file in whatever encoding it is: UTF-8 and UTF-16 by their marks, else the likeliest.

    Raises
    ------
    Refusal
        If it is no text at all.
    """
    if b"\x00" in content[:4096] and not content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refusal("file", "this is no text", "Give a text note or a CSV file.")
    for encoding in ("utf-16",) if content.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig",):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    western = content.decode("cp1252", errors="replace")
    letters = [sign for sign in western if sign.isalpha()]
    if sum(sign.isascii() for sign in letters) * 2 > len(letters):
        return western  # a few accents among plain letters; guessing takes them for another old code page
    from charset_normalizer import from_bytes

    best = from_bytes(content, cp_isolation=["cp1251", "cp1253", "cp1252", "shift_jis", "gb18030", "big5"]).best()
    return str(best) if best is not None else western


def looks_like_sheet(name: str, text: str) -> bool:
    """Whether a file is a sheet and not a note: by its ending, or by a first line of known column names."""
    if name.lower().endswith((".csv", ".tsv", ".tab")):
        return True
    first = text.lstrip("\ufeff").partition("\n")[0]
    return any(sum(field_of(cell) is not None for cell in first.split(one)) >= 3 for one in DELIMITERS)


def sniff_delimiter(text: str) -> str:
    """The delimiter: the one that gives the most columns, the same number in every one of the first rows."""
    sample = text.lstrip("\ufeff").splitlines()[:20]

    def score(delimiter: str) -> tuple[float, int]:
        widths = [len(row) for row in csv.reader(sample, delimiter=delimiter) if row]
        same = sum(width == widths[0] for width in widths) / max(len(widths), 1) if widths else 0
        return (same if widths and widths[0] > 1 else 0, widths[0] if widths else 0)

    return max(DELIMITERS, key=score)


def read_table(text: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Column names, and rows with the line each begins on; empty rows are left out.

    Raises
    ------
    Refusal
        If there is no first line of column names.
    """
    plain = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    reader = csv.reader(io.StringIO(plain), delimiter=sniff_delimiter(plain))
    rows, line = [], 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append((line, [unescape_formula(cell.strip()) for cell in row]))
            line = reader.line_num + 1
    except csv.Error as error:
        raise Refusal("sheet", f"line {line} is no CSV ({error})", "Save it again as CSV.") from error
    if not rows:
        raise Refusal("sheet", "it is empty", "Give a first line of column names and a line for each frame.")
    return rows[0][1], rows[1:]


def unescape_formula(cell: str) -> str:
    """A cell as it was before `escape_formula` put a quote before it."""
    return cell[1:] if len(cell) > 1 and cell[0] == "'" and cell[1] in FORMULA_STARTS else cell


def escape_formula(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula: a quote before = + - @, tab and return.

    The advice is common practice (CSV injection); plain numbers keep their sign.
    """
    if cell and cell[0] in FORMULA_STARTS and not _is_number(cell):
        return f"'{cell}"
    return cell


FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def map_columns(names: Sequence[str], mapping: Mapping[str, str]) -> tuple[dict[int, str], list[str]]:
    """Which column of the sheet is which field, and the names of those that are none.

    Parameters
    ----------
    names : sequence of str
        The sheet's column names.
    mapping : mapping of str to str
        Field to column name, as the person says it; wins over what the names look like. `-` leaves a field out.

    Raises
    ------
    Refusal
        If the mapping names a field or a column that there is not.
    """
    by_name = {name.strip().lower(): place for place, name in enumerate(names)}
    columns: dict[int, str] = {}
    for field, column in mapping.items():
        if field not in KNOWN_COLUMNS:
            near = nearest_names(field, KNOWN_COLUMNS)[0]
            raise Refusal(f"--map {field}={column}", f"there is no field {field}", f"Did you mean {near}?")
        if column == "-":
            continue
        if column.strip().lower() not in by_name:
            raise Refusal(f"--map {field}={column}", "no column of that name", f"Columns: {', '.join(names)}.")
        columns[by_name[column.strip().lower()]] = field
    left_over = []
    for place, name in enumerate(names):
        field_name = field_of(name)
        if place in columns:
            continue
        if field_name is None or field_name in columns.values() or field_name in mapping:
            if name.strip():
                left_over.append(name)
        else:
            columns[place] = field_name
    return columns, left_over


def read_sheet(text: str, assume: Assumptions, mapping: Mapping[str, str] | None = None) -> Reading:
    """Read a sheet, one row a frame.

    Rows without a label take the number after the row above. Columns that mean nothing known are named in the remarks.

    Raises
    ------
    Refusal
        If it is empty, or no column is a label or a part of an exposure.
    """
    names, rows = read_table(text)
    columns, left_over = map_columns(names, mapping or {})
    if not set(columns.values()) & {"label", "shutter", "aperture", "caption"}:
        raise Refusal("sheet", f"no column for frame, time, aperture or caption among {', '.join(names)}", "Use --map.")
    frames: dict[str, NotedFrame] = {}
    problems = []
    label = None
    for line, cells in rows:
        said = {field: cells[place] for place, field in columns.items() if place < len(cells) and cells[place]}
        try:
            label = _label(said, label)
            if label in frames:
                raise Refusal(f"frame {label}", f"line {frames[label].line} has it already", "Keep one of them.")
            frames[label] = replace(NotedFrame(label, line), **_values(said, assume))
        except Refusal as refusal:
            found = f"{refusal.thing}: {refusal.found}"
            problems.append(Problem(line, ", ".join(cells), found, refusal.remedy))
    remarks = (f"columns left out: {', '.join(left_over)}",) if left_over else ()
    return Reading(tuple(frames.values()), tuple(problems), remarks=remarks)


def _label(said: Mapping[str, str], before: str | None) -> str:
    if said.get("label"):
        return normalise_label(said["label"])
    return "1" if before is None else str(label_at(parse_label(before).half_index + 2))


def _values(said: Mapping[str, str], assume: Assumptions) -> dict[str, Any]:
    found = Pieces()
    for field, value in said.items():
        if field == "caption" and value.strip().lower() in BLANK:
            found.put("blank", True)
        elif field not in ("label", "date", "time", "taken_at", "taken_to", *ROLL_NAMES):
            put_field(found, field, value)
    values = dict(found.values)
    if found.shutters:
        values["shutter"], values["shutter_s"] = found.shutters[0]
    if found.biases:
        values["exposure_bias"] = found.biases[0]
    if found.keywords:
        values["keywords"] = " ".join(dict.fromkeys(found.keywords))
    if found.notes:
        values["notes"] = "; ".join(found.notes)
    moment = " ".join(said[name] for name in ("taken_at", "date", "time") if said.get(name))
    if moment:
        values["taken_at"], values["taken_to"] = _moment(plain_signs(moment), assume)
        if said.get("taken_to") in ("day", "minute", "second"):
            values["taken_to"] = said["taken_to"]
    return values


def _moment(text: str, assume: Assumptions) -> tuple[str, str]:
    day = DATE.search(text)
    beside = f"{text[: day.start()]} {text[day.end() :]}" if day else text
    clock = TIME.search(beside)
    if day is None and not assume.day:
        raise Refusal(f"date {text!r}", "no day can be read from it", "Write it like 2026-07-14 14:30.")
    rest = TIME.sub("", beside).strip(" ,T")
    if rest:
        raise Refusal(f"date {text!r}", f"{rest!r} is neither day nor time", "Write it like 2026-07-14 14:30.")
    when = read_date(day, assume) if day else date.fromisoformat(str(assume.day))
    return instant_of(when, read_time(clock) if clock else None, assume)
