"""Schema versions: what this Dryside knows, and how an older book is brought up to date in one transaction."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy import Connection

    from dryside.book.folder import Book

LATEST = "0003"  # kept beside the migrations so that an up-to-date book opens without importing Alembic


def schema_version(conn: Connection) -> str | None:
    """The version the book was written with; None for an empty database."""
    from sqlalchemy import inspect

    if not inspect(conn).has_table("alembic_version"):
        return None
    version = conn.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    return None if version is None else str(version)


def bring_up_to_date(book: Book, *, target: str = LATEST) -> None:
    """Run the migrations that the book lacks: all of them in one transaction, or none.

    A SQLite book that holds something is copied to `backups/` first.

    Raises
    ------
    Refusal
        If the book was written by a newer Dryside; nothing is changed then.
    """
    with book.read() as conn:
        before = schema_version(conn)
    if before == target:
        return
    _refuse_newer(book, before)
    if before is not None and book.is_sqlite:
        _copy_database(book, before)
    from alembic import command

    with book.write() as conn:
        now = schema_version(conn)  # somebody else may have been faster
        _refuse_newer(book, now)
        if now != target:
            config = alembic_config()
            config.attributes["connection"] = conn
            command.upgrade(config, target)


def alembic_config() -> Config:
    """Alembic's settings: the migrations lie inside the package."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


def _refuse_newer(book: Book, version: str | None) -> None:
    if version is not None and version > LATEST:
        place = book.database if book.is_sqlite else book.engine.url.render_as_string(hide_password=True)
        raise Refusal(
            str(place),
            f"written by a newer Dryside (schema {int(version)}, this one knows {int(LATEST)}); nothing was changed",
            "Update Dryside, or open a backup.",
        )


def _copy_database(book: Book, version: str) -> None:
    book.backups.mkdir(exist_ok=True)
    target = book.backups / f"book-schema-{version}.db"
    part = target.with_suffix(".part")
    part.unlink(missing_ok=True)
    with closing(sqlite3.connect(book.database)) as source, closing(sqlite3.connect(part)) as copy:
        source.backup(copy)
    part.replace(target)
