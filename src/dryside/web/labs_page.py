"""Labs: what they take, prices, days, how long their orders really took, and how their developing drifts."""

from __future__ import annotations

from calendar import day_name
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response

from dryside.book.schema import labs
from dryside.book.undoing import Ledger
from dryside.labs.book_labs import add_lab, get_lab, list_labs, price_lists_of, set_active
from dryside.labs.lab_record import record_of
from dryside.labs.lab_words import lab_rows
from dryside.labs.orders import list_orders
from dryside.web import words
from dryside.web.forms import Form, text
from dryside.web.lab_form import DEVELOPED, PRINTS, SCANS, price_list_of
from dryside.web.lab_plots import developing_plots, figures_of
from dryside.web.pages import done, page, site_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter()


@router.get("/labs")
def labs_page(request: Request) -> Response:
    """All labs side by side."""
    site = site_of(request)
    with site.book.read() as conn:
        known_labs = list_labs(conn, day=site.day(), with_inactive=True)
        shown = [_shown(conn, known, site.day(), None) for known in known_labs]
    return page(
        request, "labs.html", title="Labs", shown=shown, day=site.day(), developed=DEVELOPED, scans=SCANS,
        prints=PRINTS, weekdays=tuple(day_name),
    )  # fmt: skip


@router.get("/labs/{name}")
def lab_page(request: Request, name: str) -> Response:
    """One lab: its price list as it stands, older ones, its record and drift."""
    site = site_of(request)
    with site.book.read() as conn:
        known = get_lab(conn, name, day=site.day())
        shown = _shown(conn, known, site.day(), figures_of(conn, known.row.name))
        plots = developing_plots(conn, known.row.name)
    return page(request, "lab.html", title=known.row.name, one=shown, plots=plots)


@router.post("/labs")
def add(request: Request, form: Form) -> Response:
    """Put a lab's file in the book: a new lab, or a new price list."""
    written = text(form, "toml")
    content = written.replace("\r\n", "\n") + "\n" if written else price_list_of(form)
    site = site_of(request)
    with site.book.write() as conn:
        known, is_new = add_lab(conn, content, source="price list", today=site.day())
    new = f"{known.row.name}: prices as of {words.day(known.price_list.as_of)}."
    said = new if is_new else "The book had this list already."
    return done(request, f"/labs/{known.row.name}", said)


@router.post("/labs/{name}/active")
def active(request: Request, name: str, form: Form) -> Response:
    """Take a lab into plans or leave it out."""
    on = text(form, "active") == "yes"
    with site_of(request).book.write() as conn:
        known = get_lab(conn, name)
        ledger = Ledger(conn)
        with ledger.around((labs, labs.c.id == known.row.id)):
            set_active(conn, known.row.id, on)
        undo_id = ledger.save(f"whether {known.row.name} is in plans")
    said = "is in the plans again" if on else "is left out of plans; its past stays"
    return done(request, f"/labs/{known.row.name}", f"{known.row.name} {said}.", undo_id)


def _shown(conn: Connection, known: Any, day: Any, figures: Any) -> dict[str, Any]:
    orders = list_orders(conn, lab_id=known.row.id)
    return {
        "known": known,
        "rows": lab_rows(known.lab, day),
        "is_old": known.lab.prices_are_old(day),
        "record": record_of(known.lab, orders),
        "figures": figures,
        "orders": list(reversed(orders)),
        "lists": price_lists_of(conn, known.row.id),
    }
