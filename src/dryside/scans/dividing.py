"""Two rolls numbered on in one run: where one ends and the next begins.

Names say nothing where a lab counts from 1 to 72. What is left is how many pictures each roll waited for should have,
their shape and colour, and what happens between two files: an empty picture of the leader, a label, a pause of the
scanner, another size, another look. All ways to divide the run are weighed together, so a place that could as well be
another comes out unsure by itself, and is asked.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dryside.scans.which_roll import EXTRA_FRAMES, RollWaited

SURE_FROM = 0.9
_COSTS = {
    "cut": -6.0,  # a lab that numbers two rolls on in one run is rare
    "frame_more": -2.0,  # a picture beyond those logged
    "frame_less": -2.5,  # a logged one that did not come
    "none_of_them": -9.0,  # pictures that no roll waited for can be
    "shape_each": -1.5,  # a picture that has not the shape of the roll's frames
    "grey_each": -0.8,  # a grey picture of a colour film
    "colour_each": -0.5,  # a coloured one of a film without colour
    "shot_each": -2.0,  # a picture whose phone shot was made in another roll's time
}
_MOST_COUNT, _MOST_SHAPE, _MOST_COLOUR, _MOST_SHOTS = -9.0, -12.0, -6.0, -10.0
_TOO_LONG = -30.0  # more pictures than the film holds
_USUAL_HOLDS = 36
_SIGNS = {"label": 7.0, "blank": 2.0, "pause": 4.0, "size": 4.5, "colour": 4.5}
_MOST_LOOK = 3.0
_NEVER = -1e9
_NEXT_TO_IT = 12  # files on either side that tell another look
# How many frames more than stand on the box a roll of 135 gives, in parts (common practice; from 3 on it is rare).
_NOMINAL = {-1: 0.05, 0: 0.35, 1: 0.30, 2: 0.20, 3: 0.08}


@dataclass(frozen=True)
class FileSeen:
    """What dividing knows of a file.

    Attributes
    ----------
    aspect : float
        Long side over short side.
    size : tuple of int
        Longer and shorter side in pixels.
    is_grey, is_blank : bool
        No colour; nothing exposed.
    tone : tuple of float
        Numbers that a roll's pictures share more than those of two rolls do: neutral (CIELAB a*, b*), black level.
    scanned_s : float or None
        When it was scanned, seconds.
    has_label : bool
        Whether a roll's QR label is in the picture.
    roll : str or None
        The roll in whose time its phone shot was made.
    """

    aspect: float
    size: tuple[int, int]
    is_grey: bool = False
    is_blank: bool = False
    tone: tuple[float, ...] = ()
    scanned_s: float | None = None
    has_label: bool = False
    roll: str | None = None


@dataclass(frozen=True)
class Division:
    """Where parts begin (the first at 0), how sure that is, and what spoke for it, by names of `which_roll.SAYS`."""

    starts: tuple[int, ...] = (0,)
    confidence: float = 1.0
    reasons: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether it need not be asked."""
        return self.confidence >= SURE_FROM


def divide(files: Sequence[FileSeen], rolls: Sequence[RollWaited]) -> Division:
    """Divide a run of files among the rolls waited for.

    Parameters
    ----------
    files : sequence of FileSeen
        In the order of the delivery.
    rolls : sequence of RollWaited
        What may be in it; with fewer than two nothing is divided.

    Returns
    -------
    Division
        One part where nothing speaks for more.
    """
    if len(rolls) < 2 or len(files) < 4:
        return Division()
    parts = _part_scores(files, rolls)
    signs = _signs(files)
    bonus = np.array([sum(found.values()) for found in signs]) + _COSTS["cut"]
    bonus[[one.is_blank for one in files]] = _NEVER  # what is empty between two rolls goes with the one before
    bonus[0] = 0.0
    total, best, starts = _best_way(parts, bonus)
    if len(starts) == 1:
        return Division((0,), math.exp(best - total))
    reasons = [name for start in starts[1:] for name, value in signs[start].items() if value > 0]
    reasons += _of_parts(files, rolls, starts)
    return Division(
        starts, round(math.exp(best - total), 4), tuple(f"divided_by_{name}" for name in dict.fromkeys(reasons))
    )


def _best_way(parts: np.ndarray, bonus: np.ndarray) -> tuple[float, float, tuple[int, ...]]:
    """Log weight of all ways to divide, that of the best, and where its parts begin."""
    count = len(bonus)
    all_ways, top, came = np.zeros(count + 1), np.zeros(count + 1), np.zeros(count + 1, int)
    for end in range(1, count + 1):
        begin = np.arange(end)
        step = parts[begin, end] + bonus[begin]
        all_ways[end] = np.logaddexp.reduce(all_ways[:end] + step)
        came[end] = int((top[:end] + step).argmax())
        top[end] = top[came[end]] + step[came[end]]
    starts, place = [], count
    while place:
        place = int(came[place])
        starts.append(place)
    return float(all_ways[count]), float(top[count]), tuple(reversed(starts))


def _part_scores(files: Sequence[FileSeen], rolls: Sequence[RollWaited]) -> np.ndarray:
    """How well files begin..end - 1 are a roll, for every two places: the log of the mean over the rolls."""
    count = len(files)
    blank_before = np.cumsum([0, *(one.is_blank for one in files)])
    begin, end = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
    length = np.maximum(end - begin, 0)
    pictures = length - (blank_before[end] - blank_before[begin])
    scores = [_COSTS["none_of_them"] + _TOO_LONG * (length > _USUAL_HOLDS + EXTRA_FRAMES)]
    for roll in rolls:
        each = _each(files, roll)
        of_files = sum(np.maximum(sums[end] - sums[begin], most) for sums, most in each)
        scores.append(_counted(length, pictures, roll) + of_files)
    out = np.logaddexp.reduce(scores, axis=0) - math.log(len(rolls))
    return np.asarray(np.where(end > begin, out, _NEVER))


def _each(files: Sequence[FileSeen], roll: RollWaited) -> list[tuple[np.ndarray, float]]:
    """Running sums of what each file says against a roll, and the most it may say."""
    shape = [_COSTS["shape_each"] * (not _fits(one.aspect, roll.aspect)) for one in files]
    name = "colour_each" if roll.is_bw else "grey_each"
    colour = [_COSTS[name] * (not one.is_blank and one.is_grey != roll.is_bw) for one in files]
    shots = [_COSTS["shot_each"] * (one.roll is not None and one.roll != roll.code) for one in files]
    limits = (_MOST_SHAPE, _MOST_COLOUR, _MOST_SHOTS)
    return [(np.cumsum([0.0, *values]), most) for values, most in zip((shape, colour, shots), limits, strict=True)]


def _fits(aspect: float, wanted: float) -> bool:
    """The shape of one frame, or of two side by side."""
    return any(abs(aspect / shape - 1) <= 0.12 for shape in (wanted, max(2 / wanted, wanted / 2)))


def _counted(length: np.ndarray, pictures: np.ndarray, roll: RollWaited) -> np.ndarray:
    """What the number of pictures says of a roll; empty ones may count or not, and half frames lie two to a file."""
    too_long = _TOO_LONG * (length > max(roll.frames or 0, roll.holds or _USUAL_HOLDS) + EXTRA_FRAMES)
    return np.asarray(_as_expected(length, pictures, roll) + too_long)


def _as_expected(length: np.ndarray, pictures: np.ndarray, roll: RollWaited) -> np.ndarray:
    if roll.frames is None:
        return np.full(length.shape, -3.0)
    if not roll.is_logged:
        more = length - roll.frames
        table = {extra: math.log(share) for extra, share in _NOMINAL.items()}
        return np.asarray(np.vectorize(lambda extra: table.get(int(extra), max(_MOST_COUNT, -3.0 - abs(extra))))(more))
    ways = [length, pictures, *([2 * length, 2 * length - 1] if roll.aspect < 1.42 else [])]
    cost = [
        np.where(n >= roll.frames, _COSTS["frame_more"], _COSTS["frame_less"]) * np.abs(n - roll.frames) for n in ways
    ]
    return np.asarray(np.maximum(np.max(cost, axis=0), _MOST_COUNT))


def _signs(files: Sequence[FileSeen]) -> list[dict[str, float]]:
    """What speaks for a new roll before each file."""
    pauses = _pauses([one.scanned_s for one in files])
    out: list[dict[str, float]] = [{}]
    for k in range(1, len(files)):
        found = {"label": _SIGNS["label"]} if files[k].has_label else {}
        if files[k - 1].is_blank:
            found["blank"] = _SIGNS["blank"]
        if k in pauses:
            found["pause"] = _SIGNS["pause"]
        before, after = files[max(0, k - _NEXT_TO_IT) : k], files[k : k + _NEXT_TO_IT]
        if _changes([one.size for one in before], [one.size for one in after]):
            found["size"] = _SIGNS["size"]
        grey = [[one.is_grey for one in side if not one.is_blank] for side in (before, after)]
        if _changes(*grey):
            found["colour"] = _SIGNS["colour"]
        look = _other_look(before, after)
        if look > 0:
            found["look"] = look
        out.append(found)
    return out


def _pauses(times: Sequence[float | None]) -> set[int]:
    """Places before which the scanner stood still far longer than usual."""
    if any(value is None for value in times):
        return set()
    known = [float(value) for value in times if value is not None]
    steps = [abs(b - a) for a, b in pairwise(known)]
    usual = statistics.quantiles(steps, n=10)[-1] if len(steps) > 1 else 0.0
    return {k + 1 for k, step in enumerate(steps) if step > max(60.0, 4 * usual)}


def _changes(before: Sequence[object], after: Sequence[object]) -> bool:
    """Whether something is the same in all files on each side, and not what it is on the other side."""
    kinds = set(before), set(after)
    return len(before) >= 3 <= len(after) and len(kinds[0]) == len(kinds[1]) == 1 and kinds[0] != kinds[1]


def _other_look(before: Sequence[FileSeen], after: Sequence[FileSeen]) -> float:
    """How much likelier two looks are than one, by the means of tones on either side; subjects come in series too."""
    a, b = ([one.tone for one in side if not one.is_blank] for side in (before, after))
    if len(a) < 6 or len(b) < 6 or not a[0]:
        return 0.0
    first, second = np.array(a), np.array(b)
    spread = np.sqrt((first.var(axis=0) + second.var(axis=0)) / 2) + 1.0
    apart = (first.mean(axis=0) - second.mean(axis=0)) / spread
    # A fifth of the weight that independent pictures would have: neighbours on a film are alike.
    weight = 0.2 * len(a) * len(b) / (len(a) + len(b)) * float((apart**2).sum()) / 2
    return float(min(_MOST_LOOK, max(0.0, weight - 1.0)))


def _of_parts(files: Sequence[FileSeen], rolls: Sequence[RollWaited], starts: Sequence[int]) -> list[str]:
    """What the parts as a whole say: their counts and shapes."""
    bounds = [*starts, len(files)]
    parts = [files[a:b] for a, b in pairwise(bounds)]
    out = []
    expected = {roll.frames for roll in rolls}
    if all(len(part) in expected or sum(not one.is_blank for one in part) in expected for part in parts):
        out.append("count")
    aspects = [statistics.median(one.aspect for one in part) for part in parts]
    if any(abs(a / b - 1) > 0.12 for a, b in pairwise(aspects)):
        out.append("shape")
    return out
