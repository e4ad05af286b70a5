"""Rolls: the list with its filters, and a new roll."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response

from dryside.book.cameras import list_cameras
from dryside.book.instants import parse_day
from dryside.book.journey import RollState, parse_state
from dryside.book.loading import NewRoll, load_roll
from dryside.book.people import list_people
from dryside.book.roll_list import RollFilter, count_by_state, list_roll_page
from dryside.book.schema import events, rolls, shelf
from dryside.book.stocks import list_stocks
from dryside.book.undoing import Ledger
from dryside.film.formats import FORMATS, parse_format
from dryside.film.speed import parse_push, parse_speed
from dryside.web.forms import Form, text, whole
from dryside.web.pages import done, page, site_of

router = APIRouter()


@router.get("/rolls")
def rolls_page(
    request: Request,
    words: str = "",
    state: str = "",
    stock: str = "",
    camera: str = "",
    owner: str = "",
    film_format: str = "",
    after: int | None = None,
) -> Response:
    """The list, page by page."""
    chosen = RollFilter(
        words=words[:200],
        states=(parse_state(state),) if state else (),
        stock_id=_number(stock),
        camera_id=_number(camera),
        owner_id=_number(owner),
        film_format=parse_format(film_format) if film_format else None,
    )
    with site_of(request).book.read() as conn:
        found = list_roll_page(conn, chosen, after=after)
        given = choices(conn) | {"counts": count_by_state(conn)}
    asked = {"words": words, "state": state, "stock": stock, "camera": camera, "owner": owner,
             "film_format": film_format}  # fmt: skip
    return page(
        request,
        "rolls.html",
        title="Rolls",
        found=found,
        asked=asked,
        states=list(RollState),
        more=_further(asked, found.after),
        **given,
    )


@router.get("/rolls/new")
def new_roll_page(request: Request) -> Response:
    """The form that begins a roll."""
    with site_of(request).book.read() as conn:
        return page(request, "roll-new.html", title="Load a roll", **choices(conn))


@router.post("/rolls/new")
def begin_roll(request: Request, form: Form) -> Response:
    """Begin a roll: it gets its code, and one leaves the shelf."""
    from sqlalchemy import func, select

    site = site_of(request)
    on = text(form, "on")
    day = parse_day(on) if on else site.day()
    new = _new_roll(form, day)
    with site.book.write() as conn:
        ledger = Ledger(conn)
        newest = conn.execute(select(func.coalesce(func.max(rolls.c.id), 0))).scalar_one()
        with ledger.around((rolls, rolls.c.id > newest), (events, events.c.roll_id > newest), (shelf, shelf.c.id > 0)):
            loaded = load_roll(conn, new, at=site.moment())
        undo_id = ledger.save(f"loading roll {loaded.roll.code}")
    mind = "".join(f" Mind: {one}" for one in loaded.warnings)
    said = f"Roll {loaded.roll.code} has begun. Write the code on it.{mind}"
    return done(request, f"/rolls/{loaded.roll.code}", said, undo_id)


def _new_roll(form: Form, day: date) -> NewRoll:
    index, push = text(form, "exposure_index"), text(form, "push")
    return NewRoll(
        on=day,
        stock=text(form, "stock"),
        film_format=text(form, "film_format"),
        process=text(form, "process"),
        camera=text(form, "camera"),
        owner=text(form, "owner"),
        exposures=whole(form, "exposures", "Exposures", low=1, high=1000),
        exposure_index=parse_speed(index) if index else None,
        push_stops=float(parse_push(push)) if push else 0.0,
        title=text(form, "title"),
        notes=text(form, "notes"),
        is_exposed=text(form, "is_exposed") is not None,
    )


def choices(conn: Any) -> dict[str, Any]:
    """What filters and forms offer."""
    return {
        "stocks": list_stocks(conn),
        "cameras": list_cameras(conn),
        "people": list_people(conn),
        "formats": list(FORMATS),
    }


def _number(given: str) -> int | None:
    return int(given) if given.isdecimal() and len(given) < 10 else None


def _further(asked: dict[str, str], after: int | None) -> str | None:
    if after is None:
        return None
    kept = {name: value for name, value in asked.items() if value}
    return f"/rolls?{urlencode({**kept, 'after': after})}"
