"""Frame labels: the numbers along the film's edge and in a notebook, their order, and arithmetic along a strip.

135 film carries a number every half frame: `... X, XA, 00, 00A, 0, 0A, 1, 1A, 2 ...`, 19.0 mm apart. A camera's first
frame may lie anywhere against them, so a full frame may be called `11A` as well as `11`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import total_ordering
from itertools import pairwise

from dryside.film.formats import film_format
from dryside.film.perforations import HALF_FRAME_PITCH_MM
from dryside.film.refusal import Refusal, quoted

# Marks before frame 1, by the numbers the edge code gives them: S and X are 62, K and 00 are 63, F is 0 (wiki of an
# open bar code generator, read). The code counts modulo 64, which puts them at -2 and -1.
_NUMBER_OF_MARK = {"S": -2, "X": -2, "K": -1, "00": -1, "F": 0, "0": 0}
_MARK_OF_NUMBER = {-2: "X", -1: "00"}
_CODE_MODULUS = 64
LAST_NUMBER = 99
"""Largest number of a label; film prints at most to the sixties, counters and notebooks go on."""


@total_ordering
@dataclass(frozen=True)
class FrameLabel:
    """A label, comparable along the film.

    Attributes
    ----------
    number : int
        -2 (X), -1 (00), 0 and up.
    half : bool
        Whether it carries the A of the second half frame.
    """

    number: int
    half: bool = False

    def __post_init__(self) -> None:
        if not -2 <= self.number <= LAST_NUMBER:
            raise ValueError(f"number is {self.number}; it must be -2 (X), -1 (00) or 0 to {LAST_NUMBER}")

    @property
    def half_index(self) -> int:
        """Place along the film in half frames of 19.0 mm; label 0 is at 0, 1 at 2, 1A at 3, 00 at -2."""
        return 2 * self.number + int(self.half)

    @property
    def edge_number(self) -> int:
        """The number the edge code holds for it, 0 to 63."""
        return self.number % _CODE_MODULUS

    def __str__(self) -> str:
        return _MARK_OF_NUMBER.get(self.number, str(self.number)) + ("A" if self.half else "")

    def __lt__(self, other: FrameLabel) -> bool:
        return self.half_index < other.half_index


def parse_label(text: str) -> FrameLabel:
    """A label from what stands on film or in notes: `12`, `12a`, `#7`, `No. 3`, `00`, `x`, `→11A`, `5 A`.

    Raises
    ------
    Refusal
        If it is no label.
    """
    plain = re.sub(r"^(frame|fr|no|nr)?[\s.#№:→▷▶>]*", "", text.strip().lower()).upper().rstrip(" .):")
    matched = re.fullmatch(r"(0{0,4}[0-9]{1,2}|[SXKF])\s*(A?)", plain)
    if not matched:
        raise Refusal(f"frame {quoted(text)}", "not a frame label", "Write it as 12, 12A, 0 or 00.")
    mark, half = matched[1], matched[2] == "A"
    number = _NUMBER_OF_MARK[mark] if mark in _NUMBER_OF_MARK else int(mark)
    return FrameLabel(number, half)


def normalise_label(text: str) -> str:
    """One spelling for each place on the film: `s` and `X` are `X`, `K` is `00`, `F` is `0`, `07a` is `7A`.

    Raises
    ------
    Refusal
        If it is no label.
    """
    return str(parse_label(text))


def label_of_edge_number(frame: int, half: bool = False) -> FrameLabel:
    """The label of an edge code's frame number: 62 is X, 63 is 00.

    Raises
    ------
    ValueError
        If `frame` lies outside 0 to 63.
    """
    if not 0 <= frame < _CODE_MODULUS:
        raise ValueError(f"frame is {frame}; an edge code holds 0 to 63")
    return FrameLabel(frame - _CODE_MODULUS if frame >= _CODE_MODULUS - 2 else frame, half)


def label_at(half_index: int) -> FrameLabel:
    """The label at a place counted in half frames from label 0.

    Raises
    ------
    ValueError
        If the place lies before X or beyond 99A.
    """
    number, half = divmod(half_index, 2)
    return FrameLabel(number, half == 1)


def next_label(label: FrameLabel, *, half_frames: int = 2) -> FrameLabel:
    """The label so many half frames on: 2 from full frame to full frame, 1 between half frames.

    Raises
    ------
    ValueError
        If the film ends before it.
    """
    return label_at(label.half_index + half_frames)


def previous_label(label: FrameLabel, *, half_frames: int = 2) -> FrameLabel:
    """The label so many half frames back.

    Raises
    ------
    ValueError
        If the film begins after it.
    """
    return label_at(label.half_index - half_frames)


def labels_along(first: FrameLabel, count: int, *, format_key: str = "135") -> tuple[FrameLabel, ...]:
    """Labels of `count` frames one after the other along perforated film.

    Frames of a pitch that is no whole number of half frames (panoramic, 24x24) each take the label nearest to where
    they begin.

    Raises
    ------
    ValueError
        If the format has no edge numbers (`format_key` is not on 135 film), or the film ends before the last label.
    Refusal
        If there is no such format.
    """
    step = _step_half_frames(format_key)
    return tuple(label_at(first.half_index + int(i * step + 0.5)) for i in range(count))


def label_near(known: FrameLabel, distance_mm: float) -> FrameLabel:
    """The label nearest to a place so far along the film from a known one; below 0 is back towards the start.

    Raises
    ------
    ValueError
        If the film does not reach so far.
    """
    return label_at(known.half_index + int(-(-(distance_mm / HALF_FRAME_PITCH_MM - 0.5) // 1)))


def distance_mm(start: FrameLabel, end: FrameLabel) -> float:
    """Length of film from one label to another, below 0 where `end` comes first."""
    return (end.half_index - start.half_index) * HALF_FRAME_PITCH_MM


def frames_between(start: FrameLabel, end: FrameLabel, *, format_key: str = "135") -> float:
    """How many frames of a format lie between two labels; a whole number where both can be labels of the same roll.

    Raises
    ------
    ValueError
        If the format has no edge numbers.
    Refusal
        If there is no such format.
    """
    return (end.half_index - start.half_index) / _step_half_frames(format_key)


def sequence_step(labels: list[FrameLabel]) -> int | None:
    """The constant step of a run of labels in half frames, below 0 for a strip read backwards; None if mixed."""
    steps = {b.half_index - a.half_index for a, b in pairwise(labels)}
    return steps.pop() if len(steps) == 1 and steps != {0} else None


def _step_half_frames(format_key: str) -> float:
    chosen = film_format(format_key)
    if not chosen.is_perforated:
        raise ValueError(f"format_key is {format_key}; only 135 film carries numbers every half frame")
    return chosen.usual_pitch_mm / HALF_FRAME_PITCH_MM
