"""The journey of a roll: its places, which moves are possible, and how an impossible one is refused."""

from __future__ import annotations

from enum import StrEnum

from dryside.film.refusal import Refusal


class RollState(StrEnum):
    """Where a roll is on its journey; the values are what the book keeps and people read."""

    SHELF = "shelf"
    CAMERA = "camera"
    EXPOSED = "exposed"
    AT_LAB = "at the lab"
    SCANS_BACK = "scans back"  # and the negatives still at the lab
    NEGATIVES_BACK = "negatives back"
    SLEEVED = "sleeved"
    LOST = "lost"


S = RollState

# From: to. What a person does in life, including the ways back.
MOVES: dict[RollState, frozenset[RollState]] = {
    S.SHELF: frozenset({S.CAMERA, S.LOST}),
    S.CAMERA: frozenset({S.EXPOSED, S.SHELF, S.LOST}),  # unloaded unused
    S.EXPOSED: frozenset({S.AT_LAB, S.NEGATIVES_BACK, S.CAMERA, S.LOST}),  # developed at home; loaded a second time
    S.AT_LAB: frozenset({S.SCANS_BACK, S.NEGATIVES_BACK, S.EXPOSED, S.LOST}),  # came back undeveloped
    S.SCANS_BACK: frozenset({S.SCANS_BACK, S.NEGATIVES_BACK, S.LOST}),  # a second delivery
    S.NEGATIVES_BACK: frozenset({S.SLEEVED, S.SCANS_BACK, S.AT_LAB, S.LOST}),  # scans after negatives; scanned anew
    S.SLEEVED: frozenset({S.NEGATIVES_BACK, S.SCANS_BACK, S.AT_LAB, S.LOST}),
    S.LOST: frozenset({S.SHELF, S.CAMERA, S.EXPOSED, S.AT_LAB, S.SCANS_BACK, S.NEGATIVES_BACK}),  # found again
}

WAITING_FOR_NEGATIVES = (S.AT_LAB, S.SCANS_BACK)
"""Places from which negatives must still be fetched."""

_IN_WORDS = {
    S.SHELF: "on the shelf, unused",
    S.CAMERA: "in a camera",
    S.EXPOSED: "exposed and not yet at a lab",
    S.AT_LAB: "at the lab",
    S.SCANS_BACK: "at the lab, its scans are back",
    S.NEGATIVES_BACK: "back, its negatives not yet sleeved",
    S.SLEEVED: "sleeved",
    S.LOST: "lost",
}

_TO_DO = {
    S.SHELF: "It can only go into a camera.",
    S.CAMERA: "Finish it first: dryside roll finish.",
    S.EXPOSED: "Drop it off first: dryside dropoff.",
    S.AT_LAB: "Receive its scans or collect its negatives first.",
    S.SCANS_BACK: "Collect its negatives first: dryside collect.",
    S.NEGATIVES_BACK: "Sleeve it, or hand it in again.",
    S.SLEEVED: "Take it out of its page first: dryside sleeve.",
    S.LOST: "Say first where it was found: dryside roll move.",
}


def place_in_words(state: RollState) -> str:
    """Where the roll is, for a sentence that begins 'it is'."""
    return _IN_WORDS[state]


def state_after(state: RollState, to: RollState, *, thing: str = "roll") -> RollState:
    """The state a roll has after the move.

    It is `to`, except that scans which come when the negatives are already back change nothing of where the film is.

    Raises
    ------
    Refusal
        If no roll can go from `state` to `to`.
    """
    if to not in MOVES[state]:
        raise Refusal(thing, f"it is {place_in_words(state)}; it cannot go to '{to}' from there", _TO_DO[state])
    if to is S.SCANS_BACK and state in (S.NEGATIVES_BACK, S.SLEEVED):
        return state
    return to


def parse_state(text: str) -> RollState:
    """A state as typed, any case, `-` or `_` for a space.

    Raises
    ------
    Refusal
        If it is none.
    """
    folded = text.strip().lower().replace("-", " ").replace("_", " ")
    try:
        return RollState(folded)
    except ValueError as error:
        raise Refusal(text, "this is no place on a roll's journey", f"Use one of: {', '.join(RollState)}.") from error
