"""Fixtures of the command line's tests."""

import pytest

from cli.running import Command


@pytest.fixture
def dryside(capsys, book_place):
    """`dryside(...)` on a book of its own."""
    return Command(capsys, *book_place)
