"""Export: every table of the book as CSV (safe in a spreadsheet) and JSON, readable without Dryside."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.content_store import disk_refusal
from dryside.book.files import atomic_file
from dryside.book.folder import Book
from dryside.book.notes.sheet import escape_formula
from dryside.book.schema import metadata
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

FORMS = ("csv", "json")

# Frames and rolls as people read them, names in place of row ids; these two come back in by 'book import'.
ROLL_LOG = """
SELECT r.code AS roll, (SELECT min(n.name) FROM roll_names n WHERE n.roll_id = r.id) AS own_name, r.title,
  s.name AS stock, r.format, r.process, r.cross_process, r.push_stops AS push, r.exposure_index, r.exposures,
  c.name AS camera, p.name AS owner, r.state, r.loaded_on, r.exposed_on, r.expires_on, r.irreplaceable AS apart, r.notes
FROM rolls r LEFT JOIN stocks s ON s.id = r.stock_id LEFT JOIN cameras c ON c.id = r.camera_id
LEFT JOIN people p ON p.id = r.owner_id ORDER BY r.code
"""
FRAME_LOG = """
SELECT r.code AS roll, f.label AS frame, f.taken_at, f.taken_to, f.shutter, f.aperture, l.name AS lens, f.focal_mm,
  f.exposure_index, f.exposure_bias, f.flash, f.caption, f.keywords, f.person, f.place, f.latitude, f.longitude,
  f.altitude_m, f.rating, f.blank, f.notes, f.printed
FROM frames f JOIN rolls r ON r.id = f.roll_id LEFT JOIN lenses l ON l.id = f.lens_id ORDER BY r.code, f.position
"""


def export_book(book: Book, folder: Path, forms: Sequence[str] = FORMS) -> list[Path]:
    """Write every table, and the logs of rolls and frames with names in place of row ids; returns the files.

    One moment of the book; each file appears whole or not at all. In CSV a cell that a spreadsheet would take for a
    formula gets a quote before it, which `book import` takes off again; JSON holds everything as it is.

    Raises
    ------
    Refusal
        If a form is neither csv nor json, or the folder cannot be written.
    """
    for form in forms:
        if form not in FORMS:
            raise Refusal(f"form {form}", "it is neither csv nor json", "Write one of them.")
    made = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with book.read() as conn:
            for name, columns, rows in _tables(conn):
                made += [_write(folder / f"{name}.{form}", form, columns, rows) for form in forms]
    except OSError as error:
        raise disk_refusal(str(folder), error) from error
    return made


def log_of(conn: Connection, which: str, roll_ids: Sequence[int] | None = None) -> tuple[list[str], list[list[Any]]]:
    """The log of `rolls` or `frames` as columns and rows, narrowed to some rolls."""
    from sqlalchemy import text

    result = conn.execute(text({"rolls": ROLL_LOG, "frames": FRAME_LOG}[which]))
    columns = list(result.keys())
    rows = [list(row) for row in result]
    if roll_ids is not None:
        codes = set(
            conn.execute(text("SELECT id, code FROM rolls")).all()  # a book's rolls are some thousands at most
        )
        wanted = {code for roll_id, code in codes if roll_id in set(roll_ids)}
        rows = [row for row in rows if row[0] in wanted]
    return columns, [_truths(columns, row) for row in rows]


def to_csv(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """UTF-8 CSV (RFC 4180: CRLF, quotes where needed) with a byte order mark, which spreadsheets look for."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow([escape_formula(column) for column in columns])
    writer.writerows([[_cell(value) for value in row] for row in rows])
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def to_json(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """A JSON array of objects."""
    listed = [dict(zip(columns, row, strict=True)) for row in rows]
    return json.dumps(listed, ensure_ascii=False, indent=1, default=str).encode()


def _tables(conn: Connection) -> Iterable[tuple[str, list[str], list[Any]]]:
    for table in metadata.sorted_tables:
        rows = conn.execute(table.select().order_by(*table.primary_key.columns)).all()
        yield table.name, [column.name for column in table.columns], [list(row) for row in rows]
    for which in ("rolls", "frames"):
        columns, rows_of_log = log_of(conn, which)
        yield f"log-of-{which}", columns, rows_of_log


def _truths(columns: Sequence[str], row: list[Any]) -> list[Any]:
    """SQLite gives 0 and 1 to a query in words; say no and yes."""
    yes_no = ("cross_process", "blank", "printed", "flash")
    return [
        value if column not in yes_no or value is None else "yes" if value else "no"
        for column, value in zip(columns, row, strict=True)
    ]


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dict | list):
        return escape_formula(json.dumps(value, ensure_ascii=False))
    return escape_formula(value) if isinstance(value, str) else str(value)


def _write(path: Path, form: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> Path:
    with atomic_file(path) as stream:
        stream.write(to_csv(columns, rows) if form == "csv" else to_json(columns, rows))
    return path
