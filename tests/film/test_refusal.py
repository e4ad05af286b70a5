"""How a refusal reads and what it carries."""

import pytest

from dryside.film.refusal import NotFound, Refusal, quoted


def test_a_refusal_is_one_line_of_thing_found_and_remedy():
    refusal = Refusal("rolls.csv, line 7", "push '+3/4' is neither thirds nor halves of a stop", "Write +2/3 or +1.")
    assert str(refusal) == "rolls.csv, line 7: push '+3/4' is neither thirds nor halves of a stop. Write +2/3 or +1."


def test_a_refusal_without_a_remedy_ends_with_its_full_stop():
    assert str(Refusal("shelf.csv", "it is empty")) == "shelf.csv: it is empty."


@pytest.mark.parametrize("found", ["nothing was changed.", "did you mean R-14?"])
def test_no_second_full_stop_is_set(found):
    assert str(Refusal("R-41", found)) == f"R-41: {found}"


def test_its_three_parts_are_there_for_programs():
    assert Refusal("a", "b", "c").as_dict() == {"thing": "a", "found": "b", "remedy": "c"}


def test_exit_statuses_tell_a_refusal_from_nothing_there():
    assert (Refusal("a", "b").exit_status, NotFound("a", "b").exit_status) == (2, 3)


def test_nothing_there_is_caught_where_refusals_are():
    with pytest.raises(Refusal, match="roll R-41: not in this book"):
        raise NotFound("roll R-41", "not in this book")


@pytest.mark.parametrize(
    ("text", "shown"),
    [("4R", "'4R'"), ("a\nb", r"'a\nb'"), ("", "''"), ("x" * 60, f"'{'x' * 60}'"), ("x" * 61, f"'{'x' * 59}…'")],
)
def test_what_was_typed_is_quoted_on_one_line_and_cut(text, shown):
    assert quoted(text) == shown
