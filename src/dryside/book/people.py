"""People: whose rolls they are, and whose book."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import people
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class PersonRow:
    """A person of the book."""

    id: int
    name: str
    email: str | None
    phone: str | None
    address: str | None
    is_keeper: bool


def add_person(
    conn: Connection,
    name: str,
    *,
    email: str | None = None,
    phone: str | None = None,
    address: str | None = None,
    is_keeper: bool = False,
) -> PersonRow:
    """Add a person; the same name again is refused. At most one is the keeper: a new keeper takes over.

    Raises
    ------
    Refusal
        If the name is empty or taken.
    """
    name = name.strip()
    if not name:
        raise Refusal("person", "the name is empty", "Give a name.")
    if fetch_one(conn, PersonRow, people, people.c.name == name):
        raise Refusal(f"person {name}", "already in this book", "Use another name.")
    if is_keeper:
        conn.execute(people.update().values(is_keeper=False))
    values = {"name": name, "email": email, "phone": phone, "address": address, "is_keeper": is_keeper}
    return get_person(conn, insert(conn, people, values))


def get_person(conn: Connection, person: int | str) -> PersonRow:
    """A person by id or name.

    Raises
    ------
    NotFound
        If there is none.
    """
    where = people.c.id == person if isinstance(person, int) else people.c.name == person.strip()
    names = ", ".join(row.name for row in list_people(conn)) or "nobody yet"
    return must_be(fetch_one(conn, PersonRow, people, where), f"person {person}", f"In it: {names}.")


def find_or_add_person(conn: Connection, name: str) -> PersonRow:
    """The person of that name, added if new."""
    return fetch_one(conn, PersonRow, people, people.c.name == name.strip()) or add_person(conn, name)


def list_people(conn: Connection) -> list[PersonRow]:
    """Everybody, by name."""
    return fetch(conn, PersonRow, people, order=(people.c.name,))


def keeper(conn: Connection) -> PersonRow | None:
    """The person whose book this is, if said."""
    return fetch_one(conn, PersonRow, people, people.c.is_keeper)


def update_person(conn: Connection, person_id: int, **changes: str | None) -> PersonRow:
    """Change a person's columns."""
    update(conn, people, person_id, dict(changes))
    return get_person(conn, person_id)
