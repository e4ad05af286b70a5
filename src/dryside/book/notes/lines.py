"""A whole note: header lines, frame lines, ranges, 'same'; every line that cannot be read is named."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import pairwise
from typing import Any

from dryside.book.notes.days import instant_of, zone_of
from dryside.book.notes.noted import Assumptions, NotedFrame, Problem, Reading, RollFacts
from dryside.book.notes.pieces import Pieces, plain_signs, read_pieces
from dryside.book.notes.words import BLANK, BUT, FIELD_NAMES, ROLL_NAMES, SAME, SAME_AS, field_of
from dryside.film.frame_labels import FrameLabel, label_at, parse_label
from dryside.film.refusal import Refusal

_LABEL = r"(?:00|0?\d{1,2})[Aa]?"
_WORD = r"(?:\#|№|no\.?|nr\.?|n°|frame|bild|foto|photo|vue|toma|image|exp\.?)\s*"
_TO = r"\s*(?:-|–|—|\.\.+|to|bis|à|a|hasta)\s*"
_END = r"(?=$|[\s,;]|[.):](?!\d)|\s?[-–—](?=\s))"
_START = re.compile(
    rf"\s*(?:{_WORD})?(?P<first>{_LABEL})"
    rf"(?:{_TO}(?:{_WORD})?(?P<last>{_LABEL}){_END}|(?P<more>(?:\s*[,&+]\s*{_LABEL}{_END})+))?{_END}\s*[.):;,]?",
    re.IGNORECASE,
)
_BULLET = re.compile(r"\s*(?:[*•·]|-(?=\s))\s+")
_COMMENT_LINE = re.compile(r"\s*(?:#(?![\w])|//|;|%|=+\s*$|-{3,}\s*$|_{3,}\s*$)")
_HEADER = re.compile(r"\s*([^\W\d][^:=]{0,24}?)\s*[:=]\s*(.+?)\s*$")
_SAME = re.compile(rf"^(?:[\s,;:]*)(?:(?:{SAME_AS})({_LABEL})|(?:{SAME})|[\"〃](?=\s|,|$))(?![\w])", re.IGNORECASE)
_BUT = re.compile(rf"^[\s,;:]*(?:{BUT})\b\s*", re.IGNORECASE)
_CARRIED = ("place", "lens", "focal_mm", "exposure_index", "person", "latitude", "longitude", "keywords", "flash")
_NOT_COPIED = ("rating", "printed", "taken_at", "taken_to", "label", "line")
_OF_ONE_FRAME = ("label", "shutter", "aperture", "caption", "rating", "blank", "printed")
LONGEST_RANGE = 80
LONGEST_LINE = 2_000


@dataclass
class _State:
    """What a line may lean on: headers above it, frames before it."""

    assume: Assumptions
    carried: dict[str, Any] = field(default_factory=dict)
    day: date | None = None
    roll: RollFacts = field(default_factory=RollFacts)
    frames: dict[str, NotedFrame] = field(default_factory=dict)
    last: NotedFrame | None = None
    remarks: list[str] = field(default_factory=list)


def read_note(text: str, assume: Assumptions) -> Reading:
    """Read a note of frames, one line a frame, as it is typed while shooting.

    Parameters
    ----------
    text : str
        The note. Header lines (`camera: ...`, a date alone, `50mm` alone) hold for the lines below them; `13-15 same
        but f4` repeats what stood before; lines that begin with blanks add to the frame above.
    assume : Assumptions
        Offset, year and day where the note says none.

    Returns
    -------
    Reading
        Frames in the order of the note, and a problem for every line that could not be read.
    """
    state = _State(assume)
    if assume.day:
        state.day = date.fromisoformat(assume.day)
    problems = []
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1):
        if not line.strip() or _COMMENT_LINE.match(line):
            continue
        try:
            _read_line(state, line, number)
        except Refusal as refusal:
            problems.append(Problem(number, line.strip(), f"{refusal.thing}: {refusal.found}", refusal.remedy))
    return Reading(tuple(state.frames.values()), tuple(problems), state.roll, tuple(state.remarks))


def _read_line(state: _State, line: str, number: int) -> None:
    if len(line) > LONGEST_LINE:
        found = f"{len(line)} characters, a line has {LONGEST_LINE} at most"
        raise Refusal(f"{line.strip()[:40]!r} ...", found, "Write one line for each frame.")
    plain = plain_signs(line)
    if state.last and line[:1] in " \t" and not _START.match(plain):
        _continue(state, plain.strip())
        return
    if (_is_header(plain) and _header(state, plain)) or _day_and_place(state, plain):
        return
    labels, rest = _labels(state, plain)
    if labels:
        _frames(state, labels, rest, number)
    elif not _loose_header(state, plain):
        raise Refusal(
            f"{line.strip()[:40]!r}", "no frame number at its start", "Write it like: 12 1/250 f8 harbour wall."
        )


def _continue(state: _State, text: str) -> None:
    last = state.last
    if last is not None:
        notes = f"{last.notes}; {text}" if last.notes else text
        state.last = state.frames[last.label] = replace(last, notes=notes)


# --- headers -----------------------------------------------------------------------------------------------------


def _is_header(line: str) -> bool:
    match = _HEADER.match(line)
    return bool(match and field_of(match[1]) and not _START.match(line))


def _header(state: _State, line: str) -> bool:
    """Read `name: value`, which holds for what follows; False if it is a line about one frame after all."""
    match = _HEADER.match(line)
    column = field_of(match[1]) if match else None
    if match is None or column is None or column in _OF_ONE_FRAME:
        return False
    value = match[2]
    if column in ROLL_NAMES:
        _roll_header(state, column, value)
    elif column in ("date", "time", "taken_at"):
        found = read_pieces(value, state.assume)
        if found.day is None:
            raise Refusal(f"date {value!r}", "this is no day", "Write it like 2026-07-14.")
        state.day = found.day
    elif column == "notes":
        state.remarks.append(value)
    else:
        _carry(state, _header_pieces(column, value, state))
    return True


def _header_pieces(column: str, value: str, state: _State) -> dict[str, Any]:
    if column == "lens":
        return {"lens": value, "focal_mm": read_pieces(value, state.assume).values.get("focal_mm")}
    if column in ("place", "person"):
        return {column: value}
    found = read_pieces(f"{column}: {value}" if column in FIELD_NAMES else value, state.assume)
    return found.values | ({"keywords": " ".join(found.keywords)} if found.keywords else {})


def _roll_header(state: _State, column: str, value: str) -> None:
    if column == "offset":
        zone_of(value)
        state.assume = replace(state.assume, offset=value)
    else:
        facts: dict[str, Any] = {column: value}
        state.roll = replace(state.roll, **facts)


def _carry(state: _State, values: dict[str, Any]) -> None:
    if "lens" in values and "focal_mm" not in values:
        state.carried.pop("focal_mm", None)
    if "focal_mm" in values and "lens" not in values:
        state.carried.pop("lens", None)
    if values.get("exposure_index") and not state.frames:
        state.roll = replace(state.roll, exposure_index=values["exposure_index"])
    state.carried |= {name: value for name, value in values.items() if name in _CARRIED}


def _day_and_place(state: _State, line: str) -> bool:
    """'2 May 2026, Vessal' above the frames made there. Without a year it may be the next frame, and then it is."""
    day, comma, place = line.partition(",")
    if not comma or not place.strip() or not _only_a_day(day, state.assume):
        return False
    start = _START.match(day)
    is_next = state.last and start and parse_label(start["first"]).half_index - parse_label(state.last.label).half_index
    if is_next in (1, 2) and not re.search(r"\d{4}", day):
        return False
    found = read_pieces(place, state.assume)
    if found.shutters or found.biases or found.clock or found.day or "aperture" in found.values:
        return False
    state.day = read_pieces(day, state.assume).day
    _carry(state, found.values | ({"place": found.rest} if found.rest else {}))
    return True


def _loose_header(state: _State, line: str) -> bool:
    """A line without a label that is nothing but a day, a place, a lens or a speed: it holds for what follows."""
    if _BULLET.match(line):
        return False
    found = read_pieces(line, state.assume)
    if found.rest or found.shutters or found.biases or found.clock or "aperture" in found.values:
        return False
    if found.day:
        state.day = found.day
    values = found.values | ({"keywords": " ".join(found.keywords)} if found.keywords else {})
    _carry(state, values)
    return bool(found.day or values)


# --- labels ------------------------------------------------------------------------------------------------------


def _labels(state: _State, line: str) -> tuple[list[str], str]:
    """The labels a line begins with and what follows them; no labels if it begins with none."""
    if _only_a_day(line, state.assume):
        return [], line
    match = _START.match(line)
    if match is None:
        bullet = _BULLET.match(line)
        if bullet is None:
            return [], line
        after = parse_label(state.last.label).half_index + 2 if state.last else 2
        return [str(label_at(after))], line[bullet.end() :]
    first = parse_label(match["first"])
    if match["last"]:
        return _range(state, first, parse_label(match["last"])), line[match.end() :]
    if match["more"]:
        listed = [first, *(parse_label(text) for text in re.findall(_LABEL, match["more"]))]
        if _run_on(listed):
            return [str(label) for label in listed], line[match.end() :]
        return [str(first)], line[match.end("first") :].lstrip(" ,")
    return [str(first)], line[match.end() :]


def _only_a_day(line: str, assume: Assumptions) -> bool:
    """'14 July 2026' and '14.7.2026' are days, although they begin like a label."""
    if not re.match(r"\s*\d{1,2}(?:\s?[./-]\s?\d|[.]?\s*(?:de\s)?[^\W\d]{3,})", line):
        return False
    try:
        found = read_pieces(line, replace(assume, year=assume.year or 2000))
    except Refusal as refusal:
        return refusal.thing.startswith("date")
    return found.day is not None and not found.rest and not found.shutters and not found.values


def _range(state: _State, first: FrameLabel, last: FrameLabel) -> list[str]:
    by_half = state.assume.is_half_frame and (first.half or last.half)
    step = 1 if by_half else 2
    count = (last.half_index - first.half_index) // step + 1
    if not 2 <= count <= LONGEST_RANGE or (last.half_index - first.half_index) % step:
        raise Refusal(f"{first}-{last}", "this is no range of frames", "Write the lower number first, like 13-15.")
    return [str(label_at(first.half_index + i * step)) for i in range(count)]


def _run_on(labels: list[FrameLabel]) -> bool:
    return all(0 < after.half_index - before.half_index <= 2 for before, after in pairwise(labels))


# --- frames ------------------------------------------------------------------------------------------------------


def _frames(state: _State, labels: list[str], rest: str, number: int) -> None:
    base, rest = _base(state, rest)
    if rest.strip(" \t,;.()").lower() in BLANK and not base:
        made = [NotedFrame(label, number, blank=True) for label in labels]
    else:
        found = read_pieces(rest, state.assume)
        day = found.day or state.day
        values = _values(state, base, found, day)
        made = [
            replace(NotedFrame(label, number, **values), **_own(found, place, len(labels)))
            for place, label in enumerate(labels)
        ]
        state.day = day
    for frame in made:
        known = state.frames.get(frame.label)
        if known is not None:
            raise Refusal(f"frame {frame.label}", f"line {known.line} has it already", "Keep one of them.")
    for frame in made:
        state.frames[frame.label] = state.last = frame


def _base(state: _State, rest: str) -> tuple[dict[str, Any], str]:
    """What 'same' or 'same as 9' stands for, and the rest of the line."""
    match = _SAME.match(rest)
    if not match:
        return {}, rest
    source = state.frames.get(str(parse_label(match[1]))) if match[1] else state.last
    if source is None:
        before = f"frame {match[1]} is not above it" if match[1] else "no frame stands above it"
        raise Refusal("same", before, "Write the frame in full.")
    after = rest[match.end() :]
    after = after[but.end() :] if (but := _BUT.match(after)) else after
    copied = {name: value for name, value in source.columns().items() if name not in _NOT_COPIED}
    return copied, after


def _values(state: _State, base: dict[str, Any], found: Pieces, day: date | None) -> dict[str, Any]:
    said = dict(found.values)
    if found.keywords:
        said["keywords"] = " ".join(dict.fromkeys(found.keywords))
    if found.notes:
        said["notes"] = "; ".join(found.notes)
    if found.rest:
        earlier = base.get("caption")
        said["caption"] = f"{earlier}; {found.rest}" if earlier else found.rest
    carried = dict(state.carried)
    if "focal_mm" in said and said["focal_mm"] != carried.get("focal_mm") and "lens" not in said:
        carried.pop("lens", None)  # another focal length than the header's lens has: another lens
        base.pop("lens", None)
    if found.clock and day is None:
        raise Refusal(
            f"time {found.clock.at:%H:%M}", "the day is not known", "Put a line with the date above it, or give --day."
        )
    if found.clock or found.day or (day and day == state.day):
        said["taken_at"], said["taken_to"] = instant_of(day, found.clock, state.assume) if day else (None, None)
    return carried | base | said


def _own(found: Pieces, place: int, count: int) -> dict[str, Any]:
    """Time and compensation of one frame of a range: shared, or one for each in their order."""
    own: dict[str, Any] = {}
    shutter = _share("times", found.shutters, place, count)
    if shutter is not None:
        own["shutter"], own["shutter_s"] = shutter
    bias = _share("compensations", found.biases, place, count)
    if bias is not None:
        own["exposure_bias"] = bias
    return own


def _share(what: str, listed: Sequence[Any], place: int, count: int) -> Any:
    if not listed:
        return None
    if len(set(listed)) == 1:
        return listed[0]
    if len(listed) == count:
        return listed[place]
    raise Refusal(what, f"the line gives {len(listed)} for {count} frame{'s' * (count > 1)}", "Keep one for each.")
