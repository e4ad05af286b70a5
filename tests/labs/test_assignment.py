"""The solver's plan against trying out everything, and its laws."""

from __future__ import annotations

import itertools
import random
from collections import defaultdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.labs.assignment import (
    OrderSlot,
    Piece,
    assignment_of,
    cheapest,
    tradeoff,
    turns_needed,
)
from dryside.labs.assignment_model import PlanModel, grouped


def every_assignment(pieces, slots, *, max_labs=None):
    """Price and ready day of each allowed way, by trying all: nothing of the solver's is used."""
    for chosen in itertools.product(range(len(slots)), repeat=len(pieces)):
        offers = [piece.offers[slot] for piece, slot in zip(pieces, chosen, strict=True)]
        if None in offers:
            continue
        if any(
            one.apart & other.apart and chosen[i] == chosen[j]
            for (i, one), (j, other) in itertools.combinations(enumerate(pieces), 2)
        ):
            continue
        homes = defaultdict(set)
        for piece, slot in zip(pieces, chosen, strict=True):
            homes[piece.together].add(slots[slot].lab)
        if any(word is not None and len(labs) > 1 for word, labs in homes.items()):
            continue
        if max_labs is not None and len({slots[slot].lab for slot in chosen}) > max_labs:
            continue
        cost = 0
        for slot in set(chosen):
            price = sum(offer[0] for offer, where in zip(offers, chosen, strict=True) if where == slot)
            cost += max(price, slots[slot].minimum) + slots[slot].postage
        yield cost, max(offer[1] for offer in offers)


def best_of_all(pieces, slots, **limits):
    """The (cost, ready) pairs that no other beats, cheapest first."""
    pairs = sorted(set(every_assignment(pieces, slots, **limits)))
    kept = []
    for cost, ready in pairs:
        if not kept or ready < kept[-1][1]:
            kept.append((cost, ready))
    return kept


@st.composite
def problems(draw):
    """Up to 5 pieces, up to 3 labs on up to 2 days, with every kind of constraint now and then."""
    rnd = random.Random(draw(st.integers(0, 2**32)))
    labs = rnd.randint(1, 3)
    turns = rnd.choice([1, 1, 2])
    slots = []
    for lab in range(labs):
        minimum, postage = rnd.choice([0, 0, 900, 2000]), rnd.choice([0, 0, 150, 450])
        slots += [OrderSlot(lab, turn, minimum, postage) for turn in range(turns)]
    few_prices = rnd.random() < 0.5  # many ties
    pieces = []
    for _ in range(rnd.randint(1, 5)):
        offers = []
        latest = rnd.choice([99, 99, 4])
        for _ in range(labs):
            takes, days = rnd.random() < 0.8, rnd.randint(0, 5)
            price = rnd.choice([500, 700]) if few_prices else rnd.randint(0, 1500)
            offers += [(price, days + turn) if takes and days + turn <= latest else None for turn in range(turns)]
        apart = frozenset(word for word in "wv" if rnd.random() < 0.2) if turns == 2 else frozenset()
        pieces.append(Piece(tuple(offers), apart, rnd.choice([None, None, None, "Ilse"])))
    return pieces, slots, rnd.choice([None, None, 1, 2])


@pytest.mark.slow
@settings(max_examples=2000)
@given(problems())
def test_the_tradeoff_is_that_of_trying_out_everything(problem):
    pieces, slots, max_labs = problem
    found = tradeoff(pieces, slots, max_labs=max_labs)
    assert [(plan.cost, plan.ready) for plan in found] == best_of_all(pieces, slots, max_labs=max_labs)


@pytest.mark.slow
@settings(max_examples=300)
@given(problems())
def test_as_few_as_can_be_are_left_out_and_of_those_plans_the_cheapest_is_taken(problem):
    pieces, slots, max_labs = problem
    found = cheapest(pieces, slots, max_labs=max_labs, may_leave_out=True)
    left_out = sum(slot is None for slot in found.slots)
    for size in range(len(pieces), -1, -1):
        costs = [
            cost
            for kept in itertools.combinations(pieces, size)
            for cost, _ in (every_assignment(kept, slots, max_labs=max_labs) if kept else [(0, 0)])
        ]
        if costs:
            assert (left_out, found.cost) == (len(pieces) - size, min(costs))
            return


@settings(max_examples=100)
@given(problems())
def test_the_price_told_is_that_of_the_slots_told(problem):
    pieces, slots, max_labs = problem
    for plan in tradeoff(pieces, slots, max_labs=max_labs):
        again = assignment_of(plan.slots, pieces, slots)
        assert (again.cost, again.ready) == (plan.cost, plan.ready)


@pytest.mark.slow
@settings(max_examples=40)
@given(st.integers(0, 2**32))
def test_the_bound_by_pooled_minima_changes_no_price(seed):
    """Too many pieces to try all ways: the whole program, solved at once, is the reference here."""
    rnd = random.Random(seed)
    slots = [
        OrderSlot(lab, turn, minimum, postage)
        for lab, (minimum, postage) in enumerate((rnd.choice([0, 1500, 3000]), rnd.choice([0, 300])) for _ in range(3))
        for turn in range(3)
    ]
    pieces = []
    for number in range(14):
        offers = []
        for _ in range(3):
            price, days, latest = rnd.randint(400, 1500), rnd.randint(0, 4), rnd.choice([99, 99, 4])
            offers += [(price, days + turn) if days + turn <= latest else None for turn in range(3)]
        pieces.append(Piece(tuple(offers), frozenset({"wedding"} if number < 3 else ())))
    groups = grouped(pieces)
    counts = PlanModel(groups, tuple(slots), None).solve()
    found = cheapest(pieces, slots)
    if counts is None:
        assert found is None
        return
    chosen = [None] * len(pieces)
    for (kind, slot), count in counts.items():
        for member in [one for one in groups.members[kind] if chosen[one] is None][:count]:
            chosen[member] = slot
    assert found.cost == assignment_of(chosen, pieces, slots).cost


def test_brute_force_would_notice_a_forgotten_minimum():
    pieces = [Piece(((500, 1), (600, 1)))]
    slots = [OrderSlot(0, 0, 900, 0), OrderSlot(1, 0, 0, 0)]
    assert best_of_all(pieces, slots) == [(600, 1)]
    assert cheapest(pieces, slots).slots == (1,)


def test_greedy_is_not_enough_two_rolls_fill_a_minimum_together():
    # Each alone is cheaper at the second lab (900 against 1000 topped up); together they fill the first lab's minimum.
    pieces = [Piece(((500, 1), (900, 1))), Piece(((500, 1), (900, 1)))]
    slots = [OrderSlot(0, 0, 1000, 0), OrderSlot(1, 0, 0, 0)]
    plan = cheapest(pieces, slots)
    assert (plan.slots, plan.cost) == ((0, 0), 1000)


def test_rolls_kept_apart_go_on_two_days_or_to_two_labs():
    apart = frozenset({"wedding"})
    slots = [OrderSlot(0, 0, 0, 300), OrderSlot(0, 1, 0, 300), OrderSlot(1, 0, 0, 300)]
    pieces = [Piece(((700, 1), (700, 2), (800, 3)), apart)] * 2
    assert [(plan.cost, plan.ready) for plan in tradeoff(pieces, slots)] == [(2000, 2)]
    dear_postage = [OrderSlot(0, 0, 0, 300), OrderSlot(0, 1, 0, 300), OrderSlot(1, 0, 0, 100)]
    assert cheapest(pieces, dear_postage).cost == 700 + 300 + 800 + 100


def test_nothing_to_send_is_an_empty_plan_and_the_impossible_is_none():
    assert cheapest([], []).cost == 0
    assert cheapest([Piece((None,))], [OrderSlot(0, 0, 0, 0)]) is None
    assert tradeoff([Piece((None,))], [OrderSlot(0, 0, 0, 0)]) == ()


def test_a_slot_that_is_not_offered_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="slot 0 is not offered"):
        assignment_of([0], [Piece((None,))], [OrderSlot(0, 0, 0, 0)])


def test_of_equal_totals_the_plan_with_fewer_orders_is_taken():
    pieces = [Piece(((500, 1), (500, 1)))] * 4
    slots = [OrderSlot(0, 0, 0, 0), OrderSlot(1, 0, 0, 0)]
    assert len(set(cheapest(pieces, slots).slots)) == 1


def test_the_same_problem_gives_the_same_plan_each_time():
    rnd = random.Random(4)
    pieces = [Piece(tuple((rnd.choice([500, 700]), rnd.randint(1, 3)) for _ in range(4))) for _ in range(30)]
    slots = [OrderSlot(lab, 0, 2000, 300) for lab in range(4)]
    assert tradeoff(pieces, slots) == tradeoff(pieces, slots)


# Pairs that must stay apart, and the orders of one lab each pair of which can hold such a pair: k (k - 1) / 2.
@pytest.mark.parametrize(("conflicts", "orders"), [(0, 1), (1, 2), (2, 2), (3, 3), (5, 3), (6, 4), (10, 5)])
def test_no_more_orders_at_a_lab_than_conflicts_can_part(conflicts, orders):
    assert turns_needed(conflicts) == orders
