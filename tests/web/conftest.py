"""A made book, served."""

from __future__ import annotations

import shutil

import httpx
import pytest

from web.made_book import TODAY, make_book
from web.serving import served


@pytest.fixture(scope="session")
def template_book(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template")
    (folder / "files").mkdir()
    make_book(folder / "book", folder / "files")
    return folder / "book"


@pytest.fixture
def book_folder(template_book, tmp_path):
    shutil.copytree(template_book, tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture
def server(book_folder):
    with served(book_folder, today=TODAY) as found:
        yield found


@pytest.fixture(scope="module")
def reader(template_book):
    """A client of one server for all tests of a module that only look."""
    with (
        served(template_book, today=TODAY) as found,
        httpx.Client(base_url=found.address, follow_redirects=True) as client,
    ):
        yield client


@pytest.fixture
def person(server):
    """A client as a browser is one: it keeps its session and follows."""
    with httpx.Client(base_url=server.address, follow_redirects=True) as client:
        yield client
