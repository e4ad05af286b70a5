"""Copying every table of one book into another, whichever databases they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dryside.book.bulk import bulk_add_frames
from dryside.book.schema import frames, metadata

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table

BATCH = 5_000


def copy_tables(source: Connection, target: Connection) -> dict[str, int]:
    """Copy all rows, ids included, into the empty tables of `target`; returns rows by table.

    `source` should see one moment (one transaction); `target` is inside `Book.write`.
    """
    counts = {}
    for table in metadata.sorted_tables:
        counts[table.name] = _copy_frames(source, target) if table is frames else _copy(source, target, table)
    if target.dialect.name == "postgresql":
        _set_sequences(target)
    return counts


def table_digest(conn: Connection) -> dict[str, tuple[int, str]]:
    """Rows and a digest of each table's contents, the same for the same rows in any database."""
    import hashlib
    import json

    found = {}
    for table in metadata.sorted_tables:
        digest, count = hashlib.sha256(), 0
        for row in conn.execute(table.select().order_by(*table.primary_key.columns)):
            digest.update(json.dumps(list(row), sort_keys=True, ensure_ascii=False, default=str).encode())
            count += 1
        found[table.name] = (count, digest.hexdigest())
    return found


def _copy(source: Connection, target: Connection, table: Table) -> int:
    count = 0
    for batch in _rows(source, table):
        target.execute(table.insert(), [dict(row._mapping) for row in batch])
        count += len(batch)
    return count


def _copy_frames(source: Connection, target: Connection) -> int:
    # All at once: then the search index is built once and not row by row.
    rows = [tuple(row) for batch in _rows(source, frames) for row in batch]
    return bulk_add_frames(target, [column.name for column in frames.columns], rows)


def _rows(source: Connection, table: Table) -> Any:
    statement = table.select().order_by(*table.primary_key.columns).execution_options(yield_per=BATCH)
    return source.execute(statement).partitions(BATCH)


def _set_sequences(target: Connection) -> None:
    """Let ids go on after the copied ones."""
    for table in metadata.sorted_tables:
        if "id" in table.columns:
            target.exec_driver_sql(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'),"  # noqa: S608
                f" (SELECT coalesce(max(id), 0) + 1 FROM {table.name}), false)"
            )
