"""Pair two sequences in order, with gaps on both sides: every way to do so weighed, both directions, or no order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dryside.scans.match_odds import settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pairing:
    """Probabilities of pairs, shape (scans, shots), and the order they were found in.

    `uses_order` is false where the clear pairs do not run together: then each stands by itself.
    """

    share: Floats
    is_descending: bool
    uses_order: bool

    def choice(self, i: int) -> tuple[int | None, float]:
        """The shot of scan `i` and its probability, or None and the probability that it has none."""
        if self.share.shape[1] == 0:
            return None, 1.0
        j = int(self.share[i].argmax())
        best = float(self.share[i, j])
        if best >= settings()["order"]["least"]:
            return j, min(best, 1.0)
        return None, min(max(0.0, 1.0 - float(self.share[i].sum())), 1.0)

    def room(self, i: int) -> list[int]:
        """Shots that scan `i` could still have, between those of its neighbours."""
        n, m = self.share.shape
        chosen = {k: j for k in range(n) if (j := self.choice(k)[0]) is not None}
        free = [j for j in range(m) if j not in set(chosen.values())]
        if not self.uses_order:
            return free
        before = [j for k, j in chosen.items() if k < i]
        after = [j for k, j in chosen.items() if k > i]
        if self.is_descending:
            before, after = after, before
        low = max(before, default=-1)
        high = min(after, default=m)
        return [j for j in free if low < j < high]


def pair_in_time(odds: Floats) -> Pairing:
    """Weigh all pairings.

    Parameters
    ----------
    odds : ndarray of shape (scans, shots)
        Log odds that a scan and a shot show the same.
    """
    n, m = odds.shape
    if n == 0 or m == 0:
        return Pairing(np.zeros((n, m)), False, True)
    rising, falling = _runs(odds)
    strong = max(len(_strong_pairs(odds)), 1)
    if strong >= 4 and max(rising, falling) < settings()["order"]["in_order"] * strong:
        return Pairing(_without_order(odds), falling > rising, False)
    ahead, ahead_total = _in_order(odds)
    back, back_total = _in_order(odds[:, ::-1])
    top = max(ahead_total, back_total)
    weights = np.exp(np.array([float(ahead_total - top), float(back_total - top)]))
    weights /= weights.sum()
    share = weights[0] * ahead + weights[1] * back[:, ::-1]
    return Pairing(share, bool(weights[1] > weights[0]), True)


def _in_order(odds: Floats) -> tuple[Floats, np.longdouble]:
    """Probability of each pair over all rising pairings, and the log of their total weight.

    The table Z(i, j) of all pairings of the first i and j is Z(i-1, j) + Z(i, j-1) - Z(i-1, j-1) + w Z(i-1, j-1): each
    pairing is counted once. Long doubles hold products of some hundred weights.
    """
    weight = np.exp(odds.astype(np.longdouble))
    forward = _totals(weight)
    backward = _totals(weight[::-1, ::-1])[::-1, ::-1]
    total = forward[-1, -1]
    share = forward[:-1, :-1] * weight * backward[1:, 1:] / total
    return np.asarray(share, float), np.log(total)


def _totals(weight: NDArray[np.longdouble]) -> NDArray[np.longdouble]:
    n, m = weight.shape
    table = np.ones((n + 1, m + 1), np.longdouble)
    for i in range(n):
        for j in range(m):
            table[i + 1, j + 1] = table[i, j + 1] + table[i + 1, j] + (weight[i, j] - 1) * table[i, j]
    return table


def _without_order(odds: Floats) -> Floats:
    """Each pair against all others of its scan and of its shot and against none."""
    weight = np.exp(odds)
    rest = weight.sum(axis=1, keepdims=True) + weight.sum(axis=0, keepdims=True) - weight
    return np.asarray(weight / (1.0 + rest))


def _strong_pairs(odds: Floats) -> list[tuple[int, int]]:
    """Pairs that are clear by themselves, and the best of both their scan and their shot."""
    best = odds.argmax(axis=1)
    back = odds.argmax(axis=0)
    strong = settings()["order"]["strong"]
    return [(i, int(j)) for i, j in enumerate(best) if odds[i, j] >= strong and back[j] == i]


def _runs(odds: Floats) -> tuple[int, int]:
    """Most strong pairs that rise together, and that fall together."""
    places = [j for _, j in _strong_pairs(odds)]
    return _longest_rise(places), _longest_rise([-j for j in places])


def _longest_rise(values: list[int]) -> int:
    best = [1] * len(values)
    for i, value in enumerate(values):
        best[i] = 1 + max((best[k] for k in range(i) if values[k] < value), default=0)
    return max(best, default=0)
