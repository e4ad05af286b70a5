"""The plan as a mixed integer program: rows, columns and costs, solved to a proof by HiGHS through SciPy.

An order is one lab on one day. Its price is the larger of its rolls' sum and the lab's minimum, plus postage.
Everything is in whole smallest coins; nothing here knows what a roll or a lab is.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# What equal totals are told apart by, in coins: all of it together stays under half a coin, so it never buys anything.
_FEWER_ORDERS = 0.2
_SOONER = 0.2


@dataclass(frozen=True)
class OrderSlot:
    """An order that could be made: the lab's number, which of its days (0 the first), fees in coins."""

    lab: int
    turn: int
    minimum: int
    postage: int


@dataclass(frozen=True)
class Piece:
    """Something to be assigned whole to one slot.

    Attributes
    ----------
    offers : tuple of ((int, int) or None)
        For each slot price in coins and day on which it is ready (any counting of days); None where it cannot go. At
        one lab the price is the same on all days, and an earlier day is open where a later one is, and ready no later.
    apart : frozenset of str
        Pieces that share a word never share a slot.
    together : str or None
        Pieces of one such word go to one lab, on whatever days.
    """

    offers: tuple[tuple[int, int] | None, ...]
    apart: frozenset[str] = frozenset()
    together: str | None = None


@dataclass(frozen=True)
class Groups:
    """Pieces that are alike in everything, so that only their number matters."""

    kinds: tuple[Piece, ...]
    members: tuple[tuple[int, ...], ...]


@dataclass
class _Rows:
    """Rows of the constraint matrix, gathered one by one."""

    data: list[float] = field(default_factory=list)
    row: list[int] = field(default_factory=list)
    column: list[int] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: Sequence[tuple[int, float]], low: float, high: float) -> None:
        """Add low <= sum of coefficient x variable <= high."""
        number = len(self.low)
        for column, coefficient in terms:
            self.data.append(coefficient)
            self.row.append(number)
            self.column.append(column)
        self.low.append(low)
        self.high.append(high)


def grouped(pieces: Sequence[Piece]) -> Groups:
    """Put like pieces together, in the order in which the first of each kind stands."""
    members: dict[Piece, list[int]] = defaultdict(list)
    for number, piece in enumerate(pieces):
        members[piece].append(number)
    return Groups(tuple(members), tuple(tuple(one) for one in members.values()))


class PlanModel:
    """Variables: pieces of each kind in each slot; whether a slot is used; its top-up; labs used; kinds left out.

    The orders of a lab in `pooled` share one pool towards their minima, and what need not be kept apart stands on its
    first day whatever day it may go on: hardly larger than a program without days, and never dearer than what the
    orders really cost.
    """

    def __init__(
        self,
        groups: Groups,
        slots: tuple[OrderSlot, ...],
        max_labs: int | None,
        *,
        may_leave_out: bool = False,
        pooled: frozenset[int] = frozenset(),
    ):
        self.groups, self.slots, self.max_labs = groups, slots, max_labs
        self.may_leave_out, self.pooled = may_leave_out, pooled
        self.sizes = [len(one) for one in groups.members]
        self.placed = {
            (kind, slot): number
            for number, (kind, slot) in enumerate(
                (kind, slot)
                for kind, piece in enumerate(groups.kinds)
                for slot, offer in enumerate(piece.offers)
                if offer is not None and (not slots[slot].turn or piece.apart or slots[slot].lab not in pooled)
            )
        }
        count = len(self.placed)
        self.used = {slot: count + place for place, slot in enumerate(sorted({slot for _, slot in self.placed}))}
        count += len(self.used)
        pools = dict.fromkeys(self._pool(slot) for slot in self.used if slots[slot].minimum)
        self.topped = {pool: count + place for place, pool in enumerate(pools)}
        count += len(self.topped)
        self.lab = {lab: count + place for place, lab in enumerate(sorted({slots[s].lab for s in self.used}))}
        count += len(self.lab)
        homes = sorted({(piece.together, lab) for piece in groups.kinds if piece.together for lab in self.lab})
        self.home = {home: count + place for place, home in enumerate(homes)}
        count += len(self.home)
        self.left_out = {kind: count + kind for kind in range(len(groups.kinds))} if may_leave_out else {}
        self.count = count + len(self.left_out)

    def _pool(self, slot: int) -> tuple[int, ...]:
        """The slots whose prices together count towards their minima."""
        if self.slots[slot].lab not in self.pooled:
            return (slot,)
        return tuple(one for one in self.used if self.slots[one].lab == self.slots[slot].lab)

    def solve(self) -> dict[tuple[int, int], int] | None:
        """How many of each kind go in each slot; None if it cannot be done."""
        import numpy as np
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        rows = _Rows()
        self._rows_of_pieces(rows)
        self._rows_of_orders(rows)
        self._rows_of_labs(rows)
        integral = np.ones(self.count)
        integral[list(self.topped.values())] = 0
        matrix = csr_array((rows.data, (rows.row, rows.column)), shape=(len(rows.low), self.count))
        result: Any = milp(
            self._objective(),
            constraints=LinearConstraint(matrix, rows.low, rows.high),
            bounds=Bounds(np.zeros(self.count), self._upper_bounds()),
            integrality=integral,
            options={"mip_rel_gap": 0.0},
        )
        if result.status == 2:
            return None
        if result.status != 0:
            raise RuntimeError(f"the solver ended without a proof: {result.message}")
        placed = {key: round(result.x[number]) for key, number in self.placed.items()}
        return {key: count for key, count in placed.items() if count}

    def _objective(self) -> NDArray[np.float64]:
        import numpy as np

        cost = np.zeros(self.count)
        days = [offer[1] for piece in self.groups.kinds for offer in piece.offers if offer]
        first = min(days, default=0)
        span = max(1, max(days, default=0) - first) * max(1, sum(self.sizes))
        for (kind, slot), number in self.placed.items():
            offer = self.groups.kinds[kind].offers[slot]
            assert offer is not None
            cost[number] = offer[0] + _SOONER * (offer[1] - first) / span
        for slot, number in self.used.items():
            cost[number] = self.slots[slot].postage + _FEWER_ORDERS / len(self.slots)
        cost[list(self.topped.values())] = 1
        # Leaving one piece out costs more than any plan: then as few as can be are left out.
        dearest = sum(max((o[0] for o in piece.offers if o), default=0) * n for piece, n in self._kinds())
        fees = sum(self.slots[slot].minimum + self.slots[slot].postage for slot in self.used)
        cost[list(self.left_out.values())] = dearest + fees + 1
        return cost

    def _kinds(self) -> list[tuple[Piece, int]]:
        return list(zip(self.groups.kinds, self.sizes, strict=True))

    def _upper_bounds(self) -> NDArray[np.float64]:
        import numpy as np

        upper = np.ones(self.count)
        for (kind, _), number in self.placed.items():
            upper[number] = self.sizes[kind]
        for pool, number in self.topped.items():
            upper[number] = self.slots[pool[0]].minimum * len(pool)
        for kind, number in self.left_out.items():
            upper[number] = self.sizes[kind]
        return upper

    def _rows_of_pieces(self, rows: _Rows) -> None:
        """Each piece goes somewhere, only into orders that are made, apart where it must."""
        by_word: dict[tuple[str, int], list[int]] = defaultdict(list)
        in_kind: dict[int, list[int]] = defaultdict(list)
        for (kind, slot), number in self.placed.items():
            in_kind[kind].append(number)
            # At most one of a kind that is kept apart fits in an order: a tighter bound than its number.
            most = 1 if self.groups.kinds[kind].apart else self.sizes[kind]
            rows.add([(number, 1), (self.used[slot], -most)], -math.inf, 0)
            for word in self.groups.kinds[kind].apart:
                by_word[(word, slot)].append(number)
        for kind, size in enumerate(self.sizes):
            terms = [(number, 1.0) for number in in_kind[kind]]
            terms += [(self.left_out[kind], 1.0)] if self.may_leave_out else []
            rows.add(terms, size, size)
        for (_, slot), numbers in sorted(by_word.items()):
            rows.add([*((number, 1.0) for number in numbers), (self.used[slot], -1.0)], -math.inf, 0)

    def _rows_of_orders(self, rows: _Rows) -> None:
        """The top-up fills an order to its minimum; a lab's later days are used only after its earlier ones."""
        prices: dict[int, list[tuple[int, int, float]]] = defaultdict(list)
        for (kind, slot), number in self.placed.items():
            offer = self.groups.kinds[kind].offers[slot]
            assert offer is not None
            prices[slot].append((kind, number, offer[0]))
        for pool, number in self.topped.items():
            for place, slot in enumerate(pool):
                # Only what could be there on that day or later can fill the minima of that day and later ones.
                later = pool[place:]
                terms = [term for one in pool for term in self._prices_from(prices[one], one, later)]
                terms += [(self.used[one], -float(self.slots[slot].minimum)) for one in later]
                rows.add([*terms, (number, 1.0)], 0, math.inf)
        turns = {(self.slots[slot].lab, self.slots[slot].turn): slot for slot in self.used}
        for (lab, turn), slot in turns.items():
            earlier = turns.get((lab, turn - 1))
            if earlier is not None:
                rows.add([(self.used[slot], 1.0), (self.used[earlier], -1.0)], -math.inf, 0)

    def _prices_from(
        self, prices: list[tuple[int, int, float]], slot: int, later: tuple[int, ...]
    ) -> list[tuple[int, float]]:
        """Of the prices placed in a slot, those that could stand in one of the `later` ones of its pool."""
        if slot in later:
            return [(number, price) for _, number, price in prices]
        return [
            (number, price)
            for kind, number, price in prices
            if not self.groups.kinds[kind].apart and any(self.groups.kinds[kind].offers[one] for one in later)
        ]

    def _rows_of_labs(self, rows: _Rows) -> None:
        """A lab counts as used with its first order; what belongs together stays at one lab."""
        for slot, number in self.used.items():
            rows.add([(number, 1.0), (self.lab[self.slots[slot].lab], -1.0)], -math.inf, 0)
        if self.max_labs is not None:
            rows.add([(number, 1.0) for number in self.lab.values()], 0, self.max_labs)
        for (kind, slot), number in self.placed.items():
            word = self.groups.kinds[kind].together
            if word is not None:
                rows.add([(number, 1.0), (self.home[(word, self.slots[slot].lab)], -self.sizes[kind])], -math.inf, 0)
        for word in {word for word, _ in self.home}:
            rows.add([(self.home[(word, lab)], 1.0) for lab in self.lab], 0, 1)
