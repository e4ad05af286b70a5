"""How the pages write what the book says."""

from __future__ import annotations

import pytest

from dryside.web import words


@pytest.mark.parametrize(
    ("given", "written"),
    [
        ("kept until 2026-08-18.", "kept until 18 August 2026."),
        ("2026-04-10 to 2026-04-18", "10 April 2026 to 18 April 2026"),
        ("order-2026-13-40.pdf, 815-2026-04-1, 12026-04-10", "order-2026-13-40.pdf, 815-2026-04-1, 12026-04-10"),
        (None, ""),
    ],
)
def test_days_in_sentences_are_written_in_words(given, written):
    assert words.dated(given) == written


def test_a_remedy_on_a_page_tells_no_command():
    remedy = "Finish it first: dryside roll finish. Or load another."
    assert words.without_commands(remedy) == "Or load another."
    assert words.without_commands("Write it like 3.") == "Write it like 3."


def test_what_is_counted_stands_in_its_number():
    said = [words.count(1, "order"), words.count(0, "order"), words.count(2, "copy", "copies")]
    assert said == ["1 order", "0 orders", "2 copies"]
    assert (words.month("2026-05"), words.month("Mill Bridge")) == ("May 2026", "Mill Bridge")
