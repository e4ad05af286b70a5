"""Two sequences paired in order: every way weighed, checked by counting them all."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.scans.order_in_time import pair_in_time


def brute_force(odds):
    """Probability of each pair over all rising and all falling pairings, by listing them."""
    n, m = odds.shape
    share, total = np.zeros((n, m)), 0.0
    for direction in (1, -1):
        for size in range(min(n, m) + 1):
            for rows in itertools.combinations(range(n), size):
                for columns in itertools.combinations(range(m), size):
                    pairs = list(zip(rows, columns[::direction], strict=True))
                    weight = math.exp(sum(odds[i, j] for i, j in pairs))
                    total += weight
                    for i, j in pairs:
                        share[i, j] += weight
    return share / total


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 4), st.integers(1, 4), st.integers(0, 10_000))
def test_probabilities_are_those_of_all_pairings_listed(n, m, seed):
    odds = np.random.default_rng(seed).uniform(-3, 2.5, (n, m))  # below 3 nothing is clear enough to give up the order
    assert pair_in_time(odds).share == pytest.approx(brute_force(odds), abs=1e-9)


def diagonal(n, m, places, strength=8.0):
    odds = np.full((n, m), -10.0)
    for i, j in places:
        odds[i, j] = strength
    return odds


def test_gaps_on_both_sides_are_no_trouble():
    found = pair_in_time(diagonal(6, 9, [(0, 1), (1, 2), (3, 5), (5, 8)]))
    assert [found.choice(i)[0] for i in range(6)] == [1, 2, None, 5, None, 8]
    assert not found.is_descending
    assert found.room(2) == [3, 4]


def test_a_falling_run_is_told():
    found = pair_in_time(diagonal(5, 5, [(i, 4 - i) for i in range(5)]))
    assert found.is_descending
    assert [found.choice(i)[0] for i in range(5)] == [4, 3, 2, 1, 0]


def test_of_two_shots_alike_the_one_in_order_is_taken():
    odds = diagonal(5, 6, [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4)])
    odds[2, 5] = 8.5  # a little likelier by its looks, but out of order
    found = pair_in_time(odds)
    assert found.choice(2)[0] == 2
    assert found.choice(2)[1] > 0.95


def test_shots_in_no_order_are_matched_by_looks_alone():
    places = list(enumerate([3, 7, 0, 5, 2, 6, 1, 4]))
    found = pair_in_time(diagonal(8, 8, places))
    assert not found.uses_order
    assert [found.choice(i)[0] for i in range(8)] == [j for _, j in places]


def test_what_cannot_be_told_is_none():
    odds = np.full((1, 2), 4.0)
    assert pair_in_time(odds).choice(0)[0] is None


def test_long_rolls_do_not_overflow():
    found = pair_in_time(diagonal(80, 120, [(i, i + 5) for i in range(80)], strength=12.0))
    assert all(found.choice(i)[0] == i + 5 for i in range(80))


def test_nothing_against_nothing():
    assert pair_in_time(np.zeros((0, 3))).share.shape == (0, 3)
    assert pair_in_time(np.zeros((2, 0))).choice(1) == (None, 1.0)
