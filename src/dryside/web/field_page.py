"""In the field: a page for the phone that works out of reach and sends what it logged when the book answers again."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlalchemy.exc import IntegrityError

from dryside.book.field_log import FieldEntry, keep_field_entries
from dryside.book.frame_import import apply_import, next_label_of, plan_import, read_log
from dryside.book.frames import list_frames
from dryside.book.journey import RollState
from dryside.book.notes.noted import Assumptions
from dryside.book.notes.write_line import note_of
from dryside.book.roll_list import rolls_in
from dryside.book.rolls import find_roll, get_roll
from dryside.book.schema import frames
from dryside.book.undoing import Ledger
from dryside.film.exposure import aperture_scale, shutter_scale
from dryside.film.refusal import Refusal
from dryside.web.pages import STATIC, page, site_of, static
from dryside.web.roll_page import assumptions

router = APIRouter()
KEPT_ON_THE_PHONE = ("dryside.css", "page.js", "field.js", "field-store.js", "mark.svg", "archivo-latin.woff2")


class Entry(BaseModel):
    """One frame as the phone logged it."""

    client_id: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9\-]+$")
    roll: str = Field(max_length=80)
    taken_at: str = Field(max_length=40)
    words: str = Field(default="", max_length=2000)
    label: str | None = Field(default=None, max_length=8)
    latitude: float | None = Field(default=None, ge=-90, le=90)
    longitude: float | None = Field(default=None, ge=-180, le=180)
    altitude_m: float | None = Field(default=None, ge=-500, le=10_000)


class Entries(BaseModel):
    """What a phone sends at once."""

    entries: list[Entry] = Field(max_length=500)


class Back(BaseModel):
    """A frame that was logged by mistake, by the phone's own id."""

    client_id: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9\-]+$")


class Note(BaseModel):
    """A plain-text note of one roll."""

    roll: str = Field(max_length=80)
    note: str = Field(max_length=100_000)


@router.get("/field")
def field_page(request: Request) -> Response:
    """The page itself; its lists come from `state`, so that it looks the same out of reach."""
    answer = page(
        request, "field.html", title="In the field",
        shutters=[one.text for one in shutter_scale("third")], apertures=[one.text for one in aperture_scale("third")],
    )  # fmt: skip
    answer.headers["cache-control"] = "no-cache"
    return answer


@router.get("/field/state")
def state(request: Request) -> Response:
    """Rolls in cameras, where each log stands, a fresh token, and the time (none where the pages stand on a day)."""
    with site_of(request).book.read() as conn:
        rolls = [_roll(conn, one.id, one) for one in rolls_in(conn, (RollState.CAMERA,))]
    site = site_of(request)
    now = None if site.today else datetime.now().astimezone().isoformat(timespec="seconds")
    return JSONResponse({"token": request.state.token, "rolls": rolls, "now": now})


def _roll(conn: Any, roll_id: int, line: Any) -> dict[str, Any]:
    roll = get_roll(conn, roll_id)
    logged = list_frames(conn, roll_id)
    last = logged[-1] if logged else None
    return {
        "code": roll.code,
        "title": roll.title,
        "camera": line.camera,
        "stock": line.stock,
        "format": roll.format,
        "exposures": roll.exposures,
        "next": next_label_of(conn, roll),
        "noted": len(logged),
        "last": None
        if last is None
        else {"label": last.label, "words": note_of(last), "shutter": last.shutter,
              "aperture": last.aperture, "focal_mm": last.focal_mm},
    }  # fmt: skip


@router.post("/field/frames")
def take_frames(request: Request, sent: Entries) -> Response:
    """Keep what a phone logged; sending it again changes nothing."""
    site = site_of(request)
    entries = [FieldEntry(**one.model_dump()) for one in sent.entries]
    with site.book.write() as conn:
        kept = keep_field_entries(conn, entries, at=site.moment())
    return JSONResponse({"kept": [vars(one) for one in kept]})


@router.post("/field/back")
def take_frame_back(request: Request, sent: Back) -> Response:
    """A frame that was logged by mistake goes out of the log again, while nothing rests on it."""
    with site_of(request).book.write() as conn:
        row = conn.execute(frames.select().where(frames.c.client_id == sent.client_id)).first()
        if row is None:
            return JSONResponse({"back": True, "undo": None})
        ledger = Ledger(conn)
        try:
            with conn.begin_nested():
                ledger.delete(frames, {"id": row.id})
        except IntegrityError:
            raise Refusal(f"frame {row.label}", "a scan or a strip rests on it by now", "Mend its line.") from None
        undo_id = ledger.save(f"frame {row.label} taken out of the log")
    return JSONResponse({"back": True, "undo": undo_id})


@router.post("/field/note")
def take_note(request: Request, sent: Note) -> Response:
    """Take in a plain-text note; the same again adds nothing, lines that cannot be read are told."""
    site = site_of(request)
    with site.book.write() as conn:
        roll = find_roll(conn, sent.roll)
        assume: Assumptions = assumptions(roll, site.day().year)
        reading = read_log("note", sent.note.encode(), assume)
        plan = plan_import(conn, roll, reading)
        count = apply_import(conn, roll, plan)
    return JSONResponse(
        {
            "imported": count,
            "differ": list(dict.fromkeys(one.label for one in plan.kept)),
            "problems": [{"line": one.line, "text": one.text, "found": str(one)} for one in reading.problems],
        }
    )


@router.get("/field.webmanifest")
def manifest() -> Response:
    """What a phone needs to install the page."""
    content = {
        "name": "Dryside in the field",
        "short_name": "Dryside",
        "id": "/field",
        "start_url": "/field",
        "scope": "/field",
        "display": "standalone",
        "background_color": "#fbfaf6",
        "theme_color": "#a3301a",
        "icons": [
            {"src": "/static/mark-192.png", "sizes": "192x192", "type": "image/png"},
            {"src": "/static/mark-512.png", "sizes": "512x512", "type": "image/png", "purpose": "any maskable"},
        ],
    }
    return Response(json.dumps(content), media_type="application/manifest+json")


@router.get("/field-worker.js")
def worker() -> Response:
    """The service worker, which keeps the page and its pieces on the phone; it changes when any of them does."""
    paths = [static(name) for name in KEPT_ON_THE_PHONE]
    paths += [f"/static/{name}" for name in ("dryside.js", "field-store.js", "archivo-latin.woff2")]
    version = hashlib.sha256(json.dumps(paths).encode()).hexdigest()[:12]
    script = (STATIC / "field-worker.js").read_text("utf-8")
    head = f"const VERSION = {json.dumps(version)};\nconst PIECES = {json.dumps(['/field', *paths])};\n"
    return Response(head + script, media_type="text/javascript", headers={"cache-control": "no-cache"})
