"""The plan as whole numbers: which roll goes in which order at least cost, proved optimal.

The mixed integer program stands in `assignment_model`; here it is asked for one plan, for the whole trade-off, and
(where rolls must be kept apart) first in a smaller form.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from dryside.labs.assignment_model import Groups, OrderSlot, Piece, PlanModel, grouped

__all__ = ["Assignment", "OrderSlot", "Piece", "assignment_of", "cheapest", "tradeoff", "turns_needed"]


@dataclass(frozen=True)
class Assignment:
    """A plan: the slot of each piece (None where it is left out), its price in coins, the day all is ready."""

    slots: tuple[int | None, ...]
    cost: int
    ready: int


def turns_needed(conflicts: int) -> int:
    """How many orders at one lab can ever be of use, from the number of pairs of pieces that must stay apart.

    Two orders of one lab that hold no such pair are better sent as one: it is ready no later and pays one postage and
    one minimum. So each pair of useful orders holds a conflict of its own: k orders need k (k - 1) / 2 conflicts.
    """
    return (1 + math.isqrt(1 + 8 * conflicts)) // 2


def cheapest(
    pieces: Sequence[Piece],
    slots: Sequence[OrderSlot],
    *,
    ready_by: int | None = None,
    max_labs: int | None = None,
    may_leave_out: bool = False,
) -> Assignment | None:
    """The cheapest assignment of all pieces; None if there is none.

    Parameters
    ----------
    ready_by : int, optional
        Only offers ready on or before this day.
    max_labs : int, optional
        How many labs may be used, 1 or more.
    may_leave_out : bool, optional
        Leave as few pieces out as must be, and of those assignments take the cheapest.

    Raises
    ------
    RuntimeError
        If the solver ends without a proof.
    """
    pieces = [_in_time(piece, ready_by) for piece in pieces]
    if not pieces:
        return Assignment((), 0, 0)
    if may_leave_out:
        chosen = _solved(pieces, slots, max_labs, may_leave_out=True)
        return None if chosen is None else assignment_of(chosen, pieces, slots)
    return _cheapest_of_all(pieces, slots, max_labs, _labs_with_days(slots))


def tradeoff(
    pieces: Sequence[Piece], slots: Sequence[OrderSlot], *, max_labs: int | None = None
) -> tuple[Assignment, ...]:
    """Every assignment of all pieces that no other beats on both price and the day all is ready; cheapest first.

    Each round forbids what would be ready as late as the last plan found, until nothing is left: so each price on the
    way is the least for its day, and none is skipped.
    """
    found: list[Assignment] = []
    ready_by: int | None = None
    pooled = _labs_with_days(slots)
    while pieces:
        in_time = [_in_time(piece, ready_by) for piece in pieces]
        plan = _cheapest_of_all(in_time, slots, max_labs, pooled)
        if plan is None:
            break
        if found and plan.cost == found[-1].cost:
            found.pop()  # the same price, sooner
        found.append(plan)
        ready_by = plan.ready - 1
    return tuple(found)


def _cheapest_of_all(
    pieces: Sequence[Piece], slots: Sequence[OrderSlot], max_labs: int | None, pooled: set[int]
) -> Assignment | None:
    """The cheapest assignment of all pieces, by bounds that come ever nearer.

    The orders of the labs in `pooled` share their minima, so the program is small and its cost a lower bound. Where the
    pieces of such a lab cannot really be spread over its orders at that cost, the lab leaves `pooled` (and stays out:
    the next question is much the same) and the program is solved again.
    """
    if any(not any(piece.offers) for piece in pieces):
        return None
    while True:
        chosen = _solved(pieces, slots, max_labs, pooled=pooled)
        if chosen is None:
            return None
        spread, failing = _share_out(chosen, pieces, slots, pooled)
        if not failing:
            return assignment_of(spread, pieces, slots)
        pooled -= failing


def _labs_with_days(slots: Sequence[OrderSlot]) -> set[int]:
    return {slot.lab for slot in slots if slot.turn}


def _in_time(piece: Piece, ready_by: int | None) -> Piece:
    if ready_by is None:
        return piece
    offers = tuple(offer if offer and offer[1] <= ready_by else None for offer in piece.offers)
    return Piece(offers, piece.apart, piece.together)


def _solved(
    pieces: Sequence[Piece],
    slots: Sequence[OrderSlot],
    max_labs: int | None,
    *,
    may_leave_out: bool = False,
    pooled: Collection[int] = (),
) -> list[int | None] | None:
    groups = grouped(pieces)
    model = PlanModel(groups, tuple(slots), max_labs, may_leave_out=may_leave_out, pooled=frozenset(pooled))
    counts = model.solve()
    return None if counts is None else _expand(groups, counts, len(pieces), len(slots))


def _share_out(
    chosen: Sequence[int | None], pieces: Sequence[Piece], slots: Sequence[OrderSlot], pooled: Collection[int]
) -> tuple[list[int | None], set[int]]:
    """Spread the pieces of each pooled lab over its orders; also name the labs where that costs more than reckoned."""
    by_lab: dict[int, list[int]] = defaultdict(list)
    turns: dict[int, set[int]] = defaultdict(set)
    for number, slot in enumerate(chosen):
        assert slot is not None
        by_lab[slots[slot].lab].append(number)
        turns[slots[slot].lab].add(slot)
    final, failing = list(chosen), set()
    for lab in sorted(set(pooled) & set(turns)):
        used = sorted(turns[lab], key=lambda slot: slots[slot].turn)
        if len(used) == 1 or not slots[used[0]].minimum:
            continue
        members = [_only_in(pieces[one], used) for one in by_lab[lab]]
        spread = _solved(members, slots, None)
        if spread is None or assignment_of(spread, members, slots).cost > _pooled_cost(members, used, slots):
            failing.add(lab)
            continue
        for one, slot in zip(by_lab[lab], spread, strict=True):
            final[one] = slot
    return final, failing


def _only_in(piece: Piece, used: Sequence[int]) -> Piece:
    return Piece(tuple(offer if slot in used else None for slot, offer in enumerate(piece.offers)), piece.apart)


def _pooled_cost(members: Sequence[Piece], used: Sequence[int], slots: Sequence[OrderSlot]) -> int:
    """What the pieces of one lab cost where its orders share their minima, as the program reckons it."""
    prices = [next(offer[0] for offer in piece.offers if offer) for piece in members]
    minimum, postage = slots[used[0]].minimum, slots[used[0]].postage
    short = [0]
    for place in range(len(used)):
        later = used[place:]
        there = sum(price for price, one in zip(prices, members, strict=True) if any(one.offers[s] for s in later))
        short.append(minimum * len(later) - there)
    return sum(prices) + max(short) + postage * len(used)


def _expand(groups: Groups, counts: dict[tuple[int, int], int], pieces: int, slots: int) -> list[int | None]:
    """Name the pieces again: of each kind the first go in the first slot."""
    chosen: list[int | None] = [None] * pieces
    for kind, members in enumerate(groups.members):
        waiting = iter(members)
        for slot in range(slots):
            for _ in range(counts.get((kind, slot), 0)):
                chosen[next(waiting)] = slot
    return chosen


def assignment_of(chosen: Sequence[int | None], pieces: Sequence[Piece], slots: Sequence[OrderSlot]) -> Assignment:
    """Price and day of a given choice of slots, which must be offered.

    Raises
    ------
    ValueError
        If a piece stands in a slot that it has no offer for.
    """
    sums: dict[int, int] = defaultdict(int)
    ready = []
    for piece, slot in zip(pieces, chosen, strict=True):
        if slot is None:
            continue
        offer = piece.offers[slot]
        if offer is None:
            raise ValueError(f"slot {slot} is not offered to this piece")
        sums[slot] += offer[0]
        ready.append(offer[1])
    cost = sum(max(price, slots[slot].minimum) + slots[slot].postage for slot, price in sums.items())
    return Assignment(tuple(chosen), cost, max(ready, default=0))
