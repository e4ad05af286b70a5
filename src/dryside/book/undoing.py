"""Changes that can be taken back: what one command changes in the book is written down beside it, row by row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.instants import now
from dryside.book.journey import RollState
from dryside.book.rolls import get_roll, move_roll
from dryside.book.rows import insert, must_be
from dryside.book.schema import metadata, undo
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table


@dataclass(frozen=True)
class Change:
    """A row before and after; None where it was not there, or is not any more."""

    table: str
    key: dict[str, Any]
    before: dict[str, Any] | None
    after: dict[str, Any] | None


class Ledger:
    """Changes rows and remembers how they were. Used inside one `Book.write`; `save` ends it.

    Parameters
    ----------
    conn : Connection
        The transaction under way.
    """

    def __init__(self, conn: Connection) -> None:
        self.conn = conn
        self._changes: list[Change] = []
        self._moves: list[dict[str, Any]] = []

    def insert(self, table: Table, values: dict[str, Any]) -> int:
        """Add a row with an `id` of its own and return that."""
        row_id = insert(self.conn, table, values)
        self._changes.append(Change(table.name, {"id": row_id}, None, _row(self.conn, table, {"id": row_id})))
        return row_id

    def insert_keyed(self, table: Table, key: dict[str, Any], values: dict[str, Any]) -> None:
        """Add a row whose key is given."""
        self.conn.execute(table.insert().values(**key, **values))
        self._changes.append(Change(table.name, key, None, _row(self.conn, table, key)))

    def update(self, table: Table, key: dict[str, Any], changes: dict[str, Any]) -> None:
        """Change columns of one row."""
        before = _row(self.conn, table, key)
        self.conn.execute(table.update().where(*_matches(table, key)).values(**changes))
        self._changes.append(Change(table.name, key, before, _row(self.conn, table, key)))

    def delete(self, table: Table, key: dict[str, Any]) -> None:
        """Take one row out."""
        before = _row(self.conn, table, key)
        self.conn.execute(table.delete().where(*_matches(table, key)))
        self._changes.append(Change(table.name, key, before, None))

    def move_roll(self, roll_id: int, to: RollState, *, at: str | None = None, detail: Any = None) -> None:
        """Move a roll along its journey, so that undoing moves it back."""
        roll = get_roll(self.conn, roll_id)
        if roll.place is to:
            return
        move_roll(self.conn, roll, to, at=at, detail=detail)
        self._moves.append({"roll_id": roll_id, "from": roll.state, "to": str(to)})

    def save(self, what: str, *, at: str | None = None) -> int:
        """Keep the changes under the words that name them, and return the entry's id."""
        changes = {"rows": [vars(change) for change in self._changes], "moves": self._moves}
        return insert(self.conn, undo, {"at": at or now(), "what": what, "changes": changes})


@dataclass(frozen=True)
class Undone:
    """What was taken back."""

    id: int
    what: str
    rows: int


def take_back(conn: Connection, undo_id: int | None = None, *, at: str | None = None) -> Undone:
    """Take back the last command, or one by its id; nothing else is touched.

    Raises
    ------
    NotFound
        If there is nothing to take back.
    Refusal
        If it was taken back already, or a row was changed since: the later command must be taken back first.
    """
    from sqlalchemy import select
    from sqlalchemy.exc import IntegrityError

    query = select(undo).order_by(undo.c.id.desc()).limit(1)
    query = query.where(undo.c.undone.is_(False)) if undo_id is None else query.where(undo.c.id == undo_id)
    entry = conn.execute(query).first()
    if entry is None and undo_id is None:
        raise NotFound("undo", "there is nothing to take back")
    entry = must_be(entry, f"change {undo_id}", "List them: dryside sleeve undo --list.")
    if entry.undone:
        raise Refusal(f"change {entry.id} ({entry.what})", "it was taken back already")
    thing = f"change {entry.id} ({entry.what})"
    try:
        for change in reversed(entry.changes["rows"]):
            _restore(conn, Change(**change), thing)
    except IntegrityError as error:
        found = "something in the book rests on it by now: a loan, or what lies there since"
        raise Refusal(thing, found, "Take that back first: dryside sleeve undo --list.") from error
    for move in reversed(entry.changes["moves"]):
        _move_back(conn, move, entry.what, at)
    conn.execute(undo.update().where(undo.c.id == entry.id).values(undone=True))
    return Undone(entry.id, entry.what, len(entry.changes["rows"]))


def recent_changes(conn: Connection, *, most: int = 20) -> list[dict[str, Any]]:
    """The last changes, newest first: id, at, what, undone."""
    from sqlalchemy import select

    query = select(undo.c.id, undo.c.at, undo.c.what, undo.c.undone).order_by(undo.c.id.desc()).limit(most)
    return [dict(row._mapping) for row in conn.execute(query)]


def _restore(conn: Connection, change: Change, thing: str) -> None:
    table = metadata.tables[change.table]
    if _row(conn, table, change.key) != change.after:
        raise Refusal(thing, "what it changed was changed again since", "Take back the later change first.")
    if change.before is None:
        conn.execute(table.delete().where(*_matches(table, change.key)))
    elif change.after is None:
        conn.execute(table.insert().values(**change.before))
    else:
        conn.execute(table.update().where(*_matches(table, change.key)).values(**change.before))


def _move_back(conn: Connection, move: dict[str, Any], what: str, at: str | None) -> None:
    roll = get_roll(conn, move["roll_id"])
    if roll.state != move["to"]:
        raise Refusal(f"roll {roll.code}", f"it is '{roll.state}' by now, not '{move['to']}'", "Move it by hand.")
    move_roll(conn, roll, RollState(move["from"]), at=at, detail={"taken back": what})


def _matches(table: Table, key: dict[str, Any]) -> list[Any]:
    return [table.c[name] == value for name, value in key.items()]


def _row(conn: Connection, table: Table, key: dict[str, Any]) -> dict[str, Any] | None:
    row = conn.execute(table.select().where(*_matches(table, key))).first()
    return None if row is None else dict(row._mapping)
