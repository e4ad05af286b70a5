"""Changes that can be taken back: what one command changes in the book is written down beside it, row by row."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.events import add_event
from dryside.book.instants import now
from dryside.book.journey import RollState
from dryside.book.rolls import get_roll, move_roll
from dryside.book.rows import insert, must_be, update
from dryside.book.schema import metadata, rolls, undo
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement, Connection, Table


@dataclass(frozen=True)
class Change:
    """A row before and after; None where it was not there, or is not any more.

    What `Ledger.around` saw of a row that only changed are the columns that did.
    """

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

    @contextmanager
    def around(self, *watched: tuple[Table, ColumnElement[bool]]) -> Iterator[None]:
        """Remember what the block changes in rows of tables with an `id`: rows that come, go, or change.

        A roll that moves in it is moved back by an event of its own.

        Parameters
        ----------
        *watched : (table, condition)
            Which rows to look at before and after; a table whose rows others name goes before theirs.
        """
        before = [_rows(self.conn, table, where) for table, where in watched]
        yield
        for (table, where), old in zip(watched, before, strict=True):
            new = _rows(self.conn, table, where)
            for row_id in sorted({*old, *new}):
                self._compare(table, row_id, old.get(row_id), new.get(row_id))

    def _compare(self, table: Table, row_id: int, old: dict[str, Any] | None, new: dict[str, Any] | None) -> None:
        if old is not None and new is not None:
            differ = [name for name in old if old[name] != new[name] and name != "changed_at"]
            if table is rolls and "state" in differ:
                self._moves.append({"roll_id": row_id, "from": old["state"], "to": new["state"]})
                differ.remove("state")
            old, new = ({name: row[name] for name in differ} for row in (old, new))
            if not differ:
                return
        self._changes.append(Change(table.name, {"id": row_id}, old, new))

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
    found = _row(conn, table, change.key)
    if found is not None and change.after is not None:
        found = {name: found.get(name) for name in change.after}
    if found != change.after:
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
    # Not by `move_roll`: some moves have no way back in life, and taking one back only says that it never was.
    moment = at or now()
    update(conn, rolls, roll.id, {"state": move["from"], "changed_at": moment})
    add_event(conn, kind="moved", at=moment, roll_id=roll.id, from_state=roll.state, to_state=move["from"],
              detail={"taken back": what})  # fmt: skip


def _rows(conn: Connection, table: Table, where: ColumnElement[bool]) -> dict[int, dict[str, Any]]:
    return {int(row.id): dict(row._mapping) for row in conn.execute(table.select().where(where))}


def _matches(table: Table, key: dict[str, Any]) -> list[Any]:
    return [table.c[name] == value for name, value in key.items()]


def _row(conn: Connection, table: Table, key: dict[str, Any]) -> dict[str, Any] | None:
    row = conn.execute(table.select().where(*_matches(table, key))).first()
    return None if row is None else dict(row._mapping)
