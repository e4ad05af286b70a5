"""What the names of a delivery say: the pattern all of them share, the frame number in each, and where rolls divide.

A pattern is never read from one name. `000612-07.jpg` may be frame 7 of roll 612 or frame 612 of roll 7; only the whole
set shows which number runs and which stays.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

_TOKEN = re.compile(r"\d+[A-Za-z]?(?![A-Za-z])|\d+|[^\d]+")
_LONG_DIGITS = 7  # a longer run of digits is an order or roll number with the frame number at its end
_TAIL_DIGITS = {8: 2, 7: 2, 10: 3, 9: 3}  # of how many of its last digits; 4 for what is longer
_LABEL = re.compile(r"^(\d+)([A-Za-z]?)$")
HIGHEST_FRAME = 99


@dataclass(frozen=True)
class NameNumber:
    """A frame number as it stands in a name: its value, as written (`00`, `07`, `12A`), and a second one of a pair."""

    value: int
    written: str
    second: int | None = None

    @property
    def label(self) -> str:
        """The label it would have on the film's edge: `00` and `0` stay, `07` is 7, `0007` is 7."""
        digits, letter = re.match(r"(\d+)([A-Za-z]?)", self.written).groups()  # type: ignore[union-attr]
        if set(digits) == {"0"}:
            return ("00" if digits == "00" and not letter else "0") + letter.upper()
        return digits.lstrip("0") + letter.upper()


@dataclass(frozen=True)
class Numbering:
    """What a set of names says.

    Attributes
    ----------
    pattern : str
        The names with `#` for the number that runs, `*` for parts that differ; '' where there is none.
    numbers : tuple of NameNumber or None
        Per name, in the order given.
    missing : tuple of int
        Numbers left out between the first and the last.
    is_run : bool
        Whether the numbers rise one by one but for `missing`.
    is_paired : bool
        Whether each name holds two frame numbers (half frames side by side in one file).
    """

    pattern: str
    numbers: tuple[NameNumber | None, ...]
    missing: tuple[int, ...] = ()
    is_run: bool = False
    is_paired: bool = False


@dataclass(frozen=True)
class NameGroup:
    """Files that belong together by folder and by the parts of the name that stay: likely one roll.

    `members` are places in the list that was grouped; `words` are the parts that stay, for finding a roll's number.
    """

    members: tuple[int, ...]
    words: tuple[str, ...]


def tokens_of(stem: str) -> tuple[str, ...]:
    """A name cut into runs of digits (with one letter, as in 12A) and what lies between; long runs are cut again."""
    out: list[str] = []
    for token in _TOKEN.findall(stem):
        digits = re.match(r"\d*", token)
        width = len(digits.group()) if digits else 0
        if width >= _LONG_DIGITS:
            tail = _TAIL_DIGITS.get(width, 4)
            out += [token[: width - tail], "", token[width - tail :]]
        else:
            out.append(token)
    return tuple(out)


def shape_of(tokens: Sequence[str]) -> tuple[str, ...]:
    """`#` for numbers; text by itself."""
    return tuple("#" if _is_number(token) else token.casefold() for token in tokens)


def read_numbering(stems: Sequence[str]) -> Numbering:
    """Infer the running number from a whole set of names (without folder and ending).

    Parameters
    ----------
    stems : sequence of str
        Names in the order of the delivery.

    Returns
    -------
    Numbering
        Without pattern where no number runs through most of the names.
    """
    tokens = [tokens_of(stem) for stem in stems]
    shapes = Counter(shape_of(token) for token in tokens)
    if not shapes:
        return Numbering("", ())
    shape, share = shapes.most_common(1)[0]
    inside = [i for i, token in enumerate(tokens) if shape_of(token) == shape]
    place = _running_place([tokens[i] for i in inside], shape) if share * 2 > len(stems) else None
    if place is None:
        return Numbering("", (None,) * len(stems))
    place, pair = _pair_places([tokens[i] for i in inside], shape, place)
    letters = {tokens[i][place].lstrip("0123456789").casefold() for i in inside}
    numbers: list[NameNumber | None] = [None] * len(stems)
    has_zero = any(tokens[i][place] in ("0", "000") for i in inside)
    for i in inside:
        # A letter that every name has is a part of the pattern and tells no half number from a whole one.
        written = tokens[i][place] if len(letters) > 1 else re.sub(r"\D", "", tokens[i][place])
        if written == "00" and not has_zero:
            written = "0"  # a zero padded to two digits, unless another file is plain 0
        second = _value(tokens[i][pair]) if pair is not None else None
        numbers[i] = NameNumber(_value(written), written, second)
    labels = {number.label for number in numbers if number is not None}
    values = sorted({number.value for number in numbers if number is not None})
    last = max(values) if pair is None else max(n.second or n.value for n in numbers if n is not None)
    present = set(values) | {n.second for n in numbers if n is not None and n.second is not None}
    missing = tuple(value for value in range(values[0], last + 1) if value not in present)
    return Numbering(
        _pattern(tokens, inside, shape, place),
        tuple(numbers),
        missing if len(missing) <= len(values) else (),
        is_run=len(labels) == len(inside) and len(missing) <= max(2, len(values) // 4),
        is_paired=pair is not None,
    )


def group_names(names: Sequence[str]) -> list[NameGroup]:
    """Divide a delivery into rolls by folders and by the parts of names that stay while others run.

    Parameters
    ----------
    names : sequence of str
        Names with folders (`/`), in the order of the delivery.

    Returns
    -------
    list of NameGroup
        In the order of their first member. One group where nothing divides them.
    """
    by_folder: dict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(names):
        by_folder[name.rpartition("/")[0]].append(i)
    groups: list[NameGroup] = []
    for folder, members in by_folder.items():
        stems = [_stem(names[i]) for i in members]
        for part, words in _split_by_staying_parts(stems):
            groups.append(
                NameGroup(tuple(members[i] for i in part), tuple(folder.split("/")) + words if folder else words)
            )
    return sorted(groups, key=lambda group: group.members[0])


def _stem(name: str) -> str:
    base = name.rpartition("/")[2]
    return base.rsplit(".", 1)[0] if "." in base else base


def _split_by_staying_parts(stems: Sequence[str]) -> list[tuple[list[int], tuple[str, ...]]]:
    """Split names whose other parts fall into a few kinds, each of which has a run of numbers of its own."""
    numbering = read_numbering(stems)
    whole = [(list(range(len(stems))), _staying_words(stems))]
    if not stems or (numbering.is_run and all(number is not None for number in numbering.numbers)):
        return whole
    kinds: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for i, stem in enumerate(stems):
        tokens = tokens_of(stem)
        number = numbering.numbers[i]
        # All but the running number; without a pattern the last number is taken for it.
        place = _last_number_place(tokens) if number is None else _place_of(tokens, number.value)
        kinds[tuple(token.casefold() for k, token in enumerate(tokens) if k != place)].append(i)
    few = len(kinds) * 3 <= len(stems) and len(kinds) > 1
    if not few or not all(read_numbering([stems[i] for i in part]).is_run for part in kinds.values() if len(part) > 1):
        return whole
    return [(part, _staying_words([stems[i] for i in part])) for part in kinds.values()]


def _staying_words(stems: Sequence[str]) -> tuple[str, ...]:
    """The parts that all the names share, as words to look for a roll's number in; the whole name of a single one."""
    if len(stems) == 1:
        return (stems[0],)
    token_lists = [tokens_of(stem) for stem in stems]
    first = min(token_lists, key=len)
    shared = [t if all(len(o) > k and o[k] == t for o in token_lists) else "\0" for k, t in enumerate(first)]
    return tuple(word for word in "".join(shared).split("\0") if word.strip("-_ ."))


def _is_number(token: str) -> bool:
    return bool(_LABEL.match(token))


def _value(token: str) -> int:
    return int(re.match(r"\d+", token).group())  # type: ignore[union-attr]


def _last_number_place(tokens: Sequence[str]) -> int | None:
    return next((k for k in range(len(tokens) - 1, -1, -1) if _is_number(tokens[k])), None)


def _place_of(tokens: Sequence[str], value: int) -> int | None:
    last_first = range(len(tokens) - 1, -1, -1)
    return next((k for k in last_first if _is_number(tokens[k]) and _value(tokens[k]) == value), None)


def _running_place(tokens: Sequence[Sequence[str]], shape: Sequence[str]) -> int | None:
    """The place of the number that runs: most different values, then the densest, then the last in the name."""
    best: tuple[float, float, int] | None = None
    for place, kind in enumerate(shape):
        if kind != "#":
            continue
        labels = {token[place].casefold() for token in tokens}
        values = [_value(token[place]) for token in tokens]
        if len(labels) < 2 and len(tokens) > 1:
            continue
        if len(tokens) == 1 and values[0] > HIGHEST_FRAME:
            continue
        density = len(set(values)) / (max(values) - min(values) + 1)
        if density < 0.3:
            continue
        score = (len(labels) / len(tokens), density, place)
        best = max(best, score) if best else score
    return best[2] if best else None


def _pair_places(tokens: Sequence[Sequence[str]], shape: Sequence[str], place: int) -> tuple[int, int | None]:
    """The running number and the one that is always the next: half frames two to a file (`12-13`)."""
    for other, kind in enumerate(shape):
        if len(tokens) < 2 or kind != "#" or abs(other - place) != 2:
            continue
        steps = {_value(token[other]) - _value(token[place]) for token in tokens}
        if steps == {1} and other > place:
            return place, other
        if steps == {-1} and other < place:
            return other, place
    return place, None


def _pattern(tokens: Sequence[Sequence[str]], inside: Sequence[int], shape: Sequence[str], place: int) -> str:
    parts = []
    for k in range(len(shape)):
        values = {tokens[i][k] for i in inside}
        parts.append("#" if k == place else values.pop() if len(values) == 1 else "*")
    return "".join(parts)
