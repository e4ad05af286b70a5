"""How a table's row becomes a frozen dataclass and back; shared by every module that owns a table."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, TypeVar

from dryside.film.refusal import NotFound

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement, Connection, Table

RowT = TypeVar("RowT")


def fetch(
    conn: Connection, kind: type[RowT], table: Table, *where: ColumnElement[bool], order: tuple[Any, ...] = ()
) -> list[RowT]:
    """Every row of `table` that meets `where`, as `kind` (whose fields are named like the columns)."""
    from sqlalchemy import select

    columns = [table.c[field.name] for field in dataclasses.fields(kind)]  # type: ignore[arg-type]
    statement = select(*columns).where(*where).order_by(*(order or (table.c.id,)))
    return [kind(*row) for row in conn.execute(statement)]


def fetch_one(conn: Connection, kind: type[RowT], table: Table, *where: ColumnElement[bool]) -> RowT | None:
    """The first such row, or None."""
    rows = fetch(conn, kind, table, *where)
    return rows[0] if rows else None


def must_be(row: RowT | None, thing: str, remedy: str = "") -> RowT:
    """`row`, or NotFound naming `thing`."""
    if row is None:
        raise NotFound(thing, "not in this book", remedy)
    return row


def insert(conn: Connection, table: Table, values: dict[str, Any]) -> int:
    """Add one row and return its id."""
    key = conn.execute(table.insert().values(**values)).inserted_primary_key
    if key is None:
        raise ValueError(f"{table.name} has no key of its own")
    return int(key[0])


def update(conn: Connection, table: Table, row_id: int, changes: dict[str, Any]) -> None:
    """Change the named columns of one row."""
    if changes:
        conn.execute(table.update().where(table.c.id == row_id).values(**changes))


def as_dict(row: Any) -> dict[str, Any]:
    """A row dataclass as plain data for JSON."""
    return dataclasses.asdict(row)
