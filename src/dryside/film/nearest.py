"""The likeliest names for one that was mistyped, for refusals that say what to write instead."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import SequenceMatcher

_LONGEST_NAME = 80  # no name here is longer; a pasted page must not be compared sign by sign


def nearest_names(word: str, names: Iterable[str], *, count: int = 1) -> tuple[str, ...]:
    """The names most like `word`, likeliest first; ties keep the order of `names`.

    Parameters
    ----------
    word : str
        What was typed. Case is ignored.
    names : iterable of str
        What could have been meant.
    count : int, optional
        How many to give at most, 1 or more.

    Returns
    -------
    tuple of str
        Never empty unless `names` is: a refusal should always show a way out.
    """
    wanted = word.casefold().strip()[:_LONGEST_NAME]
    scored = [
        (-SequenceMatcher(None, wanted, name.casefold()).ratio(), place, name) for place, name in enumerate(names)
    ]
    return tuple(name for _, _, name in sorted(scored)[:count])


def in_words(names: Iterable[str], *, last: str = "or") -> str:
    """The names as a sentence lists them: `a, b or c`."""
    listed = list(names)
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} {last} {listed[-1]}"
