"""What is looked for among the frames: words and filters, as marks of the full-text index and as exact conditions."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any

from dryside.book.folder import EARTH_RADIUS_KM
from dryside.film.refusal import Refusal

_MARK = "\ue000"
_MOST_SQUARES = 40
_MOST_YEARS = 250
_FEW_DAYS = 12
NONE_KNOWN: Mapping[str, Sequence[str]] = MappingProxyType({})


@dataclass(frozen=True)
class FrameQuery:
    """What is looked for; everything given must hold.

    Attributes
    ----------
    words : str
        Words of caption, keywords, place, person, notes and the roll's title; whole words, any case, accents do not
        matter. `harb*` is a beginning, `"harbour wall"` a phrase, `-boat` must not be there.
    roll_id, camera_id, lens_id, stock_id, owner_id : int or None
        Row ids.
    person : str or None
        Words of the person in the picture.
    since, until : date or None
        First and last day, as the photographer's clock stood.
    near : tuple of float or None
        Latitude and longitude, degrees.
    within_km : float
        How far from `near`.
    rating : int or None
        At least so many stars.
    not_printed : bool
        Only frames never printed.
    negatives_at_lab : bool
        Only frames whose film is still at the lab.
    """

    words: str = ""
    roll_id: int | None = None
    camera_id: int | None = None
    lens_id: int | None = None
    stock_id: int | None = None
    owner_id: int | None = None
    person: str | None = None
    since: date | None = None
    until: date | None = None
    near: tuple[float, float] | None = None
    within_km: float = 1.0
    rating: int | None = None
    not_printed: bool = False
    negatives_at_lab: bool = False


def check_query(query: FrameQuery) -> None:
    """Refuse what cannot be looked for.

    Raises
    ------
    Refusal
        If the words hold only what must not be there, or a filter is out of its range.
    """
    terms = split_words(query.words)
    if query.words.strip() and not terms:
        raise Refusal(f"words {query.words!r}", "no word is in it", "Give a word, like harbour.")
    if any(kind == "start" and len(word) < 3 for kind, word in terms):
        raise Refusal(f"words {query.words!r}", "a beginning needs three letters", "Write it like har*.")
    if terms and all(kind == "not" for kind, _ in terms):
        raise Refusal(f"words {query.words!r}", "they only say what must not be there", "Add a word that must be.")
    if query.rating is not None and not 1 <= query.rating <= 5:
        raise Refusal(f"rating {query.rating}", "it must lie from 1 to 5", "Write it like 3.")
    if query.since and query.until and query.until < query.since:
        raise Refusal(f"{query.since} to {query.until}", "it ends before it begins", "Swap them.")
    if query.near and not (-90 <= query.near[0] <= 90 and -180 <= query.near[1] <= 180):
        raise Refusal(f"place {query.near[0]}, {query.near[1]}", "no such place on Earth", "Latitude comes first.")
    if query.near and not 0 < query.within_km <= 20_100:
        raise Refusal(f"within {query.within_km:g} km", "it must lie above 0 and below 20100", "Write it like 5.")


def split_words(words: str) -> list[tuple[str, str]]:
    """(kind, text) of the terms of a search: kind is `word`, `start`, `phrase` or `not`.

    Punctuation inside a word parts it, as in the index: `half-frame` is the phrase `half frame`.
    """
    terms = []
    plain = words.replace(_MARK, " ").translate(str.maketrans("“”„″", '""""'))
    for negative, quoted, word, star in re.findall(r'(-?)(?:"([^"]*)"?|([^\s"*]+)(\*?))', plain):
        parts = re.findall(r"[^\W_]+", quoted or word)
        if not parts:
            continue
        kind = "not" if negative else "start" if star and len(parts) == 1 else "word" if len(parts) == 1 else "phrase"
        terms.append((kind, " ".join(parts)))
    return terms


def match_expression(query: FrameQuery, beginnings: Mapping[str, Sequence[str]] | None = None) -> str:
    """The query as an expression of SQLite's full-text index; empty where it has no part in it.

    Parameters
    ----------
    query : FrameQuery
        What is looked for.
    beginnings : mapping of str to sequence of str, optional
        Whole words to look for in place of a beginning.
    """
    parts, nots = match_parts(query, beginnings or {})
    expression = " AND ".join(parts)
    return f"({expression}) NOT ({' OR '.join(nots)})" if nots else expression


def match_parts(query: FrameQuery, beginnings: Mapping[str, Sequence[str]] = NONE_KNOWN) -> tuple[list[str], list[str]]:
    """What must be in the lists, and what must not."""
    parts: list[str] = []
    nots: list[str] = []
    for kind, words in split_words(query.words):
        term = f'"{words}"' + (" *" if kind == "start" else "")
        if kind == "start" and words in beginnings:
            term = f"({' OR '.join(f'{chr(34)}{word}{chr(34)}' for word in beginnings[words])})"
        (nots if kind == "not" else parts).append(term)
    for name, value in (("c", query.camera_id), ("l", query.lens_id), ("s", query.stock_id), ("o", query.owner_id)):
        if value is not None:
            parts.append(mark(f"{name}{value}"))
    if query.person:
        terms = " AND ".join(f'"{words}"' for _, words in split_words(query.person))
        if terms:
            parts.append(f"person : ({terms})")
    if query.rating:
        parts.append(mark(f"r{query.rating}"))
    if query.not_printed:
        parts.append(mark("n"))
    if query.negatives_at_lab:
        parts.append(mark("w"))
    if days := range_marks(query)[0]:
        parts.insert(0, _any(days))
    if query.near and (squares := squares_around(query.near, query.within_km)):
        parts.insert(0, _any(squares))  # the walk leaps along the first list: the rarest, as a rule
    return parts, nots


def mark(name: str) -> str:
    """A mark as a term of the index, see migration 2."""
    return f'"{_MARK}{name}"'


def _any(names: list[str]) -> str:
    marks = [mark(name) for name in names]
    return marks[0] if len(marks) == 1 else f"({' OR '.join(marks)})"


def range_marks(query: FrameQuery) -> tuple[list[str], bool]:
    """Marks of the range of days, and whether they hold it exactly; none where it is open or too long.

    Beside the squares of a place, of which there are many too, months at the ends are taken whole: every mark that is
    opened costs.
    """
    if query.since is None or query.until is None or query.until.year - query.since.year > _MOST_YEARS:
        return [], False
    exact = _day_marks(query.since, query.until)
    if query.near is None or len(exact) <= _FEW_DAYS:
        return exact, True
    return _day_marks(query.since.replace(day=1), _start_after(query.until, 1) - timedelta(days=1)), False


def _day_marks(since: date, until: date) -> list[str]:
    """Marks of the years, months and days that make up a range exactly."""
    marks: list[str] = []
    day, end = since, until + timedelta(days=1)
    while day < end:
        next_year, next_month = _start_after(day, 12), _start_after(day, 1)
        if (day.month, day.day) == (1, 1) and next_year <= end:
            marks.append(f"y{day.year:04d}")
            day = next_year
        elif day.day == 1 and next_month <= end:
            marks.append(f"m{day.year:04d}{day.month:02d}")
            day = next_month
        else:
            marks.append(f"d{day.year:04d}{day.month:02d}{day.day:02d}")
            day += timedelta(days=1)
    return marks


def _start_after(day: date, months: int) -> date:
    """First day of the month so many months on."""
    number = day.year * 12 + day.month - 1 + months
    return date(number // 12, number % 12 + 1, 1)


def exact_conditions(query: FrameQuery, *, by_marks: bool = False) -> tuple[list[str], dict[str, Any]]:
    """Conditions on the frame itself, for what marks only hold roughly; `by_marks` where they hold the days."""
    where: list[str] = []
    values: dict[str, Any] = {}
    if query.roll_id is not None:
        where.append("f.roll_id = :roll_id")
        values["roll_id"] = query.roll_id
    if query.since and not by_marks:
        where.append("f.taken_at >= :since")
        values["since"] = query.since.isoformat()
    if query.until and not by_marks:
        where.append("f.taken_at < :until")
        values["until"] = (query.until + timedelta(days=1)).isoformat()
    if query.near:
        south, north, west, east = box_around(query.near, query.within_km)
        where.append("f.latitude BETWEEN :south AND :north")
        values |= {"south": south, "north": north}
        if west >= -180 and east <= 180:
            where.append("f.longitude BETWEEN :west AND :east")
            values |= {"west": west, "east": east}
        where.append("km_between(f.latitude, f.longitude, :latitude, :longitude) <= :within_km")
        values |= {"latitude": query.near[0], "longitude": query.near[1], "within_km": query.within_km}
    return where, values


def box_around(near: tuple[float, float], within_km: float) -> tuple[float, float, float, float]:
    """South, north, west and east, degrees, of the box that holds a circle; west and east may pass 180.

    A circle that holds a pole has every longitude: -361 to 361 then.
    """
    reach = math.degrees(within_km / EARTH_RADIUS_KM) * (1 + 1e-9)
    south, north = near[0] - reach, near[0] + reach
    if south <= -90 or north >= 90:
        return max(south, -90.0), min(north, 90.0), -361.0, 361.0
    # Its meridians touch a circle nearer to the pole than its centre lies.
    wide = math.degrees(math.asin(min(1.0, math.sin(math.radians(reach)) / math.cos(math.radians(near[0])))))
    return south, north, near[1] - wide, near[1] + wide


def squares_around(near: tuple[float, float], within_km: float) -> list[str]:
    """Marks of the map squares that a circle touches, of the finest size that takes few; empty where it takes many."""
    south, north, west, east = box_around(near, within_km)
    for name, per_degree in (("gd", 100.0), ("gc", 10.0), ("gb", 1.0), ("ga", 0.1)):
        rows = range(int((south + 90) * per_degree), int((north + 90) * per_degree) + 1)
        columns = range(math.floor((west + 180) * per_degree), math.floor((east + 180) * per_degree) + 1)
        if len(rows) * len(columns) > _MOST_SQUARES:
            continue
        turn = 360 * per_degree
        found = {int(column % turn) for column in columns}
        if east >= 180:
            found.add(int(turn))  # the meridian itself, where 180 and -180 are one
        return [f"{name}{row}x{column}" for row in rows for column in sorted(found)]
    return []


def fold(word: str) -> str:
    """A word in lower case without accents, as both indexes keep it."""
    import unicodedata

    return "".join(sign for sign in unicodedata.normalize("NFKD", word.lower()) if not unicodedata.combining(sign))
