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
    "as_many_rolls": 2.0,  # as many groups of files as rolls that are waited for
    "count_agrees": 2.0,  # as many pictures as were logged
    "count_near": 0.5,  # within the extra frames a roll can have
    "count_differs": -3.0,
    "shape_differs": -6.0,  # the pictures have not the shape of the roll's frames
    "colour_on_bw": -1.5,
    "grey_on_colour": -2.5,
    "grey_agrees": 1.5,  # no colour, as its film has none
    "shots_agree": 8.0,  # phone shots made beside its frames show the same views
}
SAYS = {
    "named_by_hand": "you said so",
    "code_in_name": "its code or name is in the file names",
    "label_in_picture": "its label is in a picture",
    "lab_number_in_name": "the lab's number for it is in the file names",
    "only_roll": "no other roll is waited for",
    "as_many_rolls": "as many groups of files as rolls that are waited for",
    "grey_agrees": "pictures without colour, as its film has none",
    "count_agrees": "as many pictures as it has",
    "count_near": "about as many pictures as it has",
    "count_differs": "not as many pictures as it has",
    "shape_differs": "the pictures have not the shape of its frames",
    "colour_on_bw": "coloured pictures, and its film has no colour",
    "grey_on_colour": "pictures without colour, and its film has colour",
    "shots_agree": "phone shots of its days show the same",
    "no_roll_fits": "no roll that is waited for fits",
    "divided_by_label": "one run of files, divided where a roll's label is in the picture",
    "divided_by_blank": "one run of files, divided after an empty picture",
    "divided_by_pause": "one run of files, divided where the scanner paused",
    "divided_by_size": "one run of files, divided where the pictures' size changes",
    "divided_by_look": "one run of files, divided where the look of the pictures changes",
    "divided_by_count": "one run of files, divided so that each part has as many pictures as a roll",
    "divided_by_shape": "one run of files, divided where the shape of the pictures changes",
    "divided_by_colour": "one run of files, divided where colour ends or begins",
    "divided_unsure": "where the one roll ends and the next begins is not sure",
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
    `is_logged` says that `frames` were noted one by one, and are not what stands on the box, which is `holds`.
    """

    code: str
    names: tuple[str, ...] = ()
    lab_numbers: tuple[str, ...] = ()
    frames: int | None = None
    aspect: float = 1.5
    is_bw: bool = False
    is_logged: bool = False
    holds: int | None = None


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


def reasons_for(group: GroupSeen, roll: RollWaited, *, alone: bool, as_many: bool = False) -> list[str]:
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
    if as_many:
        out.append("as_many_rolls")
    if roll.frames is not None:
        extra = group.count - roll.frames
        near = -2 <= extra <= EXTRA_FRAMES or group.count * 2 in (roll.frames, roll.frames + 1)
        out.append("count_agrees" if extra == 0 else "count_near" if near else "count_differs")
    if abs(group.aspect / roll.aspect - 1) > 0.12 and abs(group.aspect / _two_abreast(roll.aspect) - 1) > 0.12:
        out.append("shape_differs")
    if group.is_grey and not roll.is_bw:
        out.append("grey_on_colour")
    if roll.is_bw:
        out.append("grey_agrees" if group.is_grey else "colour_on_bw")
    if roll.code in group.shots:
        out.append("shots_agree")
    return out


def assign_rolls(groups: Sequence[GroupSeen], rolls: Sequence[RollWaited]) -> list[RollGuess]:
    """Give each group a roll of its own, or none, by the sum of what speaks.

    Confidence is that of the best assignment against all others that give the group another roll.
    """
    alone, as_many = len(rolls) == 1 == len(groups), len(rolls) == len(groups) > 1
    reasons = [[reasons_for(g, r, alone=alone, as_many=as_many) for r in rolls] for g in groups]
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
