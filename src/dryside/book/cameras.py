"""Cameras and lenses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import cameras, lenses
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


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
    name = _free_name(conn, "camera", name)
    return get_camera(conn, insert(conn, cameras, {"name": name, **columns}))


def get_camera(conn: Connection, camera: int | str) -> CameraRow:
    """A camera by id or name (any case).

    Raises
    ------
    NotFound
        If there is none.
    """
    row = (
        fetch_one(conn, CameraRow, cameras, cameras.c.id == camera)
        if isinstance(camera, int)
        else _by_name(list_cameras(conn), camera)
    )
    names = ", ".join(known.name for known in list_cameras(conn)) or "none yet"
    return must_be(row, f"camera {camera}", f"In it: {names}.")


def find_or_add_camera(conn: Connection, name: str) -> CameraRow:
    """The camera of that name, added if new."""
    return _by_name(list_cameras(conn), name) or add_camera(conn, name)


def list_cameras(conn: Connection) -> list[CameraRow]:
    """Every camera, by name."""
    return fetch(conn, CameraRow, cameras, order=(cameras.c.name,))


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
    name = _free_name(conn, "lens", name)
    return get_lens(conn, insert(conn, lenses, {"name": name, **columns}))


def get_lens(conn: Connection, lens: int | str) -> LensRow:
    """A lens by id or name (any case).

    Raises
    ------
    NotFound
        If there is none.
    """
    row = (
        fetch_one(conn, LensRow, lenses, lenses.c.id == lens)
        if isinstance(lens, int)
        else _by_name(list_lenses(conn), lens)
    )
    names = ", ".join(known.name for known in list_lenses(conn)) or "none yet"
    return must_be(row, f"lens {lens}", f"In it: {names}.")


def find_or_add_lens(conn: Connection, name: str) -> LensRow:
    """The lens of that name, added if new."""
    return _by_name(list_lenses(conn), name) or add_lens(conn, name)


def list_lenses(conn: Connection) -> list[LensRow]:
    """Every lens, by name."""
    return fetch(conn, LensRow, lenses, order=(lenses.c.name,))


def _by_name(rows: list[Any], name: str) -> Any:
    wanted = name.strip().casefold()
    return next((row for row in rows if row.name.casefold() == wanted), None)


def _free_name(conn: Connection, what: str, name: str) -> str:
    name = name.strip()
    if not name:
        raise Refusal(what, "the name is empty", "Give a name.")
    known: list[Any] = [*list_cameras(conn)] if what == "camera" else [*list_lenses(conn)]
    if _by_name(known, name):
        raise Refusal(f"{what} {name}", "already in this book", "Use another name.")
    return name
