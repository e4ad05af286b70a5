"""Finding frames among very many: words and filters as one walk along the index, a page at a time.

Every filter is a list of the full-text index (see migration 2), so that a page costs what lies between its first and
last frame in the lists, and nothing is ever sorted. Frames come newest first: in the order they were logged. Where
marks hold a filter only roughly (a circle on the map) the walk stops after some milliseconds and the next page goes on.
"""

from __future__ import annotations

import json
import math
import re
import time
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from dryside.book.folder import EARTH_RADIUS_KM
from dryside.book.journey import WAITING_FOR_NEGATIVES
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

PAGE = 50
BUDGET_S = 0.004
_MARK = "\ue000"
_MOST_SQUARES = 40
_MOST_YEARS = 250
_FEW_DAYS = 12
_EXAMINED = 400  # frames looked at one by one at a time, where marks hold a filter only roughly


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


@dataclass(frozen=True)
class FoundFrame:
    """A frame that was found, with what a list shows of it."""

    id: int
    roll_id: int
    roll: str
    roll_title: str | None
    roll_state: str
    label: str
    position: int
    taken_at: str | None
    taken_to: str | None
    caption: str | None
    keywords: str | None
    place: str | None
    person: str | None
    rating: int | None
    latitude: float | None
    longitude: float | None
    picture_sha256: str | None


@dataclass(frozen=True)
class Page:
    """Frames newest first; `after` asks for the next page, None at the end."""

    frames: tuple[FoundFrame, ...]
    after: int | None


def find_frames(
    conn: Connection,
    query: FrameQuery,
    *,
    limit: int = PAGE,
    after: int | None = None,
    budget_s: float | None = BUDGET_S,
) -> Page:
    """One page of the frames that meet `query`.

    Parameters
    ----------
    conn : Connection
        To read from.
    query : FrameQuery
        What is looked for. Words that are a roll's code or second name stand for that roll.
    limit : int, optional
        Most frames a page, 1 or more.
    after : int, optional
        `after` of the page before.
    budget_s : float, optional
        Seconds after which no further frames are looked at one by one: the page is given as far as it is, perhaps
        short, even empty, and `after` goes on from there. None: the page is filled however long it takes.

    Raises
    ------
    Refusal
        If the words hold only what must not be there, or a filter is out of its range.
    """
    _check(query)
    query = _roll_for_words(conn, query)
    if conn.dialect.name == "sqlite":
        return _walk(conn, query, limit=limit, after=after, budget_s=budget_s)
    return _postgresql_page(conn, query, limit=limit, after=after)


def find_all(conn: Connection, query: FrameQuery, *, most: int) -> tuple[FoundFrame, ...]:
    """The newest `most` frames that meet `query`, page after page."""
    page = find_frames(conn, query, limit=most, budget_s=None)
    return page.frames


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


def _check(query: FrameQuery) -> None:
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


def _roll_for_words(conn: Connection, query: FrameQuery) -> FrameQuery:
    """Words that name a roll stand for it: its code in any spelling, or a second name."""
    if query.roll_id is not None or not query.words.strip() or len(query.words) > 80:
        return query
    from sqlalchemy import func, select

    from dryside.book.ids import looks_like_code, parse_code
    from dryside.book.schema import roll_names, rolls

    wanted = query.words.strip()
    found = conn.execute(select(roll_names.c.roll_id).where(func.lower(roll_names.c.name) == wanted.lower())).scalar()
    if found is None and looks_like_code(wanted):
        try:
            code = str(parse_code(wanted))
        except Refusal:
            return query
        found = conn.execute(select(rolls.c.id).where(rolls.c.code == code)).scalar()
    return query if found is None else replace(query, words="", roll_id=found)


_SHOWN = (
    "f.id, f.roll_id, r.code, r.title, r.state, f.label, f.position, f.taken_at, f.taken_to, f.caption, f.keywords,"
    " f.place, f.person, f.rating, f.latitude, f.longitude, f.picture_sha256"
)


# --- SQLite ------------------------------------------------------------------------------------------------------


def _walk(conn: Connection, query: FrameQuery, *, limit: int, after: int | None, budget_s: float | None) -> Page:
    """Walk the index from the newest frame back until the page is full.

    Where marks hold a filter only roughly, frames are read in growing lots, and after each the budget is looked at.
    """
    query = _within_book(conn, query)
    if query.since and query.until and query.until < query.since:
        return Page((), None)
    match = match_expression(query)
    where, values = _exact(query, by_marks=_range_marks(query)[1])
    first, last = _id_range(conn, query.roll_id)
    upper = last + 1 if after is None else min(after, last + 1)
    found: list[FoundFrame] = []
    lot, began = limit + 1, time.perf_counter()
    while upper > first and len(found) <= limit:
        ids = _candidates(conn, match, first, upper, lot)
        good = _read(conn, ids, where, values) if ids else []
        found += good
        upper = ids[-1] if len(ids) == lot else first
        if 2 * len(good) < lot:
            lot = min(lot * 4, _EXAMINED)
        if budget_s is not None and time.perf_counter() - began > budget_s:
            break
    if len(found) > limit:
        return Page(tuple(found[:limit]), found[limit - 1].id)
    return Page(tuple(found), upper if upper > first else None)


def _candidates(conn: Connection, match: str, lower: int, upper: int, most: int) -> list[int]:
    """Ids below `upper` down to `lower` that the index gives, the newest first."""
    if match:
        sql = (
            "SELECT rowid FROM frame_words WHERE frame_words MATCH ? AND rowid >= ? AND rowid < ?"
            " ORDER BY rowid DESC LIMIT ?"
        )
        return [row[0] for row in conn.exec_driver_sql(sql, (match, lower, upper, most))]
    sql = "SELECT id FROM frames WHERE id >= ? AND id < ? ORDER BY id DESC LIMIT ?"
    return [row[0] for row in conn.exec_driver_sql(sql, (lower, upper, most))]


def _read(conn: Connection, ids: list[int], where: list[str], values: dict[str, Any]) -> list[FoundFrame]:
    """The frames of these ids that meet the exact conditions, the newest first."""
    from sqlalchemy import text

    condition = "".join(f" AND {one}" for one in where)
    sql = (
        f"SELECT {_SHOWN} FROM json_each(:ids) j CROSS JOIN frames f ON f.id = j.value"  # noqa: S608
        f" JOIN rolls r ON r.id = f.roll_id WHERE 1{condition} ORDER BY j.key"
    )
    return [FoundFrame(*row) for row in conn.execute(text(sql), {"ids": json.dumps(ids), **values})]


def _id_range(conn: Connection, roll_id: int | None) -> tuple[int, int]:
    """First and last frame id, of a roll or of the book; (1, 0) where there is none."""
    if roll_id is None:
        sql = "SELECT (SELECT min(id) FROM frames), (SELECT max(id) FROM frames)"
        row = conn.exec_driver_sql(sql).one()
    else:
        row = conn.exec_driver_sql("SELECT min(id), max(id) FROM frames WHERE roll_id = ?", (roll_id,)).one()
    return (row[0], row[1]) if row[0] is not None else (1, 0)


def _within_book(conn: Connection, query: FrameQuery) -> FrameQuery:
    """A range of days cut to those of the book, its open end closed, so that its days can be looked up."""
    if query.since is None and query.until is None:
        return query
    sql = "SELECT (SELECT min(taken_utc) FROM frames), (SELECT max(taken_utc) FROM frames)"
    low, high = conn.exec_driver_sql(sql).one()
    if low is None:
        return query
    day = timedelta(days=1)  # clocks run up to 14 hours beside UTC
    first, last = ((datetime.fromtimestamp(0, UTC) + timedelta(seconds=one)).date() for one in (low, high))
    return replace(
        query, since=max(query.since or date.min, first - day), until=min(query.until or date.max, last + day)
    )


def match_expression(query: FrameQuery) -> str:
    """The query as an expression of SQLite's full-text index; empty where it has no part in it."""
    parts, nots = _parts(query)
    expression = " AND ".join(parts)
    return f"({expression}) NOT ({' OR '.join(nots)})" if nots else expression


def _parts(query: FrameQuery) -> tuple[list[str], list[str]]:
    """What must be in the lists, and what must not."""
    parts: list[str] = []
    nots: list[str] = []
    for kind, words in split_words(query.words):
        term = f'"{words}"' + (" *" if kind == "start" else "")
        (nots if kind == "not" else parts).append(term)
    for name, value in (("c", query.camera_id), ("l", query.lens_id), ("s", query.stock_id), ("o", query.owner_id)):
        if value is not None:
            parts.append(_mark(f"{name}{value}"))
    if query.person:
        terms = " AND ".join(f'"{words}"' for _, words in split_words(query.person))
        if terms:
            parts.append(f"person : ({terms})")
    if query.rating:
        parts.append(_mark(f"r{query.rating}"))
    if query.not_printed:
        parts.append(_mark("n"))
    if query.negatives_at_lab:
        parts.append(_mark("w"))
    if days := _range_marks(query)[0]:
        parts.insert(0, _any(days))
    if query.near and (squares := squares_around(query.near, query.within_km)):
        parts.insert(0, _any(squares))  # the walk leaps along the first list: the rarest, as a rule
    return parts, nots


def _mark(name: str) -> str:
    return f'"{_MARK}{name}"'


def _any(names: list[str]) -> str:
    marks = [_mark(name) for name in names]
    return marks[0] if len(marks) == 1 else f"({' OR '.join(marks)})"


def _range_marks(query: FrameQuery) -> tuple[list[str], bool]:
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


def _exact(query: FrameQuery, *, by_marks: bool = False) -> tuple[list[str], dict[str, Any]]:
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
    for mark, per_degree in (("gd", 100.0), ("gc", 10.0), ("gb", 1.0), ("ga", 0.1)):
        rows = range(int((south + 90) * per_degree), int((north + 90) * per_degree) + 1)
        columns = range(math.floor((west + 180) * per_degree), math.floor((east + 180) * per_degree) + 1)
        if len(rows) * len(columns) > _MOST_SQUARES:
            continue
        turn = 360 * per_degree
        found = {int(column % turn) for column in columns}
        if east >= 180:
            found.add(int(turn))  # the meridian itself, where 180 and -180 are one
        return [f"{mark}{row}x{column}" for row in rows for column in sorted(found)]
    return []


# --- PostgreSQL --------------------------------------------------------------------------------------------------


def _postgresql_page(conn: Connection, query: FrameQuery, *, limit: int, after: int | None) -> Page:
    from sqlalchemy import text

    sql, values = _postgresql(query, after is not None)
    values |= {"limit": limit + 1, **({"after": after} if after is not None else {})}
    rows = [FoundFrame(*row) for row in conn.execute(text(sql), values)]
    return Page(tuple(rows[:limit]), rows[limit - 1].id if len(rows) > limit else None)


def _postgresql(query: FrameQuery, paged: bool) -> tuple[str, dict[str, Any]]:
    where, values = _exact(query)
    terms = split_words(query.words)
    if terms:
        where.append("f.words @@ to_tsquery('simple', :words)")
        values["words"] = " & ".join(_tsquery(kind, words) for kind, words in terms)
    if query.person and (people := split_words(query.person)):
        where.append("plain_words(coalesce(f.person, '')) @@ to_tsquery('simple', :person)")
        values["person"] = " & ".join(_tsquery(kind, words) for kind, words in people)
    columns = {"f.lens_id": query.lens_id, "r.camera_id": query.camera_id}
    columns |= {"r.stock_id": query.stock_id, "r.owner_id": query.owner_id}
    for place, (column, value) in enumerate(columns.items()):
        if value is not None:
            where.append(f"{column} = :value{place}")
            values[f"value{place}"] = value
    if query.rating:
        where.append("f.rating >= :rating")
        values["rating"] = query.rating
    if query.not_printed:
        where.append("NOT f.printed")
    if query.negatives_at_lab:
        where.append("r.state IN (:state0, :state1)")
        values |= {f"state{place}": str(state) for place, state in enumerate(WAITING_FOR_NEGATIVES)}
    if paged:
        where.append("f.id < :after")
    condition = f" WHERE {' AND '.join(where)}" if where else ""
    source = "frames f JOIN rolls r ON r.id = f.roll_id"
    return f"SELECT {_SHOWN} FROM {source}{condition} ORDER BY f.id DESC LIMIT :limit", values  # noqa: S608


def _tsquery(kind: str, words: str) -> str:
    parts = [f"'{fold(part)}'" for part in words.split()]
    term = f"({' <-> '.join(parts)})" if len(parts) > 1 else parts[0]
    return f"!{term}" if kind == "not" else f"{term}:*" if kind == "start" else term


def fold(word: str) -> str:
    """A word in lower case without accents, as both indexes keep it."""
    import unicodedata

    return "".join(sign for sign in unicodedata.normalize("NFKD", word.lower()) if not unicodedata.combining(sign))
