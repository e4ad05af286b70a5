"""Which roll a group of files is: what speaks for each candidate, weighed, and the assignment of groups to rolls."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

WEIGHTS = {
    "named_by_hand": 20.0,  # the person said so
    "code_in_name": 9.0,  # the roll's own code or second name in a file or folder name
    "label_in_picture": 9.0,  # its QR label photographed with the film
    "lab_number_in_name": 7.0,  # the twin-check or the lab's own number of the order's line
    "only_roll": 3.0,  # no other roll is waited for
    "count_agrees": 2.0,  # as many pictures as were logged
    "count_near": 0.5,  # within the extra frames a roll can have
    "count_differs": -3.0,
    "shape_differs": -6.0,  # the pictures have not the shape of the roll's frames
    "colour_on_bw": -1.5,
    "grey_on_colour": -2.5,
    "shots_agree": 8.0,  # phone shots made beside its frames show the same views
}
NONE_OF_THEM = 1.0
SURE_FROM = 0.9
EXTRA_FRAMES = 3
_MOST_PERMUTED = 6


@dataclass(frozen=True)
class RollWaited:
    """What is known of a roll that may be in the delivery.

    `names` are its code and other names, `lab_numbers` the lab's for it, `frames` how many pictures it should have
    (None if unknown), `aspect` its frames' long over short side, `is_bw` whether its process gives no colour.
    """

    code: str
    names: tuple[str, ...] = ()
    lab_numbers: tuple[str, ...] = ()
    frames: int | None = None
    aspect: float = 1.5
    is_bw: bool = False


@dataclass(frozen=True)
class GroupSeen:
    """What is known of a group of files: words of its names, texts of codes in its pictures, count, shapes, colour.

    `shots` are the codes of rolls whose phone shots match some of its pictures.
    """

    words: tuple[str, ...]
    count: int
    aspect: float
    is_grey: bool
    labels: tuple[str, ...] = ()
    shots: tuple[str, ...] = ()
    by_hand: str | None = None


@dataclass(frozen=True)
class RollGuess:
    """The roll of a group (None: none of those waited for), how sure, what spoke, and the other candidates."""

    code: str | None
    confidence: float
    sure: bool
    reasons: tuple[str, ...]
    others: tuple[str, ...]


def reasons_for(group: GroupSeen, roll: RollWaited, *, alone: bool) -> list[str]:
    """Names of `WEIGHTS` that hold for a group and a roll."""
    out = []
    words = [_plain(word) for word in group.words]
    if group.by_hand == roll.code:
        out.append("named_by_hand")
    if any(_holds(word, _plain(name)) for name in (roll.code, *roll.names) for word in words):
        out.append("code_in_name")
    if any(_plain(roll.code) in _plain(label) for label in group.labels):
        out.append("label_in_picture")
    if any(_holds_number(word, number) for number in roll.lab_numbers for word in group.words):
        out.append("lab_number_in_name")
    if alone:
        out.append("only_roll")
    if roll.frames is not None:
        extra = group.count - roll.frames
        near = -2 <= extra <= EXTRA_FRAMES or group.count * 2 in (roll.frames, roll.frames + 1)
        out.append("count_agrees" if extra == 0 else "count_near" if near else "count_differs")
    if abs(group.aspect / roll.aspect - 1) > 0.12 and abs(group.aspect / _two_abreast(roll.aspect) - 1) > 0.12:
        out.append("shape_differs")
    if group.is_grey and not roll.is_bw:
        out.append("grey_on_colour")
    if not group.is_grey and roll.is_bw:
        out.append("colour_on_bw")
    if roll.code in group.shots:
        out.append("shots_agree")
    return out


def assign_rolls(groups: Sequence[GroupSeen], rolls: Sequence[RollWaited]) -> list[RollGuess]:
    """Give each group a roll of its own, or none, by the sum of what speaks.

    Confidence is that of the best assignment against all others that give the group another roll.
    """
    reasons = [[reasons_for(g, r, alone=len(rolls) == 1 == len(groups)) for r in rolls] for g in groups]
    score = [[sum(WEIGHTS[name] for name in cell) for cell in row] for row in reasons]
    choices = _assignments(score, len(rolls))
    total = _log_sum([weight for weight, _ in choices])
    best = max(choices, key=lambda choice: choice[0])[1]
    out = []
    for g, place in enumerate(best):
        share = math.exp(_log_sum([w for w, choice in choices if choice[g] == place]) - total)
        code = rolls[place].code if place is not None else None
        others = sorted((k for k in range(len(rolls)) if k != place), key=lambda k: -score[g][k])
        named = tuple(reasons[g][place]) if place is not None else ("no_roll_fits",)
        out.append(
            RollGuess(code, round(share, 4), share >= SURE_FROM, named, tuple(rolls[k].code for k in others[:5]))
        )
    return out


def _assignments(score: Sequence[Sequence[float]], count: int) -> list[tuple[float, tuple[int | None, ...]]]:
    """All ways to give the groups rolls of their own, weighed; with many groups each is judged by itself."""
    groups = len(score)
    options: list[int | None] = [*range(count), *([None] * groups)]
    if groups * count > _MOST_PERMUTED * 4 or groups > 3:
        return _greedy(score, count)
    found = {}
    for choice in permutations(options, groups):
        found[choice] = sum(NONE_OF_THEM if k is None else score[g][k] for g, k in enumerate(choice))
    return [(weight, choice) for choice, weight in found.items()]


def _greedy(score: Sequence[Sequence[float]], count: int) -> list[tuple[float, tuple[int | None, ...]]]:
    """The optimal assignment, and every change of one group in it as the alternatives."""
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    groups = len(score)
    table = np.full((groups, count + groups), NONE_OF_THEM)
    table[:, :count] = np.asarray(score, dtype=float).reshape(groups, count)
    _, columns = linear_sum_assignment(-table)
    best: list[int | None] = [int(k) if k < count else None for k in columns]
    total = float(sum(table[g, k] for g, k in enumerate(columns)))
    out = [(total, tuple(best))]
    for g in range(groups):
        for k in (*range(count), None):
            if k == best[g]:
                continue
            changed = [*best]
            changed[g] = k
            other = best.index(k) if k is not None and k in best else None
            if other is not None:
                changed[other] = best[g]
            weight = sum(NONE_OF_THEM if c is None else score[i][c] for i, c in enumerate(changed))
            out.append((float(weight), tuple(changed)))
    return out


def _log_sum(values: Sequence[float]) -> float:
    top = max(values)
    return top + math.log(sum(math.exp(value - top) for value in values))


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "", text).upper().replace("O", "0").replace("I", "1")


def _holds(word: str, name: str) -> bool:
    return len(name) >= 3 and name in word


def _holds_number(word: str, number: str) -> bool:
    """A lab's number (`815`, `2207-1`) as a number of its own, leading zeros aside, not inside a longer one."""
    wanted, parts = _number_parts(number), _number_parts(word)
    places = range(len(parts) - len(wanted) + 1)
    return any(wanted) and any(parts[k : k + len(wanted)] == wanted for k in places)


def _number_parts(text: str) -> list[str]:
    return [part.lstrip("0").casefold() for part in re.split(r"[\W_]+", text.strip())]


def _two_abreast(aspect: float) -> float:
    """Shape of a file that shows two half frames side by side."""
    return max(2 / aspect, aspect / 2)
