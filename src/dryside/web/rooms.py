"""Which pages there are: one router a stop of the journey, and what runs beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter

from dryside.web import (
    api,
    back_page,
    door_page,
    dropoff_page,
    field_page,
    find_page,
    jobs_page,
    labs_page,
    negatives_page,
    orders_page,
    pictures,
    prints_page,
    roll_page,
    rolls_page,
    shelf_page,
    sleeves_page,
    spending_page,
    today_page,
    trust_page,
)
from dryside.web.job_runner import JobRunner

if TYPE_CHECKING:
    from dryside.web.app import Site


def routers() -> tuple[APIRouter, ...]:
    """Every router, in the order of the journey."""
    rooms = (
        today_page, shelf_page, rolls_page, roll_page, find_page, field_page, dropoff_page, orders_page, back_page,
        sleeves_page,
        negatives_page, prints_page, labs_page, spending_page, pictures, jobs_page, door_page, trust_page, api,
    )  # fmt: skip
    return tuple(room.router for room in rooms)


def start(site: Site) -> None:
    """Begin what runs beside the pages."""
    site.runner = JobRunner(site.book)
    site.runner.start()


def stop(site: Site) -> None:
    """End it."""
    if site.runner is not None:
        site.runner.close()
    pictures.close_readers()
    negatives_page.close_makers()
    prints_page.close_lookers()
