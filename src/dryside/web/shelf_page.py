"""Shelf: unexposed film, what expires first, and the stocks the book knows."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from dryside.book.instants import parse_day
from dryside.book.money import Money
from dryside.book.schema import shelf
from dryside.book.stocks import (
    KEPT,
    add_stock,
    add_to_shelf,
    days_to_expiry,
    get_shelf,
    list_shelf,
    list_stocks,
    shelf_worth,
)
from dryside.book.undoing import Ledger
from dryside.film.formats import FORMATS
from dryside.film.processes import BASES, KINDS, PROCESSES, REMJET, parse_process
from dryside.film.refusal import Refusal
from dryside.film.speed import parse_speed
from dryside.web.forms import Form, needed, text, whole
from dryside.web.pages import done, page, site_of

router = APIRouter()


@router.get("/shelf")
def shelf_page(request: Request) -> Response:
    """What lies on the shelf."""
    site = site_of(request)
    with site.book.read() as conn:
        stocks = {row.id: row for row in list_stocks(conn)}
        lots = [_lot(row, stocks[row.stock_id].name, days_to_expiry(row, site.day())) for row in list_shelf(conn)]
        worth = list(shelf_worth(conn).values())
    return page(
        request, "shelf.html", title="Shelf", lots=lots, worth=worth, stocks=list(stocks.values()), kept=KEPT,
        formats=list(FORMATS), processes=list(PROCESSES), kinds=KINDS, remjet=REMJET, bases=BASES,
    )  # fmt: skip


def _lot(row: Any, name: str, left: int | None) -> dict[str, Any]:
    if left is None:
        expires = "no day on the box"
    elif left < 0:
        expires = f"{-left} days past"
    else:
        expires = "today" if left == 0 else f"in {left} days" if left < 90 else ""
    return {"row": row, "name": name, "expires": expires, "is_late": left is not None and left < 0}


@router.post("/shelf")
def put(request: Request, form: Form) -> Response:
    """Put rolls on the shelf."""
    price, currency = text(form, "price"), (text(form, "currency") or "EUR").upper()
    for name in ("expires", "bought"):
        if given := text(form, name):
            parse_day(given)
    site = site_of(request)
    with site.book.write() as conn:
        ledger = Ledger(conn)
        with ledger.around((shelf, shelf.c.id > 0)):
            row = add_to_shelf(
                conn,
                needed(form, "stock", "film"),
                film_format=text(form, "film_format") or "135",
                quantity=whole(form, "quantity", "Rolls", low=1, high=10_000) or 1,
                exposures=whole(form, "exposures", "Exposures", low=1, high=1000),
                bought_on=text(form, "bought") or site.day().isoformat(),
                expires_on=text(form, "expires"),
                price_each=Money.parse(price.replace(",", "."), currency) if price else None,
                kept=text(form, "kept") or "room",
            )
        undo_id = ledger.save("film put on the shelf")
    return done(request, "/shelf", f"{row.quantity} on the shelf.", undo_id)


@router.post("/shelf/{lot}/quantity")
def count(request: Request, lot: int, form: Form) -> Response:
    """Correct how many rolls there are; 0 takes the lot off the shelf."""
    number = whole(form, "quantity", "Rolls", low=0, high=10_000)
    if number is None:
        raise Refusal("rolls", "no number is given", "Write it like 3.")
    with site_of(request).book.write() as conn:
        get_shelf(conn, lot)
        ledger = Ledger(conn)
        ledger.update(shelf, {"id": lot}, {"quantity": number})
        undo_id = ledger.save("the number of rolls on the shelf")
    return done(request, "/shelf", f"{number} rolls now.", undo_id)


@router.post("/shelf/stock")
def new_stock(request: Request, form: Form) -> Response:
    """Add a film stock."""
    process = parse_process(needed(form, "process", "process"), allow_old=True)
    with site_of(request).book.write() as conn:
        row = add_stock(
            conn,
            needed(form, "name", "name"),
            process=process,
            kind=needed(form, "kind", "kind"),
            iso=parse_speed(needed(form, "iso", "speed")),
            remjet=text(form, "remjet") or ("yes" if process == "ecn2" else "no"),
            base=text(form, "base") or "unknown",
        )
    return done(request, "/shelf", f"{row.name} is known now.")
