"""The book as a place: one folder (or a PostgreSQL database with a folder for its files), opened, made and migrated."""

from __future__ import annotations

import math
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

DATABASE = "book.db"
BUSY_S = 30.0
CACHE_KIB = 64 * 1024
WRITE_LOCK = 26_014
"""Number of the advisory lock that writers of a PostgreSQL book take; it is the database's own."""
EARTH_RADIUS_KM = 6371.0088


# What a driver's message says: how it is told to a person.
_FAILURES = {
    "disk is full": ("the disk is full; nothing was changed", "Make room and do it again."),
    "database is locked": ("somebody else has been writing for long; nothing was changed", "Do it again later."),
    "readonly database": ("it may not be written to; nothing was changed", "Look at the rights of the folder."),
    "disk i/o error": ("the disk fails", "Copy the book to another disk, then: dryside check."),
    "malformed": ("the database is damaged", "Restore it from a backup: dryside book restore."),
    "server closed the connection": ("the database went away; nothing was changed", "Do it again when it is back."),
    "connection refused": ("the database does not answer", "Is it running?"),
}


@dataclass(frozen=True)
class Book:
    """An open book: its database and its folder.

    Attributes
    ----------
    engine : sqlalchemy.Engine
        Prefer `read` and `write`.
    root : Path
        The folder that holds the files, and with SQLite the database too.
    """

    engine: Engine
    root: Path

    @property
    def originals(self) -> Path:
        """Files as handed in, named by their SHA-256; never changed."""
        return self.root / "originals"

    @property
    def pictures(self) -> Path:
        """What a person looks at: tagged scans, positives, thumbnails. Can be made again from the originals."""
        return self.root / "pictures"

    @property
    def paper(self) -> Path:
        """PDF pages."""
        return self.root / "paper"

    @property
    def backups(self) -> Path:
        """Copies of the database made before a migration."""
        return self.root / "backups"

    @property
    def is_sqlite(self) -> bool:
        """Whether the database is the folder's own file."""
        return self.engine.dialect.name == "sqlite"

    @property
    def database(self) -> Path:
        """The SQLite file (only where `is_sqlite`)."""
        return self.root / DATABASE

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection that sees one moment of the book; what is written through it is taken back.

        Raises
        ------
        Refusal
            If the database fails: disk full, damaged, gone.
        """
        options = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        with self._in_words(), self.engine.connect().execution_options(**options) as conn:
            yield conn

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One transaction: all of it is kept at the end, or nothing if an exception leaves the block.

        Writers come one after the other: the write lock is taken at once (with SQLite BEGIN IMMEDIATE, with PostgreSQL
        a lock of the transaction), so nothing read inside can be overtaken.

        Raises
        ------
        Refusal
            If the database fails: disk full, locked for long, read only, damaged, gone. The book is as it was then.
        """
        with self._in_words(), self.engine.connect().execution_options(dryside_write=True) as conn, conn.begin():
            if not self.is_sqlite:
                conn.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")
            yield conn

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """A failure of the database as a refusal; mistakes of ours (wrong SQL, broken constraints) stay as they are."""
        from sqlalchemy.exc import DatabaseError

        try:
            yield
        except DatabaseError as error:
            reason = str(error.orig).strip().splitlines()[0] if error.orig else ""
            known = next((words for sign, words in _FAILURES.items() if sign in reason.lower()), None)
            if known is None:
                raise
            place = str(self.database) if self.is_sqlite else _without_password(str(self.engine.url))
            found, remedy = known
            raise Refusal(place, found, remedy) from error

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def default_folder() -> Path:
    """Where the book lies when nobody names a place: the platform's folder for a person's data."""
    import platformdirs

    return Path(platformdirs.user_data_dir("dryside", appauthor=False)) / "book"


def is_url(where: str | Path | None) -> bool:
    """Whether `where` names a PostgreSQL database and not a folder."""
    return isinstance(where, str) and where.startswith(("postgresql:", "postgresql+psycopg:", "postgres:"))


def open_book(where: str | Path | None = None, *, files: Path | None = None, create: bool = True) -> Book:
    """Open the book at `where`, bringing an older one up to date; make it if there is none and `create`.

    Parameters
    ----------
    where : str or Path, optional
        A folder, or a `postgresql://` URL. Left out: the platform's data folder.
    files : Path, optional
        Where a PostgreSQL book keeps its files; needed then, refused for a folder elsewhere.
    create : bool, optional
        Make the book where there is none.

    Raises
    ------
    NotFound
        If there is no book and `create` is false.
    Refusal
        If the book was written by a newer Dryside, is no book, or cannot be reached.
    """
    if is_url(where):
        return _open_postgresql(str(where), files, create=create)
    root = Path(where) if where else default_folder()
    if not (root / DATABASE).exists():
        if not create:
            raise NotFound(str(root), "there is no book here", "Make one with 'dryside book new', or name it: --book.")
        if root.exists() and not root.is_dir():
            raise Refusal(str(root), "this is a file, a book is a folder", "Name a folder: --book DIR.")
    return _open_folder(root)


def _open_folder(root: Path) -> Book:
    from dryside.book.migrate import bring_up_to_date

    _make_folders(root)
    book = Book(_sqlite_engine(root / DATABASE), root.resolve())
    try:
        bring_up_to_date(book)
    except BaseException:
        book.close()
        raise
    return book


def _open_postgresql(url: str, files: Path | None, *, create: bool) -> Book:
    from sqlalchemy import create_engine
    from sqlalchemy.exc import OperationalError

    from dryside.book.migrate import bring_up_to_date

    if files is None:
        raise Refusal(_without_password(url), "a book in PostgreSQL needs a folder for its files", "Add --files DIR.")
    if not files.exists() and not create:
        raise NotFound(str(files), "there is no folder for this book's files", "Name it with --files.")
    driver_url = "postgresql+psycopg:" + url.partition(":")[2]
    engine = create_engine(driver_url, pool_pre_ping=True)
    book = Book(engine, files.resolve())
    try:
        bring_up_to_date(book)
    except OperationalError as error:
        book.close()
        reason = str(error.orig).strip().splitlines()[0]
        raise Refusal(_without_password(url), f"the database does not answer ({reason})", "Is it running?") from error
    except BaseException:
        book.close()
        raise
    _make_folders(files)
    return book


def _without_password(url: str) -> str:
    from sqlalchemy import make_url

    return make_url(url).render_as_string(hide_password=True)


def _make_folders(root: Path) -> None:
    try:
        for name in ("originals", "pictures", "paper"):
            (root / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(
            str(root), f"the folder cannot be made ({error.strerror})", "Name another with --book."
        ) from error


def _sqlite_engine(path: Path) -> Engine:
    from sqlalchemy import create_engine, event
    from sqlalchemy.exc import DatabaseError

    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": BUSY_S})
    event.listen(engine, "connect", _prepare_connection)
    event.listen(engine, "begin", _begin)
    try:
        with engine.connect() as conn:
            conn.exec_driver_sql("SELECT 1 FROM sqlite_master").first()
    except DatabaseError as error:
        engine.dispose()
        raise Refusal(
            str(path), f"this is no book that can be read ({error.orig})", "Restore it: dryside book restore."
        ) from error
    return engine


def _prepare_connection(dbapi: sqlite3.Connection, _record: Any) -> None:
    # `_begin` begins transactions, not the driver, so that the write lock is taken first and DDL is undone too.
    dbapi.isolation_level = None
    dbapi.create_function("km_between", 4, km_between, deterministic=True)
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",  # a power cut after 'done' must not undo it
        "foreign_keys=ON",
        f"cache_size=-{CACHE_KIB}",
        "temp_store=MEMORY",
    ):
        dbapi.execute(f"PRAGMA {pragma}")


def km_between(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float | None:
    """Great-circle distance in km on a sphere of the Earth's mean radius, 6371.0088 km (IUGG); degrees in.

    Also a function of the database, where a missing coordinate gives no distance.
    """
    if None in (latitude, longitude, other_latitude, other_longitude):
        return None
    a, c = math.radians(latitude), math.radians(other_latitude)
    half_d = math.radians(other_longitude - longitude) / 2
    square = math.sin((c - a) / 2) ** 2 + math.cos(a) * math.cos(c) * math.sin(half_d) ** 2
    return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(square)))


def _begin(conn: Connection) -> None:
    write = conn.get_execution_options().get("dryside_write", False)
    conn.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def fsync_folder(folder: Path) -> None:
    """Make a rename inside `folder` survive a power cut."""
    handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
