"""Names near a mistyped one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film.nearest import in_words, nearest_names


def test_the_likeliest_name_comes_first():
    assert nearest_names("monday", ["Sunday", "Monday", "Tuesday"], count=2) == ("Monday", "Sunday")


def test_ties_keep_the_order_given():
    assert nearest_names("zz", ["b", "a"], count=2) == ("b", "a")


def test_no_names_give_no_name():
    assert nearest_names("a", []) == ()


@given(st.text(max_size=8), st.lists(st.text(max_size=8), min_size=1, max_size=6))
def test_there_is_always_a_way_out(word, names):
    assert nearest_names(word, names)[0] in names


@given(st.lists(st.text("abc", min_size=1, max_size=5), min_size=1, max_size=6))
def test_a_name_is_nearest_to_itself(names):
    assert nearest_names(names[-1], names) == (names[-1],)


@pytest.mark.parametrize(("names", "words"), [([], ""), (["a"], "a"), (["a", "b"], "a or b"), ("abc", "a, b or c")])
def test_names_are_listed_as_a_sentence_lists_them(names, words):
    assert in_words(names) == words


def test_the_last_word_can_be_another():
    assert in_words(["fetch", "match"], last="and") == "fetch and match"
