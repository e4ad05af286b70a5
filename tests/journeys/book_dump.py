"""The whole content of a book as plain data, so that two books can be compared."""

import hashlib
import sqlite3
from pathlib import Path

# When something was written is no part of what was written.
CLOCK_COLUMNS = {"added_at", "changed_at", "made_at", "received_at"}


def dump(book: Path) -> dict[str, list]:
    """Every row of every table, and the digest of every file under originals/ and pictures/."""
    db = sqlite3.connect(f"file:{book / 'book.db'}?mode=ro", uri=True)
    names = [row[0] for row in db.execute("select name from sqlite_master where type = 'table' order by name")]
    tables = {name: _rows(db, name) for name in names if "fts" not in name and not name.startswith("sqlite_")}
    db.close()
    tables["files on disk"] = [
        (str(path.relative_to(book)), hashlib.sha256(path.read_bytes()).hexdigest())
        for folder in ("originals", "pictures")
        for path in sorted((book / folder).rglob("*"))
        if path.is_file() and not path.name.startswith(".dryside-")  # a run's journal names the folder it ran in
    ]
    return tables


def _rows(db: sqlite3.Connection, table: str) -> list[tuple]:
    cursor = db.execute(f'select * from "{table}"')
    kept = [place for place, column in enumerate(cursor.description) if column[0] not in CLOCK_COLUMNS]
    return sorted((tuple(row[place] for place in kept) for row in cursor), key=repr)


def differences(one: dict[str, list], other: dict[str, list]) -> dict[str, tuple[list, list]]:
    """For each table that differs, the rows that only one of the books has."""
    return {
        name: (
            [r for r in one.get(name, []) if r not in other.get(name, [])],
            [r for r in other.get(name, []) if r not in one.get(name, [])],
        )
        for name in sorted({*one, *other})
        if one.get(name) != other.get(name)
    }
