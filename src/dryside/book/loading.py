"""Loading film: a roll begins, one is taken off the shelf, and what speaks against its process is said before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from dryside.book.cameras import find_or_add_camera
from dryside.book.journey import RollState
from dryside.book.people import find_or_add_person
from dryside.book.rolls import RollRow, add_roll
from dryside.book.stocks import ShelfRow, StockRow, film_stock, get_stock, take_from_shelf
from dryside.film.formats import FORMATS, parse_format
from dryside.film.processes import parse_process, process_name, process_warnings
from dryside.film.refusal import Refusal
from dryside.film.speed import format_push, push_for_index

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class NewRoll:
    """What a person says when loading; None is worked out from the stock or left open.

    Attributes
    ----------
    on : date
        The day it was loaded (or, with `is_exposed`, written down).
    stock : str or None
        Name of a stock of the book.
    film_format, process : str or None
        As people write them. The process is the stock's own unless said.
    push_stops : float
        What the lab shall do; above 0 a push.
    is_exposed : bool
        It is finished already: it starts there and not in a camera.
    """

    on: date
    stock: str | None = None
    film_format: str | None = None
    process: str | None = None
    cross_process: bool = False
    camera: str | None = None
    owner: str | None = None
    exposures: int | None = None
    exposure_index: int | None = None
    push_stops: float = 0.0
    title: str | None = None
    notes: str | None = None
    irreplaceable: str | None = None
    expires_on: str | None = None
    names: tuple[str, ...] = ()
    is_exposed: bool = False


@dataclass(frozen=True)
class Loaded:
    """The roll, and what a person should know about it."""

    roll: RollRow
    warnings: tuple[str, ...]
    from_shelf: ShelfRow | None


def load_roll(conn: Connection, new: NewRoll, *, at: str | None = None, who: str | None = None) -> Loaded:
    """Begin a roll inside one `Book.write`; a roll of the same stock and format leaves the shelf.

    Raises
    ------
    Refusal
        If the film must not go into the process (rem-jet film in C-41 ...), or format or process are not known.
    NotFound
        If the stock is not in the book.
    """
    stock = get_stock(conn, new.stock) if new.stock else None
    film_format = _format(new)
    process = _process(new, stock)
    warnings = _warnings(new, stock, process)
    lot = take_from_shelf(conn, stock.id, film_format) if stock and not new.is_exposed else None
    day = new.on.isoformat()
    roll = add_roll(
        conn,
        film_format=film_format,
        process=process,
        on=new.on,
        state=RollState.EXPOSED if new.is_exposed else RollState.CAMERA,
        who=who,
        at=at,
        names=new.names,
        cross_process=new.cross_process,
        stock_id=stock.id if stock else None,
        camera_id=find_or_add_camera(conn, new.camera).id if new.camera else None,
        owner_id=find_or_add_person(conn, new.owner).id if new.owner else None,
        exposures=new.exposures or (lot.exposures if lot else None) or _usual_exposures(film_format),
        exposure_index=new.exposure_index,
        push_stops=new.push_stops,
        loaded_on=None if new.is_exposed else day,
        exposed_on=day if new.is_exposed else None,
        expires_on=new.expires_on or (lot.expires_on if lot else None),
        irreplaceable=new.irreplaceable,
        title=new.title,
        notes=new.notes,
    )
    return Loaded(roll, (*warnings, *_shelf_warnings(lot, new.on)), lot)


def _format(new: NewRoll) -> str:
    return parse_format(new.film_format or "135")


def _usual_exposures(film_format: str) -> int | None:
    known = FORMATS.get(film_format)
    return known.frames_per_roll[0] if known else None


def _process(new: NewRoll, stock: StockRow | None) -> str:
    if new.process:
        return parse_process(new.process)
    if stock is None:
        raise Refusal("roll", "neither stock nor process is said", "Name one: --stock or --process.")
    return parse_process(stock.process)


def _warnings(new: NewRoll, stock: StockRow | None, process: str) -> tuple[str, ...]:
    if stock is None:
        return ()
    thing = f"roll of {stock.name} in {process_name(process)}"
    warnings = process_warnings(
        film_stock(stock), process, push_stops=new.push_stops, cross_process_asked=new.cross_process
    )
    for warning in warnings:
        if warning.is_refusal:
            raise warning.as_refusal(thing)
    words = [warning.text for warning in warnings]
    if new.exposure_index and not new.push_stops:
        stops = push_for_index(stock.iso, new.exposure_index)
        if stops:
            push = format_push(stops)
            words.append(
                f"metered at {new.exposure_index} on ISO {stock.iso} film is {push} from the box, and no push is asked"
                f" for. If the lab shall push it: dryside roll set ROLL --push {push}."
            )
    return tuple(words)


# Warm-up: makers' replies give 1 to 3 h from a refrigerator and 1.5 h and more from a freezer for rolls; the longer
# figures are taken, since only too short does harm.
_WARM_UP_H = {"cold": 3, "frozen": 5}


def _shelf_warnings(lot: ShelfRow | None, on: date) -> list[str]:
    words = []
    if lot is not None and lot.kept in _WARM_UP_H:
        hours = _WARM_UP_H[lot.kept]
        words.append(f"it was kept {lot.kept}: let it warm up closed for {hours} h before opening, or it will sweat.")
    if lot is not None and lot.expires_on and lot.expires_on < on.isoformat():
        words.append(f"it expired on {lot.expires_on}.")
    return words
