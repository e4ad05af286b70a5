"""Finding frames among very many: words and filters as one walk along the index, a page at a time.

Every filter is a list of the full-text index (see migration 2), so that a page costs what lies between its first and
last frame in the lists, and nothing is ever sorted. Frames come newest first: in the order they were logged. Where
marks hold a filter only roughly (a circle on the map) the walk stops after some milliseconds and the next page goes on.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from dryside.book.journey import WAITING_FOR_NEGATIVES
from dryside.book.search_query import (
    FrameQuery,
    check_query,
    exact_conditions,
    fold,
    mark,
    match_expression,
    match_parts,
    range_marks,
    split_words,
    squares_around,
)
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["FoundFrame", "FrameQuery", "Page", "find_all", "find_frames", "split_words", "squares_around"]

PAGE = 50
BUDGET_S = 0.004
_EXAMINED = 400  # frames looked at one by one at a time, where marks hold a filter only roughly
_WINDOW = 1_000_000  # ids walked before the budget is looked at
_MOST_BEGINNINGS = 120
_DENSE = 0.25
_PROBED = 64


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
    check_query(query)
    query = _roll_for_words(conn, query)
    if conn.dialect.name == "sqlite":
        return _walk(conn, query, limit=limit, after=after, budget_s=budget_s)
    return _postgresql_page(conn, query, limit=limit, after=after)


def find_all(conn: Connection, query: FrameQuery, *, most: int) -> tuple[FoundFrame, ...]:
    """The newest `most` frames that meet `query`, page after page."""
    page = find_frames(conn, query, limit=most, budget_s=None)
    return page.frames


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

    Where marks hold a filter only roughly, frames are read in growing lots. After each lot, and after each window of
    ids, the budget is looked at: lists that share next to nothing are walked for long before a page is full.
    """
    began = time.perf_counter()
    query = _within_book(conn, query)
    if query.since and query.until and query.until < query.since:
        return Page((), None)
    first, last = _id_range(conn, query.roll_id)
    upper = last + 1 if after is None else min(after, last + 1)
    walked, where, values = _without_dense(conn, query, upper)
    match = match_expression(walked, _beginnings(conn, walked))
    found: list[FoundFrame] = []
    lot = (limit + 1) * (1 if walked == query else 2)  # some frames will fall out
    window = _WINDOW if budget_s is not None else last
    while upper > first and len(found) <= limit:
        lower, at = max(first, upper - window), time.perf_counter()
        ids = _candidates(conn, match, lower, upper, lot)
        good = _read(conn, ids, where, values) if ids else []
        found += good
        upper = ids[-1] if len(ids) == lot else lower
        if len(ids) == lot and 2 * len(good) < lot:
            lot = min(lot * 4, _EXAMINED)
        now = time.perf_counter()
        if budget_s is not None and now - began > budget_s:
            break
        if budget_s is not None and now - at < budget_s / 4:
            window *= 2
    if len(found) > limit:
        return Page(tuple(found[:limit]), found[limit - 1].id)
    return Page(tuple(found), upper if upper > first else None)


def _without_dense(conn: Connection, query: FrameQuery, upper: int) -> tuple[FrameQuery, list[str], dict[str, Any]]:
    """The query without filters that most frames meet, and the conditions that hold them on the frame itself.

    Every list is moved along with all others, so a dense one costs more than looking at the few frames that are left.
    """
    where, values = exact_conditions(query, by_marks=range_marks(query)[1])
    if query.not_printed and _others(query) > 1 and _is_dense(conn, "n", upper):
        query = replace(query, not_printed=False)
        where.append("NOT f.printed")
    if query.rating and _others(query) > 1 and _is_dense(conn, f"r{query.rating}", upper):
        where.append("f.rating >= :rating")
        values["rating"] = query.rating
        query = replace(query, rating=None)
    return query, where, values


def _others(query: FrameQuery) -> int:
    """How many lists and groups of lists the query has beside one."""
    return len(match_parts(query)[0]) - 1


def _is_dense(conn: Connection, name: str, upper: int) -> bool:
    """Whether more than a quarter of the frames just below `upper` bear a mark."""
    ids = _candidates(conn, mark(name), 0, upper, _PROBED)
    return len(ids) == _PROBED and _DENSE * (upper - ids[-1]) < _PROBED


def _beginnings(conn: Connection, query: FrameQuery) -> dict[str, list[str]]:
    """The book's words that begin as the query's `start` terms do, where they are not too many.

    The index reads the whole lists of all words with a beginning before it gives the first frame; lists of whole words
    are walked side by side. The book's words are leapt along from one to the next, whatever their lists hold.
    """
    starts = {words for kind, words in split_words(query.words) if kind == "start"}
    if not starts:
        return {}
    conn.exec_driver_sql(
        "CREATE VIRTUAL TABLE IF NOT EXISTS temp.known_words USING fts5vocab(main, frame_words, instance)"
    )
    next_word = "(SELECT term FROM temp.known_words WHERE term >= {} AND term < ?3 LIMIT 1)"
    sql = (
        f"WITH RECURSIVE known(word) AS (SELECT {next_word.format('?1')} UNION ALL"  # noqa: S608
        f" SELECT {next_word.format('word || char(1)')} FROM known WHERE word IS NOT NULL LIMIT ?2)"
        " SELECT word FROM known WHERE word IS NOT NULL"
    )
    found = {}
    for start in starts:
        plain = fold(start)
        values = (plain, _MOST_BEGINNINGS + 1, plain + chr(0x10FFFF))
        words = [row[0] for row in conn.exec_driver_sql(sql, values)]
        if 0 < len(words) <= _MOST_BEGINNINGS:
            found[start] = words
    return found


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


# --- PostgreSQL --------------------------------------------------------------------------------------------------


def _postgresql_page(conn: Connection, query: FrameQuery, *, limit: int, after: int | None) -> Page:
    from sqlalchemy import text

    sql, values = _postgresql(query, after is not None)
    values |= {"limit": limit + 1, **({"after": after} if after is not None else {})}
    rows = [FoundFrame(*row) for row in conn.execute(text(sql), values)]
    return Page(tuple(rows[:limit]), rows[limit - 1].id if len(rows) > limit else None)


def _postgresql(query: FrameQuery, paged: bool) -> tuple[str, dict[str, Any]]:
    where, values = exact_conditions(query)
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
