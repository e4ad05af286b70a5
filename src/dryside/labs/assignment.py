"""The plan as whole numbers: which roll goes in which order at least cost, proved optimal.

The mixed integer program stands in `assignment_model`; here it is asked for one plan, for the whole trade-off, and
(where rolls must be kept apart) first in a smaller form.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

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
    if not may_leave_out and any(not any(piece.offers) for piece in pieces):
        return None
    if not pieces:
        return Assignment((), 0, 0)
    if not may_leave_out and any(slot.turn for slot in slots):
        bound = _solved(_first_turns_only(pieces, slots), slots, max_labs, pooled=True)
        if bound is None:
            return None
        plan = _share_out(bound, pieces, slots)
        if plan is not None:
            return plan
    chosen = _solved(pieces, slots, max_labs, may_leave_out=may_leave_out)
    return None if chosen is None else assignment_of(chosen, pieces, slots)


def tradeoff(
    pieces: Sequence[Piece], slots: Sequence[OrderSlot], *, max_labs: int | None = None
) -> tuple[Assignment, ...]:
    """Every assignment of all pieces that no other beats on both price and the day all is ready; cheapest first.

    Each round forbids what would be ready as late as the last plan found, until nothing is left: so each price on the
    way is the least for its day, and none is skipped.
    """
    found: list[Assignment] = []
    ready_by: int | None = None
    while (plan := cheapest(pieces, slots, ready_by=ready_by, max_labs=max_labs)) is not None:
        if found and plan.cost == found[-1].cost:
            found.pop()  # the same price, sooner
        found.append(plan)
        if not pieces:
            break
        ready_by = plan.ready - 1
    return tuple(found)


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
    pooled: bool = False,
) -> list[int | None] | None:
    groups = grouped(pieces)
    model = PlanModel(groups, tuple(slots), max_labs, may_leave_out=may_leave_out, pooled=pooled)
    counts = model.solve()
    return None if counts is None else _expand(groups, counts, len(pieces), len(slots))


def _first_turns_only(pieces: Sequence[Piece], slots: Sequence[OrderSlot]) -> list[Piece]:
    """What need not be kept apart goes on each lab's first day: then the program is hardly larger than without days."""
    return [
        piece
        if piece.apart
        else replace(
            piece, offers=tuple(None if slot.turn else offer for offer, slot in zip(piece.offers, slots, strict=True))
        )
        for piece in pieces
    ]


def _share_out(chosen: Sequence[int | None], pieces: Sequence[Piece], slots: Sequence[OrderSlot]) -> Assignment | None:
    """Spread each lab's pieces over its orders so that the minima are met together; None if that costs more.

    `chosen` was found as if a lab's orders could share one pool towards their minima, so it costs no more than the best
    plan. Where the pieces can really be spread so, the plan reached is the best.
    """
    by_lab: dict[int, list[int]] = defaultdict(list)
    turns: dict[int, set[int]] = defaultdict(set)
    for number, slot in enumerate(chosen):
        assert slot is not None
        by_lab[slots[slot].lab].append(number)
        turns[slots[slot].lab].add(slot)
    final = list(chosen)
    for lab, used in turns.items():
        minimum = slots[min(used)].minimum
        if len(used) == 1 or not minimum:
            continue
        members = by_lab[lab]
        kept = [
            replace(pieces[one], together=None, offers=tuple(
                offer if slot in used else None for slot, offer in enumerate(pieces[one].offers)
            ))
            for one in members
        ]  # fmt: skip
        spread = _solved(kept, slots, None)
        if spread is None:
            return None
        price = sum(offer[0] for one in members if (offer := pieces[one].offers[chosen[one] or 0]) is not None)
        fees = len(used) * slots[min(used)].postage
        if assignment_of(spread, kept, slots).cost > max(price, len(used) * minimum) + fees:
            return None
        for one, slot in zip(members, spread, strict=True):
            final[one] = slot
    return assignment_of(final, pieces, slots)


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
