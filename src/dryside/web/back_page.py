"""Back from the lab: take in deliveries, look at matches side by side, decide doubts, see remarks on quality."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from dryside.book.cameras import list_lenses
from dryside.book.frames import FrameRow, get_frame, list_frames
from dryside.book.journey import RollState
from dryside.book.notes.write_line import note_line
from dryside.book.roll_list import rolls_in
from dryside.book.rolls import find_roll
from dryside.book.schema import scans
from dryside.book.undoing import Ledger
from dryside.film.refusal import NotFound
from dryside.labs.orders import list_orders
from dryside.scans.decide import answer
from dryside.scans.delivered import (
    DeliveredScan,
    decision_for,
    get_delivery,
    list_deliveries,
    open_doubts,
    scans_of_delivery,
    sure_ones,
)
from dryside.web import uploads
from dryside.web.forms import Form, needed, text, whole
from dryside.web.jobs import ask_for, list_jobs
from dryside.web.pages import done, own_path, page, site_of
from dryside.web.words import count

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter()


class NewDelivery(BaseModel):
    """Uploads that make one delivery, and the phone shots made beside its frames."""

    uploads: list[str] = Field(min_length=1, max_length=400)
    phone: list[str] = Field(default_factory=list, max_length=400)
    order: str | None = Field(default=None, max_length=40)


@router.get("/back")
def back_page(request: Request) -> Response:
    """Where deliveries come in."""
    site = site_of(request)
    with site.book.read() as conn:
        doubts = open_doubts(conn)
        given: dict[str, Any] = {
            "deliveries": list_deliveries(conn),
            "doubts": shown_scans(conn, doubts),
            "orders": [one for one in reversed(list_orders(conn)) if one.scans_on is None],
            "waited": rolls_in(conn, (RollState.AT_LAB,)),
            "jobs": [one for one in list_jobs(conn, kind="receive", most=8) if one.state != "done"],
        }
    given["open_uploads"] = uploads.unfinished(site.book, "delivery", "phone")
    given["has_phone"] = _has_phone(given["doubts"])
    kinds = {name: ",".join(endings) for name, endings in uploads.KINDS.items()}
    return page(request, "back.html", title="Back from the lab", kinds=kinds, **given)


@router.post("/back")
def take_in(request: Request, new: NewDelivery) -> Response:
    """Queue the taking in of what was uploaded."""
    site = site_of(request)
    names = [uploads.get(site.book, one).name for one in (*new.uploads, *new.phone)]
    arguments = {"uploads": new.uploads, "phone": new.phone, "order": new.order or None, "at": site.moment()}
    row = ask_for(site.book, "receive", arguments, message=names[0])
    site.wake_jobs()
    return JSONResponse(row.as_dict(), status_code=202)


@router.get("/back/{delivery_id}")
def delivery_page(request: Request, delivery_id: int) -> Response:
    """One delivery, scan by scan."""
    with site_of(request).book.read() as conn:
        delivery = get_delivery(conn, delivery_id)
        found = scans_of_delivery(conn, delivery_id)
        shown = shown_scans(conn, found)
        rolls = sorted({one.roll for one in found if one.roll})
        titles = {code: find_roll(conn, code).title or "" for code in rolls}
        jobs = [one for kind in ("inspect", "tag") for one in list_jobs(conn, kind=kind, most=12)
                if one.arguments.get("roll") in rolls and not one.is_over]  # fmt: skip
        waited = rolls_in(conn, (RollState.AT_LAB, RollState.SCANS_BACK))
    report = delivery["report"] or {}
    return page(
        request, "delivery.html", title=f"Delivery {delivery['name']}", delivery=delivery, shown=shown, rolls=rolls,
        jobs=jobs, waited=waited, doubts=[one for one in shown if one["scan"].is_asked],
        sure=[one for one in shown if one["scan"].state == "sure"], missing=_missing(report),
        aside=report.get("put_aside", []), titles=titles, has_phone=_has_phone(shown),
    )  # fmt: skip


def _has_phone(shown: list[dict[str, Any]]) -> bool:
    return any(one["scan"].phone_file_id for one in shown)


def _missing(report: dict[str, Any]) -> list[dict[str, Any]]:
    return [{"roll": one["roll"], "frames": one["missing"]} for one in report.get("rolls", []) if one["missing"]]


def shown_scans(conn: Connection, found: list[DeliveredScan]) -> list[dict[str, Any]]:
    """Scans with the lines of the frames they are or may be, and marks of their flaws."""
    lenses = {row.id: row.name for row in list_lenses(conn)}
    logs: dict[int, list[FrameRow]] = {}
    shown = []
    for scan in found:
        if scan.roll_id and scan.roll_id not in logs:
            logs[scan.roll_id] = list_frames(conn, scan.roll_id)
        log = {frame.label: frame for frame in logs.get(scan.roll_id or 0, [])}
        frame = log.get(scan.label or "")
        lines = (
            {label: note_line(one, lenses.get(one.lens_id or 0)) for label, one in log.items()} if scan.is_asked else {}
        )
        shown.append(
            {
                "scan": scan,
                "line": note_line(frame, lenses.get(frame.lens_id or 0)) if frame else None,
                "choices": [(one, lines.get(one.label or "")) for one in scan.candidates],
                "labels": list(log) if scan.is_asked else [],
                "remarks": remarks(scan),
            }
        )
    return shown


def remarks(scan: DeliveredScan) -> list[dict[str, Any]]:
    """Findings of the inspection that a person should look at, with boxes in pixels of the scan."""
    findings = (scan.inspection or {}).get("findings", [])
    return [
        {"says": one["says"], "verdict": one["verdict"], "why": one.get("why", ""), "boxes": one.get("where", [])}
        for one in findings
        if one["verdict"] != "good"
    ]


@router.post("/back/{delivery_id}/roll")
def decide_roll(request: Request, delivery_id: int, form: Form) -> Response:
    """Say which roll a group of files is of, or that it is none of the book's."""
    site = site_of(request)
    code = text(form, "roll")
    group = whole(form, "group", "Group", low=0, high=100_000) or 0
    answer(site.book, delivery_id, rolls={group: code}, at=site.moment())
    said = f"These are of {code}." if code else "These are of none of your rolls."
    return done(request, f"/back/{delivery_id}", said)


@router.post("/scans/{scan_id}/decide")
def decide(request: Request, scan_id: int, form: Form) -> Response:
    """Say which frame a scan is, or that it is none."""
    label = needed(form, "frame", "frame")
    with site_of(request).book.write() as conn:
        decision = decision_for(conn, scan_id, None if label == "none" else label)
        ledger = Ledger(conn)
        ledger.update(scans, {"id": scan_id}, decision.changes)
        undo_id = ledger.save(f"which frame a scan is: {decision.says}")
        frame_id = decision.changes.get("frame_id")
        label = get_frame(conn, frame_id).label if frame_id else "none"
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"says": decision.says, "undo": undo_id, "label": label})
    return done(request, own_path(text(form, "to"), "/back"), f"{decision.says}.", undo_id)


@router.post("/back/{delivery_id}/accept")
def accept(request: Request, delivery_id: int) -> Response:
    """Accept all that is sure."""
    with site_of(request).book.write() as conn:
        decisions = sure_ones(conn, delivery_id)
        ledger = Ledger(conn)
        for one in decisions:
            ledger.update(scans, {"id": one.scan_id}, one.changes)
        undo_id = ledger.save(f"accepting {len(decisions)} scans") if decisions else None
    return done(request, f"/back/{delivery_id}", f"Accepted: {count(len(decisions), 'scan')}.", undo_id)


@router.post("/back/{delivery_id}/{work}")
def queue_work(request: Request, delivery_id: int, work: str, form: Form) -> Response:
    """Look at the quality of a roll's scans, or write what is known into the files."""
    site = site_of(request)
    kind = {"inspect": "inspect", "tag": "tag"}.get(work)
    if kind is None:
        raise NotFound(work, "no such work")
    roll = needed(form, "roll", "roll")
    ask_for(site.book, kind, {"roll": roll, "to": f"/back/{delivery_id}"}, message=roll)
    site.wake_jobs()
    return done(request, f"/back/{delivery_id}", "It is in the queue.")
