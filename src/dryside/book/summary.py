"""How much is in a book."""

from __future__ import annotations

from dataclasses import dataclass

from dryside.book.folder import Book
from dryside.book.migrate import schema_version

_COUNTED = (
    "people", "stocks", "cameras", "lenses", "rolls", "frames", "labs", "orders", "files", "scans", "positives",
    "binders", "pages", "strips", "prints", "events",
)  # fmt: skip


@dataclass(frozen=True)
class Summary:
    """Where a book is, the version of its schema, and the number of rows by table."""

    place: str
    files: str
    schema: int
    counts: dict[str, int]


def summarise(book: Book) -> Summary:
    """Count what is in the book."""
    from sqlalchemy import func, select

    from dryside.book.schema import metadata

    with book.read() as conn:
        version = schema_version(conn)
        counts = {
            name: int(conn.execute(select(func.count()).select_from(metadata.tables[name])).scalar_one())
            for name in _COUNTED
        }
    place = str(book.root) if book.is_sqlite else book.engine.url.render_as_string(hide_password=True)
    return Summary(place, str(book.root), int(version or 0), counts)
