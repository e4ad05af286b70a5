"""Which pages there are: one router a stop of the journey, and what runs beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter

if TYPE_CHECKING:
    from dryside.web.app import Site


def routers() -> tuple[APIRouter, ...]:
    """Every router, in the order of the journey."""
    return ()


def start(site: Site) -> None:
    """Begin what runs beside the pages."""


def stop(site: Site) -> None:
    """End it."""
