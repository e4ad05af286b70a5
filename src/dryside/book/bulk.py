"""Bringing in very many frames at once: tuples straight to the driver, the search index built once at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dryside.book.schema import frames

if TYPE_CHECKING:
    from sqlalchemy import Connection

BATCH = 50_000
MANY = 5_000


def bulk_add_frames(conn: Connection, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> int:
    """Add frames as plain tuples inside one `Book.write`; returns how many.

    With SQLite, where many are added beside those that are there, triggers and indexes are taken off, put back, and the
    search index is built once. Values are taken as they are: work out `taken_utc` and check ranges before.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    columns : sequence of str
        Names of columns of `frames`; roll_id, position, label, blank and printed must be among them.
    rows : sequence of tuple
        Values in that order.

    Raises
    ------
    ValueError
        If a needed column is missing or one is none of the table's.
    """
    missing = {"roll_id", "position", "label", "blank", "printed"} - set(columns)
    unknown = set(columns) - set(frames.columns.keys())
    if missing or unknown:
        raise ValueError(f"columns lacks {sorted(missing)} and has unknown {sorted(unknown)}")
    holder = "?" if conn.dialect.name == "sqlite" else "%s"
    statement = f"INSERT INTO frames ({', '.join(columns)}) VALUES ({', '.join([holder] * len(columns))})"  # noqa: S608
    anew = conn.dialect.name == "sqlite" and len(rows) > MANY and len(rows) * 4 > _count(conn)
    put_back = _take_off(conn) if anew else []
    for start in range(0, len(rows), BATCH):
        conn.exec_driver_sql(statement, rows[start : start + BATCH])
    for sql in put_back:
        conn.exec_driver_sql(sql)
    if anew:
        conn.exec_driver_sql("INSERT INTO frame_words(frame_words) VALUES ('rebuild')")
    return len(rows)


def _count(conn: Connection) -> int:
    return int(conn.exec_driver_sql("SELECT count(*) FROM frames").scalar_one())


def _take_off(conn: Connection) -> list[str]:
    """Drop what slows adding down: triggers of the search index, and indexes that hold no constraint."""
    found = conn.exec_driver_sql(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND (type = 'trigger' AND"
        " name LIKE 'frame\\_words\\_%' ESCAPE '\\' OR type = 'index' AND tbl_name = 'frames')"
    ).all()
    for kind, name, _ in found:
        conn.exec_driver_sql(f"DROP {kind} {name}")
    return [sql for _, _, sql in found]
