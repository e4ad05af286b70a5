"""A made book and a browser for journeys; a module that needs others makes its own of the same name."""

from __future__ import annotations

import shutil

import pytest

from web.browsing import browser
from web.made_book import make_book


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("journey")
    (folder / "files").mkdir()
    make_book(folder / "book", folder / "files")
    return folder / "book"


@pytest.fixture
def folder(made, tmp_path):
    shutil.copytree(made, tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture(scope="module")
def chromium():
    with browser() as found:
        yield found
