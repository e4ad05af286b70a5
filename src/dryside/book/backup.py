"""Backup and restore: online, of one moment, incremental by content, verified.

A backup is a folder. `content/` holds every file's content once, by SHA-256; `snapshots/` holds for each run the
database (always as one SQLite file, whatever the book's own database) and a list of files. The list is written last:
a run that was cut short has none and counts for nothing, but what it copied need not be copied again.
"""

from __future__ import annotations

import dataclasses
import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dryside.book.content_store import ContentStore, StoredFile, disk_refusal, files_of, store_files
from dryside.book.files import atomic_file, sha256_of
from dryside.book.folder import Book, is_url, open_book
from dryside.book.table_copy import copy_tables
from dryside.film.refusal import NotFound, Refusal

CONTENT = "content"
SNAPSHOTS = "snapshots"
LAYOUT = 1


@dataclass(frozen=True)
class Snapshot:
    """One run of a backup: its name (a UTC moment), the digest of its database, its files."""

    name: str
    database_sha256: str
    files: tuple[StoredFile, ...]


@dataclass(frozen=True)
class BackupReport:
    """What a backup did; sizes in bytes."""

    snapshot: str
    files: int
    size: int
    copied: int
    verified: bool
    damaged: tuple[str, ...] = ()


def no_step(_size: int, _name: str) -> None:
    """Tell nobody."""


def back_up(
    book: Book, target: Path, *, verify_all: bool = False, step: Callable[[int, str], None] = no_step
) -> BackupReport:
    """Add a snapshot of the book to the backup at `target`; the book may be in use meanwhile.

    Every copy is read back as it is made. The database is taken first: a file is in its folder before its row is in the
    database, so everything the database speaks of is there to be copied.

    Parameters
    ----------
    book : Book
        The book.
    target : Path
        A folder outside the book; made if new.
    verify_all : bool, optional
        Also read back what earlier runs copied; damaged content is copied again where the book has it.
    step : callable, optional
        Told the size and path of each file done.

    Raises
    ------
    Refusal
        If `target` lies in the book or is no backup, or the disk is full; earlier snapshots stay as they are.
    """
    _check_target(book, target)
    name = datetime.now(UTC).strftime("%Y-%m-%dT%H-%M-%S-%fZ")
    part = target / SNAPSHOTS / f"{name}.part"
    store = ContentStore(target / CONTENT)
    try:
        for left_over in [*target.glob(f"{SNAPSHOTS}/*.part"), *target.glob(f"{CONTENT}/*.part")]:
            left_over.unlink()
        damaged = _damaged_content(target) if verify_all else ()
        held = _size_of(store)
        _copy_database(book, part)
        files = store_files(book.root, files_of(book.root), store, _known_files(target), step)
        part.replace(part.with_suffix(".db"))
        snapshot = Snapshot(name, sha256_of(part.with_suffix(".db")), tuple(files))
        _write_snapshot(target, snapshot)
    except OSError as error:
        raise disk_refusal(str(target), error) from error
    finally:
        part.unlink(missing_ok=True)
    still = tuple(one for one in damaged if not store.path(one).exists())
    size = sum(file.size for file in files)
    return BackupReport(name, len(files), size, _size_of(store) - held, verify_all, still)


def list_snapshots(target: Path) -> list[str]:
    """Names of a backup's snapshots, the oldest first.

    Raises
    ------
    NotFound
        If there is no backup at `target`.
    """
    names = sorted(path.stem for path in (target / SNAPSHOTS).glob("*.json"))
    if not names:
        raise NotFound(str(target), "there is no backup here", "Name the folder that 'dryside book backup' wrote to.")
    return names


def read_snapshot(target: Path, name: str | None = None) -> Snapshot:
    """A snapshot by its name; left out: the newest.

    Raises
    ------
    NotFound
        If there is none of that name.
    Refusal
        If its list cannot be read.
    """
    names = list_snapshots(target)
    chosen = name or names[-1]
    if chosen not in names:
        raise NotFound(f"snapshot {chosen}", "not in this backup", f"In it: {', '.join(names[-5:])}.")
    path = target / SNAPSHOTS / f"{chosen}.json"
    try:
        found = json.loads(path.read_text("utf-8"))
        files = tuple(StoredFile(**one) for one in found["files"])
        return Snapshot(found["name"], found["database_sha256"], files)
    except (ValueError, KeyError, TypeError) as error:
        raise Refusal(str(path), "this list of a backup is damaged", "Restore another snapshot: --snapshot.") from error


def restore(
    target: Path,
    where: str | Path,
    *,
    files: Path | None = None,
    snapshot: str | None = None,
    step: Callable[[int, str], None] = no_step,
) -> Snapshot:
    """Bring a book back from a backup into an empty place; every file is verified while it is copied.

    A folder is filled under another name beside `where` and renamed at the end, so a restore that was cut short leaves
    nothing that looks like a book.

    Parameters
    ----------
    target : Path
        The backup.
    where : str or Path
        A folder that is not there or empty, or a PostgreSQL URL whose database is empty (then with `files`).
    files : Path, optional
        The files' folder of a PostgreSQL book; not there or empty.
    snapshot : str, optional
        Which; left out: the newest.
    step : callable, optional
        Told the size and path of each file done.

    Raises
    ------
    Refusal
        If the place is not empty, the disk is full, or something in the backup is damaged.
    """
    chosen = read_snapshot(target, snapshot)
    if is_url(where) and files is None:
        raise Refusal("restore", "a book in PostgreSQL needs a folder for its files", "Add --files DIR.")
    root = files if is_url(where) and files is not None else Path(where)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise Refusal(str(root), "this place is not empty; a restore never writes over a book", "Name a new folder.")
    beside = root.with_name(f"{root.name}.restoring")
    try:
        if beside.exists():
            shutil.rmtree(beside)
        _fill(target, chosen, beside, step)
        if is_url(where):
            _into_postgresql(beside, str(where))
        if root.exists():
            root.rmdir()
        beside.replace(root)
    except OSError as error:
        raise disk_refusal(str(root), error) from error
    return chosen


def _fill(target: Path, chosen: Snapshot, beside: Path, step: Callable[[int, str], None]) -> None:
    store = ContentStore(target / CONTENT)
    database = target / SNAPSHOTS / f"{chosen.name}.db"
    beside.mkdir(parents=True)
    if not database.exists() or sha256_of(database) != chosen.database_sha256:
        raise Refusal(str(database), "the database of this snapshot is damaged", "Restore another: --snapshot.")
    for file in chosen.files:
        path = beside / file.path
        store.get(file.sha256, path)
        if file.path.startswith("originals/"):
            path.chmod(0o444)
        step(file.size, file.path)
    shutil.copyfile(database, beside / "book.db")
    open_book(beside).close()  # migrates an older one, and refuses one that cannot be read


def _into_postgresql(beside: Path, url: str) -> None:
    with open_book(beside) as source, open_book(url, files=beside) as book:
        with book.read() as conn:
            if conn.exec_driver_sql("SELECT 1 FROM events UNION ALL SELECT 1 FROM rolls LIMIT 1").first():
                raise Refusal(url.partition("@")[2] or url, "this database holds a book already", "Name an empty one.")
        with source.read() as reading, book.write() as conn:
            copy_tables(reading, conn)
    for name in ("book.db", "book.db-wal", "book.db-shm"):
        (beside / name).unlink(missing_ok=True)


def _check_target(book: Book, target: Path) -> None:
    if target.resolve().is_relative_to(book.root):
        raise Refusal(str(target), "it lies inside the book; both would be lost together", "Use another disk.")
    if target.exists() and any(target.iterdir()) and not (target / SNAPSHOTS).is_dir():
        raise Refusal(str(target), "this folder holds something that is no backup", "Name an empty folder.")
    try:
        (target / SNAPSHOTS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise disk_refusal(str(target), error) from error


def _copy_database(book: Book, part: Path) -> None:
    """One moment of the database as a single SQLite file, checked."""
    part.unlink(missing_ok=True)
    try:
        if book.is_sqlite:
            with closing(sqlite3.connect(book.database)) as source, closing(sqlite3.connect(part)) as copy:
                source.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
        else:
            _export_database(book, part)
        with closing(sqlite3.connect(part)) as copy:
            verdict = copy.execute("PRAGMA integrity_check(3)").fetchone()[0]
    except sqlite3.Error as error:
        full = "full" in str(error)
        found = "the disk is full; earlier snapshots are untouched" if full else f"the copy failed ({error})"
        raise Refusal(str(part.parent), found, "Make room and run it again." if full else "") from error
    if verdict != "ok":
        raise Refusal(str(part.parent), f"the copied database is damaged ({verdict})", "Run: dryside check.")


def _export_database(book: Book, part: Path) -> None:
    beside = part.with_suffix(".making")
    if beside.exists():
        shutil.rmtree(beside)
    with open_book(beside) as made, book.read() as reading, made.write() as conn:
        copy_tables(reading, conn)
    with closing(sqlite3.connect(beside / "book.db")) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")
    (beside / "book.db").replace(part)
    shutil.rmtree(beside)


def _write_snapshot(target: Path, snapshot: Snapshot) -> None:
    listed: dict[str, Any] = {"layout": LAYOUT, **dataclasses.asdict(snapshot)}
    with atomic_file(target / SNAPSHOTS / f"{snapshot.name}.json") as stream:
        stream.write(json.dumps(listed, indent=1).encode())


def _known_files(target: Path) -> dict[str, StoredFile]:
    try:
        return {file.path: file for file in read_snapshot(target).files}
    except Refusal:
        return {}  # the first run, or a list that cannot be read: everything is hashed


def _damaged_content(target: Path) -> tuple[str, ...]:
    """Read all content back; what is not what its name says is put aside, so that it is copied anew."""
    damaged = []
    for path in sorted((target / CONTENT).glob("??/*")):
        name = path.parent.name + path.name
        if len(name) == 64 and sha256_of(path) != name:
            damaged.append(name)
            path.replace(path.with_name(f"{path.name}.damaged"))
    return tuple(damaged)


def _size_of(store: ContentStore) -> int:
    return sum(path.stat().st_size for path in store.folder.glob("??/*"))
