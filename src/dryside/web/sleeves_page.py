"""Sleeves: where to cut, which page of which binder, the page drawn as it lies; lending, care, finding."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from dryside.book.files import put_file, put_paper
from dryside.book.frames import find_frame
from dryside.book.journey import RollState
from dryside.book.roll_list import rolls_in
from dryside.book.rolls import RollRow, find_roll, get_roll, title_of
from dryside.book.schema import binders, rolls, strips
from dryside.book.schema import pages as leaves_table
from dryside.book.undoing import Ledger, recent_changes
from dryside.film.refusal import NotFound, Refusal
from dryside.paper.cut_plan import cut_plan
from dryside.sleeves.binders import (
    HOLDS,
    BinderRow,
    add_binder,
    find_binder,
    find_page,
    list_binders,
    list_pages,
    strips_on_page,
)
from dryside.sleeves.care import WARM_UP, care_of_binders
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.drawing import drawing_of
from dryside.sleeves.filing import Filing, carry_out, filing_as_cut, filing_of_plan, parse_strips
from dryside.sleeves.inserts import page_insert
from dryside.sleeves.lending import bring_back, lend_page, lend_strips, list_loans, strips_meant
from dryside.sleeves.page_choice import pages_for
from dryside.sleeves.roll_film import film_of_roll
from dryside.sleeves.whereabouts import binder_of_qr, find_picture, whereabouts
from dryside.web.film_drawing import cut_plan_drawing, sleeve_page_drawing
from dryside.web.forms import Form, needed, text, whole
from dryside.web.pages import done, page, site_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection

router = APIRouter()


@router.get("/sleeves")
def sleeves_page(
    request: Request, roll: str = "", pages: str = "", find: str = "", binder: int | None = None
) -> Response:
    """Rolls to sleeve, binders, what is lent; a roll's cut plan and a binder's pages where they are named."""
    site = site_of(request)
    with site.book.read() as conn:
        found = _found(conn, find) if find else None
        if isinstance(found, str):
            return RedirectResponse(found, status_code=303)
        chosen = find_roll(conn, roll) if roll else None
        given: dict[str, Any] = {
            "waiting": rolls_in(conn, (RollState.NEGATIVES_BACK,)),
            "binders": (all_binders := sorted(list_binders(conn), key=_by_name)),
            "counts": _counts(conn),
            "opened": (opened := _opened(all_binders, binder)),
            "leaves": _leaves(conn, opened.id) if opened else [],
            "loans": list_loans(conn),
            "care": _care(conn),
            "found": found,
            "plan": _plan(conn, chosen, pages, site.day()) if chosen else None,
        }
    return page(
        request, "sleeves.html", title="Sleeves", roll=chosen, pages=pages, find=find, holds=HOLDS, warm_up=WARM_UP,
        day=site.day(), **given,
    )  # fmt: skip


def _opened(all_binders: Sequence[BinderRow], wanted: int | None) -> BinderRow | None:
    """The binder whose pages are shown: the one named, else the newest."""
    newest = max(all_binders, key=lambda one: one.id, default=None)
    return next((one for one in all_binders if one.id == wanted), newest)


def _by_name(one: BinderRow) -> list[tuple[int, str]]:
    """Binder 9 stands before binder 10."""
    parts = re.split(r"(\d+)", one.name.casefold())
    return [(int(part), "") if part.isdecimal() else (0, part) for part in parts]


def _care(conn: Connection) -> list[dict[str, Any]]:
    """How to keep what the binders hold: said once for all binders of which the same is true."""
    found: dict[Any, dict[str, Any]] = {}
    for one in care_of_binders(conn):
        said = (tuple(one.cautions), tuple(one.advice))
        found.setdefault(said, {"cautions": one.cautions, "advice": one.advice, "binders": []})["binders"].append(
            one.binder
        )
    return list(found.values())


def _counts(conn: Connection) -> dict[int, int]:
    """How many pages each binder has."""
    from sqlalchemy import func, select

    leaf = leaves_table.c
    return {int(row[0]): int(row[1]) for row in
            conn.execute(select(leaf.binder_id, func.count()).group_by(leaf.binder_id))}  # fmt: skip


def _leaves(conn: Connection, binder_id: int) -> list[tuple[int, list[str]]]:
    """Each page's number with the names of the rolls that lie on it."""
    from sqlalchemy import select

    joined = leaves_table.outerjoin(strips, strips.c.page_id == leaves_table.c.id).outerjoin(
        rolls, rolls.c.id == strips.c.roll_id
    )
    rows = conn.execute(
        select(leaves_table.c.number, rolls.c.code, rolls.c.title).select_from(joined)
        .where(leaves_table.c.binder_id == binder_id).order_by(leaves_table.c.number, strips.c.row, strips.c.place)
    )  # fmt: skip
    found: dict[int, dict[str, None]] = {}
    for number, code, title in rows:
        names = found.setdefault(number, {})
        if code:
            names[title or code] = None
    return [(number, list(names)) for number, names in found.items()]


def _found(conn: Connection, what: str) -> Any:
    """Where a roll, a frame or a scanned QR lies: an address for a binder, places for a roll."""
    spine = binder_of_qr(what)
    if spine is not None:
        known = find_binder(conn, spine).id
        return f"/sleeves?binder={known}#binder-{known}"
    roll, label = find_picture(conn, what)
    wanted = find_frame(conn, roll.id, label).label if label else None
    return {"roll": roll, "places": whereabouts(conn, roll, wanted)}


def _plan(conn: Connection, roll: RollRow, pages: str, day: Any) -> dict[str, Any]:
    film = film_of_roll(conn, roll)
    plan = plan_cuts(film.frames, pages_for(roll.format, pages or None))
    drawing = drawing_of(plan, roll.code, title_of(conn, roll), day)
    return {
        "plan": plan,
        "drawn": cut_plan_drawing(drawing),
        "remarks": plan.remarks,
        "labels": [(strip.number, plan.labels_of(strip)) for strip in plan.strips],
        "measured": film.measured,
        "layouts": [one.key for one in pages_for(roll.format)],
    }


@router.get("/sleeves/{binder}/{number}")
def sleeve(request: Request, binder: str, number: int) -> Response:
    """One page of a binder, drawn as it lies."""
    site = site_of(request)
    with site.book.read() as conn:
        row = find_binder(conn, binder)
        leaf = find_page(conn, row, number)
        numbers = [one.number for one in list_pages(conn, row.id)]
        try:
            made = page_insert(site.book, conn, row, leaf, made_on=site.day())
        except NotFound:
            made = None
        rolls = {strip.roll_id: get_roll(conn, strip.roll_id) for strip in strips_on_page(conn, leaf.id)}
        links = _links(conn, rolls, made) if made else {}
    place = numbers.index(number)
    return page(
        request, "sleeve.html", title=f"{row.name}, page {number}", binder=row, leaf=leaf,
        drawn=sleeve_page_drawing(made.insert, links) if made else None, insert=made.insert if made else None,
        before=numbers[place - 1] if place else None, after=numbers[place + 1] if place + 1 < len(numbers) else None,
    )  # fmt: skip


def _links(conn: Connection, rolls: dict[int, RollRow], made: Any) -> dict[str, tuple[str, str, str]]:
    """For each picture's name in the insert: where it leads, its address, its words."""
    from sqlalchemy import select

    from dryside.book.schema import frames
    from dryside.sleeves.inserts import picture_name

    rows = conn.execute(
        select(frames.c.id, frames.c.roll_id, frames.c.label, frames.c.caption).where(frames.c.roll_id.in_(rolls))
    )
    found = {}
    for row in rows:
        name, code = picture_name(row.id), rolls[row.roll_id].code
        picture = f"/frames/{row.id}/320.jpg" if name in made.pictures else ""
        told = f"{code}, frame {row.label}{f': {row.caption}' if row.caption else ''}"
        found[name] = (f"/rolls/{code}#frame-{row.label}", picture, told)
    return found


@router.post("/sleeves/file")
def file_roll(request: Request, form: Form) -> Response:
    """Lay a roll's strips into a binder, by the cut plan or as a lab cut it."""
    site = site_of(request)
    name = needed(form, "binder", "binder")
    with site.book.write() as conn:
        roll = find_roll(conn, needed(form, "roll", "roll"))
        filing = _filing(conn, roll, text(form, "pages"), text(form, "strips"))
        try:
            binder = find_binder(conn, name)
        except NotFound:
            binder = add_binder(conn, name)
        first = whole(form, "page", "Page", low=1, high=99_999)
        filed = carry_out(conn, roll, filing, binder, first_page=first, again=True, at=site.moment())
        undo_id = recent_changes(conn, most=1)[0]["id"]
    to = f"/sleeves/{binder.name}/{filed[0].page}" if filed else "/sleeves"
    return done(request, to, f"Roll {roll.code} is sleeved. Print the insert to lay beside it.", undo_id)


def _filing(conn: Connection, roll: RollRow, pages: str | None, strips: str | None) -> Filing:
    film = film_of_roll(conn, roll)
    layouts = pages_for(roll.format, pages)
    if strips:
        labels = [frame.label for frame in film.frames]
        return filing_as_cut(film.frames, parse_strips(strips, labels), layouts)
    return filing_of_plan(plan_cuts(film.frames, layouts))


@router.post("/sleeves/cut-plan")
def print_plan(request: Request, form: Form) -> Response:
    """Print a roll's cut plan."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, needed(form, "roll", "roll"))
        plan = plan_cuts(film_of_roll(conn, roll).frames, pages_for(roll.format, text(form, "pages")))
        title = title_of(conn, roll)
    true_size = text(form, "true_size") is not None
    pdf = cut_plan(drawing_of(plan, roll.code, title, site.day(), true_size=true_size))
    put_paper(site.book, f"cut plans/{roll.code}.pdf", pdf)
    return RedirectResponse(f"/papers/cut plans/{roll.code}.pdf", status_code=303)


@router.post("/sleeves/insert")
def print_insert(request: Request, form: Form) -> Response:
    """Print the page that lies beside a sleeve page."""
    site = site_of(request)
    number = whole(form, "page", "Page", low=1, high=99_999)
    if number is None:
        raise Refusal("page", "no number is given", "Write it like 3.")
    with site.book.read() as conn:
        binder = find_binder(conn, needed(form, "binder", "binder"))
        made = page_insert(site.book, conn, binder, find_page(conn, binder, number), made_on=site.day())
    name = f"binder-{binder.id}-page-{number:03}.pdf"
    put_file(site.book.paper / "inserts", name, made.pdf())
    return RedirectResponse(f"/papers/inserts/{name}", status_code=303)


@router.post("/sleeves/binders")
def new_binder(request: Request, form: Form) -> Response:
    """Make a binder."""
    with site_of(request).book.write() as conn:
        ledger = Ledger(conn)
        with ledger.around((binders, binders.c.id > 0)):
            binder = add_binder(
                conn, needed(form, "name", "name"), place=text(form, "shelf"), holds=text(form, "holds") or "acetate"
            )
        undo_id = ledger.save(f"a new binder, {binder.name}")
    return done(request, "/sleeves", f"Binder {binder.name} stands ready.", undo_id)


@router.post("/sleeves/lend")
def lend(request: Request, form: Form) -> Response:
    """Note that negatives were handed out: a roll, the strip with a frame, or a page."""
    site = site_of(request)
    to_whom, due, why = needed(form, "to_whom", "who has it"), text(form, "due"), text(form, "why")
    with site.book.write() as conn:
        if number := whole(form, "page", "Page", low=1, high=99_999):
            binder = find_binder(conn, needed(form, "binder", "binder"))
            made = [lend_page(conn, binder, number, to_whom, on=site.day(), due_on=due, why=why)]
        else:
            roll, label = find_picture(conn, needed(form, "what", "what is lent"))
            made = lend_strips(
                conn, roll, strips_meant(conn, roll, label, None), to_whom, on=site.day(), due_on=due, why=why
            )
        undo_id = recent_changes(conn, most=1)[0]["id"]
    return done(request, "/sleeves", f"{', '.join(one.what for one in made)}: lent to {to_whom}.", undo_id)


@router.post("/sleeves/back/{loan}")
def back(request: Request, loan: int) -> Response:
    """Negatives came back."""
    site = site_of(request)
    with site.book.write() as conn:
        over = bring_back(conn, loan, on=site.day())
        undo_id = recent_changes(conn, most=1)[0]["id"]
    return done(request, "/sleeves", f"{over.what}: back from {over.to_whom}.", undo_id)
