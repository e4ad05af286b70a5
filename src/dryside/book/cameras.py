"""Cameras and lenses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from dryside.book.rows import fetch, insert, must_be, update
from dryside.book.schema import cameras, lenses
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table


@dataclass(frozen=True)
class CameraRow:
    """A camera; `format` is what it takes, as film.formats names it."""

    id: int
    name: str
    maker: str | None
    model: str | None
    format: str | None
    owner_id: int | None
    notes: str | None


@dataclass(frozen=True)
class LensRow:
    """A lens; focal lengths in mm (`focal_max_mm` for a zoom), `widest_aperture` as marked."""

    id: int
    name: str
    maker: str | None
    focal_mm: float | None
    focal_max_mm: float | None
    widest_aperture: float | None
    camera_id: int | None


def add_camera(conn: Connection, name: str, **columns: Any) -> CameraRow:
    """Add a camera; the same name again is refused.

    Raises
    ------
    Refusal
        If the name is empty or taken.
    """
    return _add(conn, _CAMERAS, name, columns)


def get_camera(conn: Connection, camera: int | str) -> CameraRow:
    """A camera by id or name (any case).

    Raises
    ------
    NotFound
        If there is none.
    """
    return _get(conn, _CAMERAS, camera)


def find_or_add_camera(conn: Connection, name: str) -> CameraRow:
    """The camera of that name, added if new."""
    return _by_name(list_cameras(conn), name) or add_camera(conn, name)


def list_cameras(conn: Connection) -> list[CameraRow]:
    """Every camera, by name."""
    return _list(conn, _CAMERAS)


def update_camera(conn: Connection, camera_id: int, **changes: Any) -> CameraRow:
    """Change a camera's columns."""
    update(conn, cameras, camera_id, changes)
    return get_camera(conn, camera_id)


def add_lens(conn: Connection, name: str, **columns: Any) -> LensRow:
    """Add a lens; the same name again is refused.

    Raises
    ------
    Refusal
        If the name is empty or taken.
    """
    return _add(conn, _LENSES, name, columns)


def get_lens(conn: Connection, lens: int | str) -> LensRow:
    """A lens by id or name (any case).

    Raises
    ------
    NotFound
        If there is none.
    """
    return _get(conn, _LENSES, lens)


def find_or_add_lens(conn: Connection, name: str) -> LensRow:
    """The lens of that name, added if new."""
    return _by_name(list_lenses(conn), name) or add_lens(conn, name)


def list_lenses(conn: Connection) -> list[LensRow]:
    """Every lens, by name."""
    return _list(conn, _LENSES)


Row = TypeVar("Row", CameraRow, LensRow)


@dataclass(frozen=True)
class _Kind(Generic[Row]):
    """What cameras and lenses have alike: things of a name, each in a table of its own."""

    word: str
    table: Table
    row: type[Row]


_CAMERAS = _Kind("camera", cameras, CameraRow)
_LENSES = _Kind("lens", lenses, LensRow)


def _list(conn: Connection, kind: _Kind[Row]) -> list[Row]:
    return fetch(conn, kind.row, kind.table, order=(kind.table.c.name,))


def _by_name(rows: list[Row], name: str) -> Row | None:
    wanted = name.strip().casefold()
    return next((row for row in rows if row.name.casefold() == wanted), None)


def _get(conn: Connection, kind: _Kind[Row], one: int | str) -> Row:
    known = _list(conn, kind)
    row = next((row for row in known if row.id == one), None) if isinstance(one, int) else _by_name(known, one)
    names = ", ".join(row.name for row in known) or "none yet"
    return must_be(row, f"{kind.word} {one}", f"In it: {names}.")


def _add(conn: Connection, kind: _Kind[Row], name: str, columns: dict[str, Any]) -> Row:
    name = name.strip()
    if not name:
        raise Refusal(kind.word, "the name is empty", "Give a name.")
    if _by_name(_list(conn, kind), name):
        raise Refusal(f"{kind.word} {name}", "already in this book", "Use another name.")
    return _get(conn, kind, insert(conn, kind.table, {"name": name, **columns}))
