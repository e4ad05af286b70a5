"""A loose strip out of a shoebox: which roll it belongs to, and where, from one capture of it.

Two witnesses are heard. The film's edge tells the stock (its DX number) and the numbers of the frames; the pictures
tell which frames of the book show the same. Edge codes alone never settle it, since every roll of a stock carries the
same: they raise or lower what the pictures say, and they choose where to look first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dryside.film.frame_labels import normalise_label
from dryside.film.refusal import Refusal
from dryside.negatives.likeness import Likeness, View, compare, mirrored, see, shared_points
from dryside.sleeves.glance import Glance, likeliest

if TYPE_CHECKING:
    from numpy.typing import NDArray

SURE = 0.8
"""Confidence from which a strip is said to belong to a roll; below it is asked."""
DOUBTFUL = 0.35
"""Confidence below which a strip is said to belong to no roll."""
COMPARED_PER_FRAME = 24
"""Pictures of the book that each frame is compared with: those most like it at a glance."""
COMPARED_IN_FULL = 8
"""Of these, how many are compared in full: those with the most points in common."""
_CODES_ALONE = 0.3
_STOCK_DIFFERS = 0.5
_LABEL_DIFFERS = 0.85


@dataclass(frozen=True, eq=False)
class LooseFrame:
    """A frame of the loose strip: the label on its edge, if it was read, and its positive as 8-bit RGB."""

    label: str | None
    positive: NDArray[np.uint8]


@dataclass(frozen=True)
class LooseStrip:
    """What the capture shows: frames in order along the film, and the DX number on its edge (`115-4`), if read."""

    frames: tuple[LooseFrame, ...]
    stock_number: str | None


@dataclass(frozen=True)
class BookFrame:
    """A frame of the book: where it is, and a glance at its picture (None: it has none)."""

    frame_id: int
    roll_id: int
    position: int
    label: str
    picture: Path | None
    glance: Glance | None


@dataclass(frozen=True)
class BookRoll:
    """A roll of the book, as far as a strip can tell it: its code and its stock's DX number, if known."""

    roll_id: int
    code: str
    stock_number: str | None


@dataclass(frozen=True)
class Guess:
    """A roll that the strip may belong to.

    Attributes
    ----------
    roll_id, code : int, str
        The roll.
    confidence : float
        0 to 1.
    labels : tuple of str or None
        The roll's own label for each frame of the strip; None where the log has no such frame.
    matched : int
        Frames of the strip whose pictures were recognised.
    reasons : tuple of str
        What speaks for it and against it.
    """

    roll_id: int
    code: str
    confidence: float
    labels: tuple[str | None, ...]
    matched: int
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class _Match:
    """A frame of the strip recognised in the book."""

    index: int
    frame: BookFrame
    strength: float


def place_strip(
    strip: LooseStrip,
    rolls: Sequence[BookRoll],
    frames: Sequence[BookFrame],
    look: Callable[[Path], NDArray[np.uint8] | None],
    step: Callable[[], None] = lambda: None,
) -> list[Guess]:
    """Rolls that a strip may belong to, the likeliest first.

    Parameters
    ----------
    strip : LooseStrip
        What was found in the capture.
    rolls, frames : sequences
        Of the book.
    look : callable
        Reads a picture as 8-bit RGB; None where it cannot be read.
    step : callable, optional
        Called after each frame of the strip.

    Raises
    ------
    Refusal
        If the strip has no frames.
    """
    if not strip.frames:
        raise Refusal("loose strip", "no frame was found on it", "Capture it with its edges in view.")
    matches: list[_Match] = []
    views: dict[int, View | None] = {}
    for index, frame in enumerate(strip.frames):
        matches += _recognise(index, frame, strip, rolls, frames, look, views)
        step()
    by_roll: dict[int, list[_Match]] = {}
    for match in matches:
        by_roll.setdefault(match.frame.roll_id, []).append(match)
    known = {roll.roll_id: roll for roll in rolls}
    guesses = [_judge(known[roll_id], found, strip, frames) for roll_id, found in by_roll.items()]
    guesses += _by_codes_alone(strip, [roll for roll in rolls if roll.roll_id not in by_roll], frames)
    return sorted(guesses, key=lambda guess: (-guess.confidence, -guess.matched, guess.code))


def _recognise(
    index: int,
    frame: LooseFrame,
    strip: LooseStrip,
    rolls: Sequence[BookRoll],
    frames: Sequence[BookFrame],
    look: Callable[[Path], NDArray[np.uint8] | None],
    views: dict[int, View | None],
) -> list[_Match]:
    """Frames of the book that show the same as a frame of the strip."""
    seen = []
    for candidate in _candidates(frame, strip, rolls, frames):
        if candidate.frame_id not in views:
            picture = look(candidate.picture) if candidate.picture else None
            views[candidate.frame_id] = None if picture is None else see(picture)
        if (there := views[candidate.frame_id]) is not None:
            seen.append((candidate, there))
    if not seen:
        return []
    here = see(frame.positive)
    ways = (here, mirrored(here))
    # Points in common, without geometry, tell which few are worth the full comparison, and which way round.
    shared = shared_points(ways, [there for _, there in seen])
    found = []
    for place in np.argsort(-shared.max(axis=0), kind="stable")[:COMPARED_IN_FULL]:
        candidate, there = seen[place]
        over = int(shared[:, place].argmax())
        if (strength := strength_of(compare(ways[over], there, is_mirrored=bool(over)))) > 0:
            found.append(_Match(index, candidate, strength))
    return found


def strength_of(likeness: Likeness) -> float:
    """How surely two pictures show the same, 0 to 1: by the points one map explains and the parts that agree."""
    if not likeness:
        return 0.0
    points = min(1.0, (likeness.points - 5) / 25)
    agreeing = min(1.0, max(0.0, (likeness.agreeing - 0.25) / 0.5))
    return points**0.5 * agreeing


def _candidates(
    frame: LooseFrame, strip: LooseStrip, rolls: Sequence[BookRoll], frames: Sequence[BookFrame]
) -> list[BookFrame]:
    """Pictures worth comparing: those most like it at a glance, and frames of that label on rolls of that stock."""
    from dryside.sleeves.glance import glance_at

    own = glance_at(frame.positive)
    pictured = [one for one in frames if one.glance is not None]
    best = likeliest(own, [one.glance for one in pictured if one.glance is not None], most=COMPARED_PER_FRAME)
    chosen = {pictured[place].frame_id: pictured[place] for place in best}
    if frame.label and strip.stock_number:
        same_stock = {roll.roll_id for roll in rolls if roll.stock_number == strip.stock_number}
        label = normalise_label(frame.label)
        for one in pictured:
            if one.roll_id in same_stock and one.label == label and len(chosen) < 2 * COMPARED_PER_FRAME:
                chosen.setdefault(one.frame_id, one)
    return list(chosen.values())


def _judge(roll: BookRoll, matches: Sequence[_Match], strip: LooseStrip, frames: Sequence[BookFrame]) -> Guess:
    """Confidence that the strip is of this roll: matches that lie as the strip's frames lie, and what the edge says."""
    line = _best_line(matches)
    step, start, agreeing = line
    doubt = 1.0
    for match in agreeing:
        doubt *= 1 - 0.97 * match.strength
    confidence = 1 - doubt
    of_roll = {one.position: one for one in frames if one.roll_id == roll.roll_id}
    places = [of_roll.get(start + step * index) for index in range(len(strip.frames))]
    labels = tuple(place.label if place else None for place in places)
    reasons = [f"{len(agreeing)} of {len(strip.frames)} frames show what frames of this roll show"]
    factor, more = _edge_says(roll, strip, labels)
    return Guess(
        roll.roll_id, roll.code, round(min(confidence * factor, 0.999), 3), labels, len(agreeing), (*reasons, *more)
    )


def _best_line(matches: Sequence[_Match]) -> tuple[int, int, list[_Match]]:
    """Which way the strip lies along the roll (1 or -1), where its first frame is, and the matches that agree."""
    lines: dict[tuple[int, int], dict[int, _Match]] = {}
    for match in matches:
        for step in (1, -1):
            on_line = lines.setdefault((step, match.frame.position - step * match.index), {})
            known = on_line.get(match.index)
            on_line[match.index] = match if known is None or match.strength > known.strength else known

    def worth(item: tuple[tuple[int, int], dict[int, _Match]]) -> tuple[float, int]:
        return sum(match.strength for match in item[1].values()), item[0][0]

    (step, start), found = max(lines.items(), key=worth)
    return step, start, list(found.values())


def _edge_says(roll: BookRoll, strip: LooseStrip, labels: Sequence[str | None]) -> tuple[float, list[str]]:
    """What the film's edge adds or takes away."""
    factor, reasons = 1.0, []
    if strip.stock_number and roll.stock_number:
        if strip.stock_number == roll.stock_number:
            reasons.append(f"the edge code {strip.stock_number} is that of the roll's stock")
        else:
            factor *= _STOCK_DIFFERS
            reasons.append(
                f"against it: the edge code is {strip.stock_number}, the roll's stock has {roll.stock_number}"
            )
    read = [
        (normalise_label(frame.label), label) for frame, label in zip(strip.frames, labels, strict=True) if frame.label
    ]
    told = [(here, there) for here, there in read if there is not None]
    if told and all(here == there for here, there in told):
        reasons.append("the numbers on the edge are those of the log")
    elif told:
        factor *= _LABEL_DIFFERS
        reasons.append(f"the edge says {told[0][0]} where the log says {told[0][1]}")
    return factor, reasons


def _by_codes_alone(strip: LooseStrip, rolls: Sequence[BookRoll], frames: Sequence[BookFrame]) -> list[Guess]:
    """Rolls of the strip's stock that have its frame numbers and no picture that could tell: few make a weak guess."""
    labels = tuple(normalise_label(frame.label) if frame.label else None for frame in strip.frames)
    wanted = {label for label in labels if label}
    if strip.stock_number is None or not wanted:
        return []
    of_roll: dict[int, dict[str, BookFrame]] = {}
    for one in frames:
        of_roll.setdefault(one.roll_id, {})[one.label] = one
    fitting = []
    for roll in rolls:
        known = of_roll.get(roll.roll_id, {})
        unseen = known and all(label in known and known[label].glance is None for label in wanted)
        if roll.stock_number == strip.stock_number and unseen:
            fitting.append(roll)
    reason = f"only the edge tells: {strip.stock_number}, frames {', '.join(label for label in labels if label)}"
    return [
        Guess(roll.roll_id, roll.code, round(_CODES_ALONE / len(fitting), 3), labels, 0, (reason,)) for roll in fitting
    ]


def verdict(guesses: Sequence[Guess]) -> str:
    """'found', 'asked' or 'none': whether the likeliest roll is sure, wants a person's word, or is none.

    A second roll nearly as likely makes the first doubtful, however sure its own pictures are; not so one that shows
    only half as many of the strip's frames or fewer, as a roll of the same place does.
    """
    if not guesses or guesses[0].confidence < DOUBTFUL:
        return "none"
    best, others = guesses[0], guesses[1:]
    rivals = [one for one in others if one.confidence >= 0.6 * best.confidence and 2 * one.matched > best.matched]
    return "found" if best.confidence >= SURE and not rivals else "asked"


def by_label(guess: Guess, strip: LooseStrip) -> Mapping[int, str]:
    """The roll's label of each frame of the strip that has one, by its place on the strip from 0."""
    return {index: label for index, label in enumerate(guess.labels[: len(strip.frames)]) if label is not None}
