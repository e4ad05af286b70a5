"""Fixtures for every room: an open, empty book on the database that the run names."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import uuid
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from dryside.book.folder import open_book

# No test asserts time, so neither does Hypothesis; in CI it draws the same cases each run, elsewhere it explores.
settings.register_profile(
    "house",
    deadline=None,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("house")

DATABASE = os.environ.get("DRYSIDE_TEST_DATABASE", "sqlite")


@pytest.fixture(scope="session")
def postgresql_server():
    """URL prefix of a throw-away PostgreSQL cluster on a socket in a temporary folder; one a worker."""
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    if not programs:
        message = "PostgreSQL is not installed (Debian's package: postgresql)"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    folder = Path(tempfile.mkdtemp(prefix="dryside-pg-"))
    run = _as_server_user(folder)
    bin_folder = programs[-1]
    run([bin_folder / "initdb", "-D", folder / "data", "-A", "trust", "-U", "tester", "-E", "UTF8", "--no-sync"])
    options = f"-k {folder} -c listen_addresses='' -c fsync=off -c full_page_writes=off -c max_connections=40"
    run([bin_folder / "pg_ctl", "-D", folder / "data", "-w", "-l", folder / "log", "-o", options, "start"])
    try:
        yield f"host={folder}"
    finally:
        run([bin_folder / "pg_ctl", "-D", folder / "data", "-m", "immediate", "stop"])
        shutil.rmtree(folder, ignore_errors=True)


def _as_server_user(folder):
    """A runner for the server's programs: they refuse root, so root becomes the user postgres."""
    account = {}
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        account = {"user": "postgres", "group": "postgres", "extra_groups": []}

    def run(command):
        with (folder / "output").open("ab") as output:
            subprocess.run(
                [str(part) for part in command], check=True, stdout=output, stderr=output, cwd=folder, **account
            )

    return run


@pytest.fixture
def postgresql_url(postgresql_server):
    """URL of a new, empty PostgreSQL database."""
    with _new_database(postgresql_server) as url:
        yield url


@pytest.fixture
def other_postgresql_url(postgresql_server):
    """URL of another one, for tests that move a book."""
    with _new_database(postgresql_server) as url:
        yield url


@contextmanager
def _new_database(postgresql_server):
    import psycopg

    name = f"book_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(f"{postgresql_server} user=tester dbname=postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield f"postgresql://tester@/{name}?{postgresql_server}"
    with psycopg.connect(f"{postgresql_server} user=tester dbname=postgres", autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def book_place(request, tmp_path):
    """(where, files) for `open_book` and the global options: a folder, or a PostgreSQL database by the run's switch."""
    if DATABASE == "postgresql":
        return request.getfixturevalue("postgresql_url"), tmp_path / "book"
    return str(tmp_path / "book"), None


@pytest.fixture
def book(book_place):
    """An open, empty book (SQLite; PostgreSQL when DRYSIDE_TEST_DATABASE=postgresql)."""
    where, files = book_place
    with open_book(where, files=files) as opened:
        yield opened
