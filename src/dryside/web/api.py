"""The JSON API for scripts: the same functions as commands and pages, under the same rules, with a bearer token."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi import Path as InPath
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from dryside.book.cameras import list_cameras, list_lenses
from dryside.book.field_log import FieldEntry, keep_field_entries
from dryside.book.frame_line import position_for, read_frame_line
from dryside.book.frames import get_frame, list_frames
from dryside.book.journey import parse_state
from dryside.book.people import list_people
from dryside.book.roll_list import RollFilter, list_roll_page
from dryside.book.rolls import find_roll, move_roll, names_of
from dryside.book.schema import frames as frames_table
from dryside.book.search import FrameQuery, find_frames
from dryside.book.stocks import list_shelf, list_stocks
from dryside.book.summary import summarise
from dryside.book.to_do import work_at_home
from dryside.book.undoing import Ledger, take_back
from dryside.labs.book_labs import current_labs, list_labs
from dryside.labs.due import due_entries
from dryside.labs.lab_words import lab_document
from dryside.labs.order_words import order_document
from dryside.labs.orders import list_orders
from dryside.labs.plan_document import as_document
from dryside.labs.planning import plan_drop_off
from dryside.labs.waiting import waiting_wishes
from dryside.scans.delivered import list_deliveries, open_doubts
from dryside.sleeves.lending import list_loans
from dryside.sleeves.whereabouts import whereabouts
from dryside.stats.charges import list_charges
from dryside.stats.spending import as_data, count_frames, spending
from dryside.web.field_page import Entries
from dryside.web.jobs import get_job, list_jobs
from dryside.web.pages import site_of
from dryside.web.roll_page import assumptions

REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"description": "No token, or none of this book's"},
    403: {"description": "A change without a token"},
    404: {"description": "Not in this book"},
    413: {"description": "Too large"},
    422: {"description": "Refused, with what is wrong and what to do"},
}
router = APIRouter(prefix="/api", responses=REFUSALS)

Roll = Annotated[str, InPath(max_length=80, description="A roll's code, or a name of your own for it.")]
RowId = Annotated[int, InPath(ge=1, le=2**53)]
After = Annotated[int | None, Query(ge=1, le=2**53, description="`after` of the page before.")]


class Line(BaseModel):
    """One frame's line, as typed in a note."""

    line: str = Field(max_length=4000, examples=["12 1/250 f8 50mm harbour wall"])


class Move(BaseModel):
    """Where a roll is now."""

    to: str = Field(max_length=40, examples=["exposed"])
    why: str | None = Field(default=None, max_length=1000)


def plain(value: Any) -> Any:
    """Rows and results as JSON holds them: decimals as text, days as ISO 8601."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(one) for one in value]
    if isinstance(value, Decimal | Path):
        return str(value)
    if isinstance(value, Enum):
        return value.value
    return value.isoformat() if isinstance(value, date | datetime) else value


def _answer(value: Any) -> Response:
    return JSONResponse(plain(value))


@router.get("/summary")
def summary(request: Request) -> Response:
    """How much is in the book."""
    return _answer({"counts": summarise(site_of(request).book).counts})


@router.get("/today")
def today(request: Request) -> Response:
    """What is due, and what waits at home."""
    site = site_of(request)
    with site.book.read() as conn:
        return _answer({"day": site.day(), "due": due_entries(conn, site.day()), "home": work_at_home(conn)})


@router.get("/rolls")
def rolls(
    request: Request, words: Annotated[str, Query(max_length=200)] = "", state: str | None = None, after: After = None
) -> Response:
    """Rolls, the newest first, a page at a time."""
    chosen = RollFilter(words=words, states=(parse_state(state),) if state else ())
    with site_of(request).book.read() as conn:
        return _answer(list_roll_page(conn, chosen, after=after))


@router.get("/rolls/{roll}")
def one_roll(request: Request, roll: Roll) -> Response:
    """A roll with its frames and where each lies."""
    with site_of(request).book.read() as conn:
        row = find_roll(conn, roll)
        return _answer(
            {"roll": row, "names": names_of(conn, row.id), "frames": list_frames(conn, row.id),
             "where": whereabouts(conn, row)}
        )  # fmt: skip


@router.post("/rolls/{roll}/frames")
def write_frame(request: Request, roll: Roll, new: Line) -> Response:
    """Write one frame's line; a frame that is not there yet is added."""
    site = site_of(request)
    with site.book.write() as conn:
        row = find_roll(conn, roll)
        found = read_frame_line(conn, row, new.line, assumptions(row, site.day().year))
        ledger = Ledger(conn)
        if found.frame is None:
            values = {"roll_id": row.id, "position": position_for(conn, row, found.label), "label": found.label,
                      "blank": False, "printed": False, **found.changes}  # fmt: skip
            frame_id = ledger.insert(frames_table, values)
        else:
            frame_id = found.frame.id
            if found.changes:
                ledger.update(frames_table, {"id": frame_id}, found.changes)
        undo = ledger.save(f"the line of frame {found.label} of {row.code}") if found.changes else None
        return _answer({"frame": get_frame(conn, frame_id), "undo": undo})


@router.post("/rolls/{roll}/move")
def move(request: Request, roll: Roll, new: Move) -> Response:
    """Say where a roll is now."""
    site = site_of(request)
    with site.book.write() as conn:
        detail = {"why": new.why} if new.why else None
        return _answer(
            {"roll": move_roll(conn, find_roll(conn, roll), parse_state(new.to), at=site.moment(), detail=detail)}
        )


@router.post("/field")
def field(request: Request, sent: Entries) -> Response:
    """Keep frames logged elsewhere, each once by its own id."""
    site = site_of(request)
    entries = [FieldEntry(**one.model_dump()) for one in sent.entries]
    with site.book.write() as conn:
        return _answer({"kept": keep_field_entries(conn, entries, at=site.moment())})


@router.get("/find")
def find(
    request: Request,
    words: Annotated[str, Query(max_length=300)] = "",
    person: Annotated[str | None, Query(max_length=100)] = None,
    since: date | None = None,
    until: date | None = None,
    rating: Annotated[int | None, Query(ge=1, le=5)] = None,
    after: After = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> Response:
    """Frames by words and filters, a page at a time."""
    query = FrameQuery(words=words, person=person, since=since, until=until, rating=rating)
    with site_of(request).book.read() as conn:
        return _answer(find_frames(conn, query, after=after, limit=limit, budget_s=0.2))


@router.get("/plan")
def plan(request: Request) -> Response:
    """The drop-off plan of the rolls that wait."""
    site = site_of(request)
    with site.book.read() as conn:
        labs, wishes = current_labs(conn, site.day()), waiting_wishes(conn)
    if not labs or not wishes:
        return _answer({"plans": [], "refused": []})
    return _answer(as_document(plan_drop_off(labs, wishes, site.day())))


@router.get("/orders")
def orders(request: Request) -> Response:
    """Every order."""
    with site_of(request).book.read() as conn:
        return _answer({"orders": list_orders(conn)})


@router.get("/orders/{number}")
def one_order(request: Request, number: Annotated[str, InPath(max_length=40)]) -> Response:
    """An order with lines, differences and shares."""
    with site_of(request).book.read() as conn:
        return _answer(order_document(conn, number))


@router.get("/labs")
def labs(request: Request) -> Response:
    """Labs as they price today."""
    site = site_of(request)
    with site.book.read() as conn:
        return _answer({"labs": [lab_document(one.lab, site.day()) for one in list_labs(conn, day=site.day())]})


@router.get("/shelf")
def shelf(request: Request) -> Response:
    """Film on the shelf, and what the book knows of stocks, cameras, lenses and people."""
    with site_of(request).book.read() as conn:
        return _answer(
            {"shelf": list_shelf(conn), "stocks": list_stocks(conn), "cameras": list_cameras(conn),
             "lenses": list_lenses(conn), "people": [one.name for one in list_people(conn)]}
        )  # fmt: skip


@router.get("/deliveries")
def deliveries(request: Request) -> Response:
    """Deliveries, and scans that wait for a decision."""
    with site_of(request).book.read() as conn:
        return _answer({"deliveries": list_deliveries(conn), "doubts": open_doubts(conn)})


@router.get("/loans")
def loans(request: Request) -> Response:
    """Negatives that are out."""
    with site_of(request).book.read() as conn:
        return _answer({"loans": list_loans(conn)})


@router.get("/spending")
def spent(
    request: Request, by: Annotated[str, Query(pattern="^(month|lab|process|owner|roll)$")] = "month"
) -> Response:
    """What it cost."""
    with site_of(request).book.read() as conn:
        return _answer({"rows": [as_data(row) for row in spending(list_charges(conn), count_frames(conn), by)]})


@router.get("/jobs")
def jobs(request: Request) -> Response:
    """Long work."""
    with site_of(request).book.read() as conn:
        return _answer({"jobs": [one.as_dict() for one in list_jobs(conn)]})


@router.get("/jobs/{job_id}")
def job(request: Request, job_id: RowId) -> Response:
    """One job."""
    with site_of(request).book.read() as conn:
        return _answer(get_job(conn, job_id).as_dict())


@router.post("/undo/{undo_id}")
def undo(request: Request, undo_id: RowId) -> Response:
    """Take a change back."""
    with site_of(request).book.write() as conn:
        return _answer(take_back(conn, undo_id, at=site_of(request).moment()))
