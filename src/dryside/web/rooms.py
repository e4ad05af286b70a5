"""Which pages there are: one router a stop of the journey, and what runs beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter

from dryside.web import (
    door_page,
    find_page,
    pictures,
    roll_page,
    rolls_page,
    today_page,
)

if TYPE_CHECKING:
    from dryside.web.app import Site


def routers() -> tuple[APIRouter, ...]:
    """Every router, in the order of the journey."""
    rooms = (today_page, rolls_page, roll_page, find_page, pictures, door_page)
    return tuple(room.router for room in rooms)


def start(site: Site) -> None:
    """Begin what runs beside the pages."""


def stop(site: Site) -> None:
    """End it."""
    pictures.close_readers()
