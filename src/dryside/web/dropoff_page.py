"""Drop-off: waiting rolls and wishes, the plans as plot and table, an assignment by hand, papers, the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, JSONResponse

from dryside.book.instants import parse_day
from dryside.book.rolls import find_roll
from dryside.book.schema import order_lines, orders, rolls
from dryside.book.undoing import Ledger
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.book_labs import current_labs
from dryside.labs.handing_in import HandMade, assign_by_hand, hand_in, order_warnings, write_order_papers
from dryside.labs.lab import Lab
from dryside.labs.papers import PaperChoices
from dryside.labs.plan_document import old_list_words
from dryside.labs.planning import Plan, PlanReport, plan_drop_off
from dryside.labs.rolls import RollWish, parse_prints
from dryside.labs.waiting import get_wish, set_wish, waiting_rolls
from dryside.web import plot, words
from dryside.web.forms import Form, text, texts
from dryside.web.pages import done, page, site_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter()
PAPER_KINDS = {".pdf": "application/pdf", ".jpg": "image/jpeg", ".zip": "application/zip"}


@router.get("/drop-off")
def drop_off_page(request: Request, plan: int = 1) -> Response:
    """Everything for the way to the counter."""
    site = site_of(request)
    day = site.day()
    with site.book.read() as conn:
        waiting = waiting_rolls(conn)
        labs = current_labs(conn, day)
        given: dict[str, Any] = {"report": None, "chosen": 0, "drawn": None, "hand": None, "assigned": {}, "old": []}
        if waiting and labs:
            given = _planned(conn, labs, [one.as_wish() for one in waiting], day, plan)
    scans = sorted({scan.name for lab in labs for scan in lab.scan})
    return page(request, "drop-off.html", title="Drop-off", waiting=waiting, labs=labs, scans=scans, day=day, **given)


def _planned(conn: Connection, labs: tuple[Lab, ...], wishes: list[RollWish], day: date, plan: int) -> dict[str, Any]:
    report = plan_drop_off(labs, wishes, day)
    number = min(max(plan, 1), max(len(report.plans), 1))
    chosen = report.plans[number - 1] if report.plans else None
    assigned = (
        {} if chosen is None else {one.wish.roll: order.lab.name for order in chosen.orders for one in order.rolls}
    )
    days = {} if chosen is None else {order.lab.name: order.drop_off for order in chosen.orders}
    hand = assign_by_hand(labs, wishes, assigned, days, day)
    return {
        "report": report,
        "chosen": number,
        "drawn": drawn(report, number) if report.plans else None,
        "hand": hand,
        "assigned": assigned,
        "warnings": order_warnings(conn, hand.orders),
        "old": old_list_words(report),
        "rows": [_row(report, place) for place in range(len(report.plans))],
    }


def drawn(report: PlanReport, chosen: int) -> Any:
    """The trade-off as a plot whose points choose a plan."""
    dots = [
        plot.Dot(
            one.ready,
            float(one.total.amount),
            str(number),
            f"/drop-off?plan={number}",
            f"Plan {number}: {one.total}, all ready {words.short_day(one.ready)}",
            number == chosen,
        )
        for number, one in enumerate(report.plans, start=1)
    ]
    return plot.steps(dots, unit=report.currency, title="What waiting saves: total against the day all is ready")


def _row(report: PlanReport, place: int) -> dict[str, Any]:
    one: Plan = report.plans[place]
    more = one.total - report.plans[0].total
    return {
        "number": place + 1,
        "total": str(one.total),
        "more": f"+{more.amount}" if more else "",
        "ready": one.ready,
        "labs": [(order.lab.name, [roll.wish.roll for roll in order.rolls]) for order in one.orders],
    }


@router.post("/drop-off/wish/{code}")
def wish(request: Request, code: str, form: Form) -> Response:
    """Say what a waiting roll shall have done."""
    need_by, prints = text(form, "need_by"), text(form, "prints")
    with site_of(request).book.write() as conn:
        roll = find_roll(conn, code)
        wished = replace(
            get_wish(conn, roll.id),
            scan=text(form, "scan"),
            prints=parse_prints(prints, where="Prints") if prints else (),
            need_by=parse_day(need_by) if need_by else None,
            rush=text(form, "rush") is not None,
            returns=text(form, "returns"),
            clip_test=text(form, "clip_test") is not None,
            instructions=text(form, "instructions"),
        )
        set_wish(conn, roll.id, wished)
    return done(request, "/drop-off", f"What {roll.code} shall have done is noted.")


@router.post("/drop-off/draft")
def draft(request: Request, form: Form) -> Response:
    """Price an assignment while it is being changed."""
    site = site_of(request)
    with site.book.read() as conn:
        hand = _by_hand(conn, form, site.day())
        warnings = order_warnings(conn, hand.orders)
    return JSONResponse(_hand_document(hand) | {"warnings": [vars(one) for one in warnings]})


@router.post("/drop-off/papers")
def papers(request: Request, form: Form) -> Response:
    """Print the order sheets and labels of the assignment; nothing is recorded."""
    site = site_of(request)
    with site.book.read() as conn:
        hand = _orders_or_refuse(_by_hand(conn, form, site.day()))
        made = [path for order in hand.orders
                for path in write_order_papers(site.book, conn, order, _choices(form))]  # fmt: skip
    names = [str(path.relative_to(site.book.paper)) for path in made]
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"papers": [{"name": name, "path": f"/papers/{name}"} for name in names]})
    return done(request, "/drop-off", f"Printed to the book’s papers: {', '.join(names)}.")


@router.post("/drop-off/record")
def record(request: Request, form: Form) -> Response:
    """The rolls were handed in as assigned."""
    from sqlalchemy import func, select

    site = site_of(request)
    clock = site.moment()[10:]
    with site.book.write() as conn:
        hand = _orders_or_refuse(_by_hand(conn, form, site.day()))
        moments = {order.drop_off: f"{order.drop_off.isoformat()}{clock}" for order in hand.orders}
        ledger = Ledger(conn)
        newest = conn.execute(select(func.coalesce(func.max(orders.c.id), 0))).scalar_one()
        with ledger.around(
            (orders, orders.c.id > newest), (order_lines, order_lines.c.order_id > newest), (rolls, rolls.c.id > 0)
        ):
            made = hand_in(conn, hand.orders, moments=moments, who=text(form, "who"), notes=text(form, "note"))
        undo_id = ledger.save(f"handing in {', '.join(row.number for row in made)}")
    with site.book.read() as conn:
        for order, row in zip(hand.orders, made, strict=True):
            write_order_papers(site.book, conn, order, _choices(form), number=row.number)
    to = f"/orders/{made[0].number}" if len(made) == 1 else "/orders"
    said = f"Handed in: {', '.join(row.number for row in made)}. Note the receipt when you have it."
    return done(request, to, said, undo_id)


@router.get("/papers/{name:path}")
def paper(request: Request, name: str) -> Response:
    """A printed page of the book, by its name among those that are there."""
    folder = site_of(request).book.paper
    known = {str(path.relative_to(folder)): path for path in folder.rglob("*") if path.suffix in PAPER_KINDS}
    if name not in known:
        raise NotFound(f"paper {name}", "it is not among the book's papers", "Print it again.")
    return FileResponse(known[name], media_type=PAPER_KINDS[known[name].suffix])


def _by_hand(conn: Connection, form: Form, start: date) -> HandMade:
    """The assignment in a form: a lab for each roll, a day for each lab."""
    wishes = [one.as_wish() for one in waiting_rolls(conn)]
    labs = current_labs(conn, start)
    assigned = {wish.roll: lab for wish in wishes if (lab := text(form, f"lab-{wish.roll}"))}
    days = {lab.name: parse_day(on) for lab in labs if (on := text(form, f"day-{lab.name}"))}
    return assign_by_hand(labs, wishes, assigned, days, start)


def _orders_or_refuse(hand: HandMade) -> HandMade:
    if hand.refused:
        one = hand.refused[0]
        raise Refusal(f"roll {one.roll}", one.why, "Give it to another lab.")
    if not hand.orders:
        raise Refusal("drop-off", "no roll is given to a lab", "Choose a lab for at least one.")
    return hand


def _choices(form: Form) -> PaperChoices:
    return PaperChoices(
        page=text(form, "paper") or "a4",
        contact=tuple(texts(form, "contact")),
        per_owner=text(form, "per_owner") is not None,
        prices=text(form, "no_prices") is None,
    )


def _hand_document(hand: HandMade) -> dict[str, Any]:
    return {
        "totals": [str(one) for one in hand.totals],
        "ready": words.short_day(hand.ready),
        "orders": [
            {
                "lab": order.lab.name,
                "drop_off": order.drop_off.isoformat(),
                "ready": words.short_day(order.ready),
                "total": str(order.total),
                "rolls": [one.wish.roll for one in order.rolls],
            }
            for order in hand.orders
        ],
        "refused": [{"roll": one.roll, "why": one.why} for one in hand.refused],
    }
