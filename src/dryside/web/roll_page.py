"""One roll: its way so far, its frames as a strip, its log, scans and captures, strips and papers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, JSONResponse

from dryside.book.cameras import list_cameras, list_lenses
from dryside.book.events import EventRow, list_events
from dryside.book.frame_import import apply_import, next_label_of, plan_import, read_log
from dryside.book.frame_line import position_for, read_frame_line
from dryside.book.frame_pictures import pictures_of_frames
from dryside.book.frames import FrameRow, find_frame, get_frame, list_frames
from dryside.book.instants import parse_day
from dryside.book.journey import MOVES, RollState, parse_state, place_in_words
from dryside.book.notes.noted import Assumptions
from dryside.book.notes.write_line import note_line
from dryside.book.people import list_people
from dryside.book.rolls import RollRow, find_roll, move_roll, names_of, update_roll
from dryside.book.schema import captures, files, rolls, scans
from dryside.book.schema import frames as frames_table
from dryside.book.stocks import list_stocks
from dryside.book.undoing import Ledger
from dryside.film.formats import FORMATS
from dryside.film.refusal import NotFound, Refusal
from dryside.film.speed import parse_push, parse_speed
from dryside.sleeves.binders import strips_of_roll
from dryside.sleeves.whereabouts import whereabouts
from dryside.web.forms import Form, needed, text, whole
from dryside.web.jobs import ask_for, open_jobs
from dryside.web.pages import done, page, site_of
from dryside.web.zone import zone_here

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book

router = APIRouter()

ALONG = (
    RollState.CAMERA,
    RollState.EXPOSED,
    RollState.AT_LAB,
    RollState.SCANS_BACK,
    RollState.NEGATIVES_BACK,
    RollState.SLEEVED,
)
_IN_SHORT = {
    RollState.CAMERA: "In a camera",
    RollState.EXPOSED: "Exposed",
    RollState.AT_LAB: "At the lab",
    RollState.SCANS_BACK: "Scans back",
    RollState.NEGATIVES_BACK: "Negatives back",
    RollState.SLEEVED: "Sleeved",
}


_DEEDS = {
    RollState.EXPOSED: ("Plan its drop-off", "/drop-off"),
    RollState.AT_LAB: ("The scans are here", "/back"),
    RollState.SCANS_BACK: ("Fetch the negatives", "/orders"),
    RollState.NEGATIVES_BACK: ("Cut and sleeve it", "/sleeves?roll={}#cut"),
    RollState.SLEEVED: ("Print from it", "/prints?roll={}"),
}
"""What is done next with a roll at each place, and where."""


@dataclass(frozen=True)
class Step:
    """A place of the roll's way: the day it came there, whether it is there now."""

    name: str
    day: str | None
    state: str


@dataclass(frozen=True)
class ShownFrame:
    """A frame of the strip with what the page needs of it."""

    frame: FrameRow
    has_picture: bool
    line: str
    width: int
    height: int


@router.get("/rolls/{code}")
def roll_page(request: Request, code: str) -> Response:
    """The page of a roll."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, code)
        given = gather(conn, site.book, roll)
    return page(request, "roll.html", title=f"{roll.code} {roll.title or ''}".strip(), roll=roll, **given)


def gather(conn: Connection, book: Book, roll: RollRow) -> dict[str, Any]:
    """Everything that the page shows."""
    frames, events = list_frames(conn, roll.id), list_events(conn, roll.id)
    names = {
        "stock": {row.id: row.name for row in list_stocks(conn)}.get(roll.stock_id or 0),
        "camera": {row.id: row.name for row in list_cameras(conn)}.get(roll.camera_id or 0),
        "owner": {row.id: row.name for row in list_people(conn)}.get(roll.owner_id or 0),
    }
    return {
        "names": names,
        "own_names": names_of(conn, roll.id),
        "place": place_in_words(roll.place),
        "steps": way_so_far(roll, events),
        "events": events,
        "frames": (shown := shown_frames(conn, book, roll, frames)),
        "first": next((one for one in shown if one.has_picture), shown[0] if shown else None),
        "has_pictures": any(one.has_picture for one in shown),
        "noted": len(frames),
        "next_label": next_label_of(conn, roll),
        "scans": _scans_of(conn, roll.id),
        "captures": _captures_of(conn, roll.id),
        "strips": _strips(conn, roll),
        "papers": papers_of(book, roll),
        "jobs": [one for one in open_jobs(conn) if one.arguments.get("roll") == roll.code],
        "moves": _moves(roll.place),
        "deed": _DEEDS.get(roll.place),
    }


def _moves(place: RollState) -> list[RollState]:
    """Where a roll can go from a place, the next step of the journey first."""
    next_step = _following(place)
    return sorted(MOVES[place], key=lambda to: (to is not next_step, list(RollState).index(to)))


def _following(place: RollState) -> RollState | None:
    """The next place along the journey."""
    return ALONG[ALONG.index(place) + 1] if place in ALONG[:-1] else None


def way_so_far(roll: RollRow, events: list[EventRow]) -> list[Step]:
    """The places along the journey, each with the day the roll came there last."""
    came = {event.to_state: event.at[:10] for event in events if event.to_state}
    here = ALONG.index(roll.place) if roll.place in ALONG else -1
    states = ("now" if place == here else "done" if place < here else "ahead" for place in range(len(ALONG)))
    return [
        Step(_IN_SHORT[place], came.get(str(place)) if state != "ahead" else None, state)
        for place, state in zip(ALONG, states, strict=True)
    ]


def shown_frames(conn: Connection, book: Book, roll: RollRow, frames: list[FrameRow]) -> list[ShownFrame]:
    """Frames with their lines, in the order along the film."""
    pictures = pictures_of_frames(conn, book, [frame.id for frame in frames])
    lenses = {row.id: row.name for row in list_lenses(conn)}
    width, height = frame_shape(roll.format)
    return [
        ShownFrame(
            frame,
            frame.id in pictures and pictures[frame.id].is_there,
            note_line(frame, lenses.get(frame.lens_id or 0)),
            width,
            height,
        )
        for frame in frames
    ]


def frame_shape(film_format: str) -> tuple[int, int]:
    """Width and height of a frame as it is shown, px, longer side 320: so that nothing moves when pictures come."""
    known = FORMATS.get(film_format)
    if known is None:
        return 320, 213
    longer = max(known.along_mm, known.across_mm)
    return round(320 * known.along_mm / longer), round(320 * known.across_mm / longer)


@router.post("/rolls/{code}/line")
def type_line(request: Request, code: str, form: Form) -> Response:
    """Write one frame's line into the book; a frame that is not there yet is added."""
    line = needed(form, "line", "line")
    site = site_of(request)
    with site.book.write() as conn:
        roll = find_roll(conn, code)
        found = read_frame_line(conn, roll, line, assumptions(roll, site.day().year))
        ledger = Ledger(conn)
        if found.frame is None:
            values = {"roll_id": roll.id, "position": position_for(conn, roll, found.label), "label": found.label,
                      "blank": False, "printed": False, **found.changes}  # fmt: skip
            frame_id = ledger.insert(frames_table, values)
        else:
            frame_id = found.frame.id
            if found.changes:
                ledger.update(frames_table, {"id": frame_id}, found.changes)
        undo_id = ledger.save(f"the line of frame {found.label} of {roll.code}") if found.changes else None
        frame = get_frame(conn, frame_id)
        lenses = {row.id: row.name for row in list_lenses(conn)}
        written = note_line(frame, lenses.get(frame.lens_id or 0))
    if "application/json" in request.headers.get("accept", ""):
        answer = {"label": frame.label, "line": written, "caption": frame.caption, "is_new": found.frame is None,
                  "undo": undo_id, "rating": frame.rating, "blank": frame.blank}  # fmt: skip
        return JSONResponse(answer)
    return done(request, f"/rolls/{roll.code}#frame-{frame.label}", f"Frame {frame.label} is written.", undo_id)


@router.post("/rolls/{code}/note")
def paste_note(request: Request, code: str, form: Form) -> Response:
    """Take in a whole note; nothing is written where a line cannot be read."""
    note = needed(form, "note", "note")
    site = site_of(request)
    with site.book.write() as conn:
        roll = find_roll(conn, code)
        reading = read_log("note", note.encode(), assumptions(roll, site.day().year))
        if reading.problems:
            first = reading.problems[0]
            raise Refusal(f"line {first.line}: {first.text}", first.found, first.remedy)
        plan = plan_import(conn, roll, reading, replace=text(form, "replace") is not None)
        ledger = Ledger(conn)
        with ledger.around((frames_table, frames_table.c.roll_id == roll.id), (rolls, rolls.c.id == roll.id)):
            count = apply_import(conn, roll, plan)
        undo_id = ledger.save(f"the note of {roll.code}") if count else None
    kept = f" {len(plan.kept)} differ from the book, which kept its own." if plan.kept else ""
    said = f"{count} frames were taken from the note.{kept}" if count else "The book had all of it already."
    return done(request, f"/rolls/{roll.code}", said, undo_id)


@router.post("/rolls/{code}/frames/{label}/picture")
def choose_picture(request: Request, code: str, label: str, form: Form) -> Response:
    """Show this scan for the frame from now on."""
    digest = needed(form, "sha256", "picture")
    with site_of(request).book.write() as conn:
        roll = find_roll(conn, code)
        frame = find_frame(conn, roll.id, label)
        ledger = Ledger(conn)
        ledger.update(frames_table, {"id": frame.id}, {"picture_sha256": digest})
        undo_id = ledger.save(f"the picture of frame {label} of {roll.code}")
    return done(request, f"/rolls/{roll.code}#frame-{label}", f"Frame {label} shows another picture.", undo_id)


@router.post("/rolls/{code}/move")
def move(request: Request, code: str, form: Form) -> Response:
    """Say where the roll is now."""
    site = site_of(request)
    to = parse_state(needed(form, "to", "place"))
    with site.book.write() as conn:
        roll = find_roll(conn, code)
        ledger = Ledger(conn)
        with ledger.around((rolls, rolls.c.id == roll.id)):
            if to is RollState.EXPOSED and roll.place is RollState.CAMERA:
                on = text(form, "on") or site.day().isoformat()
                parse_day(on)
                roll = move_roll(conn, roll, to, at=site.moment(), exposed_on=on)
            else:
                why = text(form, "why")
                roll = move_roll(conn, roll, to, at=site.moment(), detail={"why": why} if why else None)
        undo_id = ledger.save(f"where roll {roll.code} is")
    return done(request, f"/rolls/{roll.code}", f"{roll.code} is {place_in_words(roll.place)}.", undo_id)


@router.post("/rolls/{code}/facts")
def set_facts(request: Request, code: str, form: Form) -> Response:
    """Change what the book says of the roll."""
    index, push = text(form, "exposure_index"), text(form, "push")
    with site_of(request).book.write() as conn:
        roll = find_roll(conn, code)
        ledger = Ledger(conn)
        with ledger.around((rolls, rolls.c.id == roll.id)):
            update_roll(
                conn,
                roll.id,
                title=text(form, "title"),
                notes=text(form, "notes"),
                irreplaceable=text(form, "apart"),
                exposures=whole(form, "exposures", "Exposures", low=1, high=1000) or roll.exposures,
                exposure_index=parse_speed(index) if index else None,
                push_stops=float(parse_push(push)) if push else 0.0,
            )
        undo_id = ledger.save(f"what the book says of roll {roll.code}")
    return done(request, f"/rolls/{roll.code}", f"{roll.code} is changed.", undo_id)


@router.get("/rolls/{code}/papers/{number}")
def paper(request: Request, code: str, number: int) -> Response:
    """One of the roll's papers, by its number in the list."""
    site = site_of(request)
    with site.book.read() as conn:
        found = papers_of(site.book, find_roll(conn, code))
    if not 0 <= number < len(found):
        raise NotFound(f"paper {number} of {code}", "there is none")
    kind = "application/pdf" if found[number].endswith(".pdf") else "image/jpeg"
    return FileResponse(site.book.paper / found[number], media_type=kind)


@router.post("/rolls/{code}/contact")
def contact(request: Request, code: str) -> Response:
    """Queue the making of the roll's contact sheet."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, code)
    ask_for(site.book, "contact", {"roll": roll.code, "on": site.day().isoformat()}, message=roll.code)
    site.wake_jobs()
    return done(request, f"/rolls/{roll.code}", "The contact sheet is being made.")


def assumptions(roll: RollRow, year: int) -> Assumptions:
    """What a note of this roll leaves open, filled in."""
    began = roll.loaded_on or roll.exposed_on
    return Assumptions(offset=zone_here(), year=int(began[:4]) if began else year, is_half_frame=roll.format == "half")


def papers_of(book: Book, roll: RollRow) -> list[str]:
    """Names of the printed pages in the book's paper/ that carry the roll's code."""
    return sorted(
        str(path.relative_to(book.paper))
        for path in book.paper.rglob("*")
        if roll.code in path.name and path.suffix in (".pdf", ".jpg")
    )


def _scans_of(conn: Connection, roll_id: int) -> list[dict[str, Any]]:
    from sqlalchemy import select

    joined = scans.join(files, files.c.id == scans.c.file_id).outerjoin(
        frames_table, frames_table.c.id == scans.c.frame_id
    )
    columns = (scans.c.id, scans.c.name, scans.c.width, scans.c.height, scans.c.state, frames_table.c.label,
               files.c.sha256, files.c.size)  # fmt: skip
    rows = conn.execute(
        select(*columns).select_from(joined).where(scans.c.roll_id == roll_id).order_by(scans.c.sequence, scans.c.id)
    )
    found = [dict(row._mapping) for row in rows]
    labels = [one["label"] for one in found]
    return [{**one, "has_others": one["label"] is not None and labels.count(one["label"]) > 1} for one in found]


def _captures_of(conn: Connection, roll_id: int) -> list[dict[str, Any]]:
    from sqlalchemy import select

    joined = captures.join(files, files.c.id == captures.c.file_id)
    rows = conn.execute(
        select(captures.c.id, captures.c.file_id, files.c.name, files.c.size)
        .select_from(joined)
        .where(captures.c.roll_id == roll_id)
        .order_by(captures.c.id)
    )
    return [dict(row._mapping) for row in rows]


def _strips(conn: Connection, roll: RollRow) -> list[dict[str, Any]]:
    """Strips with their frames and where each lies; nothing while the roll is not cut."""
    if not strips_of_roll(conn, roll.id):
        return []
    found: dict[int, dict[str, Any]] = {}
    for one in whereabouts(conn, roll):
        if one.strip is None:
            continue
        strip = found.setdefault(one.strip, {"number": one.strip, "labels": [], "where": one.in_words()})
        strip["labels"].append(one.label)
    return [found[number] for number in sorted(found)]
