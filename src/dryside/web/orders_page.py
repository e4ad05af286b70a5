"""Orders at labs: their lines, days, receipt with a photo, who owes what, and what was fetched."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from dryside.book.files import find_file
from dryside.book.instants import parse_day
from dryside.book.money import Money
from dryside.book.schema import order_lines, orders, rolls
from dryside.book.undoing import Ledger
from dryside.labs.book_labs import get_lab
from dryside.labs.collecting import collect
from dryside.labs.order_words import describe_order, order_document
from dryside.labs.orders import differences, get_order, list_orders, set_receipt
from dryside.web.forms import Form, file_of, text
from dryside.web.pages import done, page, site_of

router = APIRouter()
RECEIPT_KINDS = (".jpg", ".jpeg", ".png", ".heic", ".webp", ".pdf")


@router.get("/orders")
def orders_page(request: Request) -> Response:
    """Every order, the newest first."""
    with site_of(request).book.read() as conn:
        names: dict[int, str] = {}
        rows = []
        for order in reversed(list_orders(conn)):
            if order.lab_id not in names:
                names[order.lab_id] = get_lab(conn, order.lab_id).row.name
            rows.append((order, names[order.lab_id]))
    return page(request, "orders.html", title="Orders", rows=rows)


@router.get("/orders/{number}")
def order_page(request: Request, number: str) -> Response:
    """One order."""
    with site_of(request).book.read() as conn:
        order = get_order(conn, number)
        words = describe_order(conn, number)
        document = order_document(conn, number)
        found, whole = differences(conn, order)
        receipt = find_file(conn, order.receipt_sha256) if order.receipt_sha256 else None
    return page(
        request,
        "order.html",
        title=f"Order {order.number}",
        order=order,
        words=words,
        lab=document["lab"],
        differences=[*found, *([whole] if whole is not None and whole.more else [])],
        receipt=receipt,
        has_prints=any(line["service"].startswith("print") for line in document["lines"]),
    )


@router.post("/orders/{number}/receipt")
def receipt(request: Request, number: str, form: Form) -> Response:
    """Note what the receipt says, with a photo of it."""
    site = site_of(request)
    paid, paid_on = text(form, "paid"), text(form, "paid_on")
    with file_of(form, "photo", suffixes=RECEIPT_KINDS) as photo, site.book.write() as conn:
        order = get_order(conn, number)
        ledger = Ledger(conn)
        with ledger.around((orders, orders.c.id == order.id), (order_lines, order_lines.c.order_id == order.id)):
            set_receipt(
                conn,
                site.book,
                order,
                number=text(form, "receipt_number"),
                paid=Money.parse(paid.replace(",", "."), order.currency) if paid else None,
                paid_on=parse_day(paid_on) if paid_on else None,
                file=photo,
                at=site.moment(),
            )
        undo_id = ledger.save(f"the receipt of {order.number}")
    return done(request, f"/orders/{order.number}", "The receipt is noted.", undo_id)


@router.post("/orders/{number}/collect")
def fetched(request: Request, number: str, form: Form) -> Response:
    """Negatives or prints were fetched."""
    site = site_of(request)
    what = text(form, "what") or "all"
    with site.book.write() as conn:
        order = get_order(conn, number)
        ledger = Ledger(conn)
        with ledger.around((orders, orders.c.id == order.id), (rolls, rolls.c.id > 0)):
            found = collect(
                conn,
                order,
                at=site.moment(),
                negatives=what in ("all", "negatives"),
                prints=what in ("all", "prints"),
            )
        undo_id = ledger.save(f"fetching of {order.number}")
    said = [f"negatives of {', '.join(found.rolls)}" if found.rolls else "", "the prints" if found.prints else ""]
    told = " and ".join(one for one in said if one)
    rest = f" Still there: {', '.join(found.still_there)}." if found.still_there else ""
    sentence = f"Fetched: {told}." if told else "Nothing was left to fetch."
    return done(request, f"/orders/{found.order.number}", sentence + rest, undo_id)
