"""Negatives: captures with what was found drawn over them, the positive beside as controls move, the roll queued."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, JSONResponse
from pydantic import BaseModel, Field

from dryside.book.files import keep_original
from dryside.book.frames import list_frames
from dryside.book.journey import RollState
from dryside.book.roll_list import rolls_in
from dryside.book.rolls import RollRow, find_roll, get_roll
from dryside.book.schema import captures, scans
from dryside.book.undoing import Ledger
from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.adjusting import RANGES, Adjustment, adjusted, neutral_balance
from dryside.negatives.recipe import Recipe
from dryside.web import uploads
from dryside.web.apart import Apart
from dryside.web.inverting import change_of
from dryside.web.jobs import ask_for, list_jobs
from dryside.web.kept import note_use
from dryside.web.looking import (
    CAPTURE_SHOWN,
    MOST_FRAMES,
    again,
    capture_row,
    is_of,
    looked_at,
    make_again,
    rows_of_roll,
    small_folder,
    with_recipes,
)
from dryside.web.pages import page, say, site_of

if TYPE_CHECKING:
    from dryside.book.folder import Book
    from dryside.negatives.small_frames import SmallFrame

router = APIRouter()
_makers = Apart()
KEPT_SMALL = 10
PREVIEW_QUALITY = 85
MAKE_S = 120.0


class NewCaptures(BaseModel):
    """Uploads that are captures of one roll, and the light table alone where it was captured too."""

    roll: str = Field(max_length=80)
    uploads: list[str] = Field(min_length=1, max_length=400)
    flat: str | None = Field(default=None, max_length=40)


class Change(BaseModel):
    """What the controls say, for the whole roll or one frame."""

    scope: str = Field(pattern="^(roll|frame)$")
    adjustment: dict[str, float] = Field(max_length=12)


class FrameDrawn(BaseModel):
    """A frame as a person drew it: corners in capture pixels, clockwise from the picture's upper left."""

    corners: list[tuple[float, float]] = Field(min_length=4, max_length=4)
    label: str | None = Field(default=None, max_length=8)


class FramesDrawn(BaseModel):
    """All frames of a capture."""

    frames: list[FrameDrawn] = Field(max_length=MOST_FRAMES)


@router.get("/negatives")
def negatives_page(request: Request, roll: str = "") -> Response:
    """A roll's captures, or the choice of a roll."""
    book = site_of(request).book
    places = (RollState.NEGATIVES_BACK, RollState.SLEEVED, RollState.SCANS_BACK, RollState.EXPOSED)
    with book.read() as conn:
        chosen = find_roll(conn, roll) if roll else None
        offered = () if chosen else tuple(reversed(rolls_in(conn, places)))[:200]
        jobs = [one for kind in ("look", "invert") for one in list_jobs(conn, kind=kind, most=12)
                if chosen and one.arguments.get("roll") == chosen.code and one.state != "done"][:2]  # fmt: skip
    rows = rows_of_roll(book, chosen.id) if chosen else []
    return page(
        request, "negatives.html", title="Negatives", roll=chosen, offered=offered, rows=rows, jobs=jobs,
        to_look=any(not looked_at(row["geometry"]) for row in rows),
        can_queue=any((row["geometry"] or {}).get("frames") for row in rows),
        kinds=",".join(uploads.KINDS["capture"]), open_uploads=uploads.unfinished(book, "capture") if chosen else [],
    )  # fmt: skip


@router.post("/negatives")
def add_captures(request: Request, new: NewCaptures) -> Response:
    """Keep uploaded captures with the roll and queue looking at them."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, new.roll)
    flat = None
    if new.flat:
        flat = keep_original(site.book, uploads.path_of(site.book, new.flat), kind="flat").sha256
    for one in new.uploads:
        kept = keep_original(site.book, uploads.path_of(site.book, one), kind="capture")
        with site.book.write() as conn:
            known = captures.select().where(captures.c.file_id == kept.id, captures.c.roll_id == roll.id)
            if conn.execute(known).first() is None:
                values: dict[str, Any] = {"file_id": kept.id, "roll_id": roll.id, "flat_sha256": flat, "settings": {},
                          "made_at": site.moment()}  # fmt: skip
                conn.execute(captures.insert().values(**values))
    for one in (*new.uploads, *([new.flat] if new.flat else [])):
        uploads.forget(site.book, one)
    row = ask_for(site.book, "look", {"roll": roll.code}, message=roll.code)
    site.wake_jobs()
    return JSONResponse(row.as_dict(), status_code=202)


@router.post("/negatives/look/{code}")
def look(request: Request, code: str) -> Response:
    """Queue looking at captures that came by a command, or whose looking was cancelled."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, code)
    row = ask_for(site.book, "look", {"roll": roll.code}, message=roll.code)
    site.wake_jobs()
    return JSONResponse(row.as_dict(), status_code=202)


@router.post("/negatives/queue/{code}")
def queue(request: Request, code: str) -> Response:
    """Queue the making of the roll's positives."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, code)
    row = ask_for(site.book, "invert", {"roll": roll.code}, message=roll.code)
    site.wake_jobs()
    return JSONResponse(row.as_dict(), status_code=202)


@router.get("/negatives/captures/{capture_id}")
def capture_page(request: Request, capture_id: int, frame: int = 0) -> Response:
    """One capture with what was found over it, and a frame's positive beside it."""
    book = site_of(request).book
    row = capture_row(book, capture_id)
    geometry = row["geometry"] or {}
    with book.read() as conn:
        roll = get_roll(conn, row["roll_id"])
        logged = [one.label for one in list_frames(conn, roll.id)]
        compared = _lab_scans(conn, roll, geometry)
    others = rows_of_roll(book, roll.id)
    place = next(number for number, one in enumerate(others) if one["id"] == capture_id)
    return page(
        request, "capture.html", title=f"{roll.code}, {row['name']}", roll=roll, row=row, geometry=geometry,
        labels=logged, first=frame, compared=compared, shape=_shape(geometry, frame),
        settings=row["settings"] or {}, number=place + 1, count=len(others),
        before=others[place - 1]["id"] if place else None,
        after=others[place + 1]["id"] if place + 1 < len(others) else None,
    )  # fmt: skip


def _shape(geometry: dict[str, Any], number: int) -> tuple[int, int]:
    """Width and height of a frame's preview, px, so that nothing moves when it comes."""
    import math

    frames = geometry.get("frames") or []
    if not frames:
        return 1600, 1067
    corners = frames[min(max(number, 0), len(frames) - 1)]["corners"]
    wide, high = math.dist(corners[0], corners[1]), math.dist(corners[1], corners[2])
    return round(1600 * wide / max(wide, high)), round(1600 * high / max(wide, high))


def _lab_scans(conn: Any, roll: RollRow, geometry: dict[str, Any]) -> dict[int, int]:
    """For each frame number the lab's scan of the same frame, to compare with."""
    from sqlalchemy import select

    from dryside.book.schema import frames

    rows = conn.execute(
        select(frames.c.label, scans.c.id).join(frames, frames.c.id == scans.c.frame_id)
        .where(scans.c.roll_id == roll.id, scans.c.origin == "lab")
    )  # fmt: skip
    by_label = {row.label: row.id for row in rows}
    return {
        number: by_label[one["label"]]
        for number, one in enumerate(geometry.get("frames", []))
        if one.get("label") in by_label
    }


@router.get("/negatives/captures/{capture_id}/picture.jpg")
def capture_picture(request: Request, capture_id: int) -> Response:
    """The capture as it lies on the light table."""
    book = site_of(request).book
    row = capture_row(book, capture_id)
    path = small_folder(book, capture_id) / CAPTURE_SHOWN
    _make_again(book, row)
    return FileResponse(path, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})


_again_lock = threading.Lock()


def _make_again(book: Book, row: dict[str, Any], needed: str = CAPTURE_SHOWN) -> None:
    """Make again what was dropped for room, left out of a backup, or is of frames that were taken back.

    Raises
    ------
    NotFound
        If it was not looked at yet.
    """
    folder = small_folder(book, row["id"])
    corners = [one["corners"] for one in (row["geometry"] or {}).get("frames", [])]

    def is_there() -> bool:
        return (folder / needed).is_file() and (needed == CAPTURE_SHOWN or is_of(folder, corners))

    if is_there():
        return
    if not corners:
        raise NotFound(row["name"], "it was not looked at yet", "Wait until it is.")
    with _again_lock:
        if not is_there():
            _makers.run(row["name"], make_again, again(book, row), timeout_s=MAKE_S)


class _Small:
    """The small frames used last, in memory, with their recipes."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.kept: OrderedDict[tuple[str, int, int, int], SmallFrame] = OrderedDict()

    def get(self, book: Book, row: dict[str, Any], number: int) -> SmallFrame:
        """A frame, read from disk where it is not held, made again where it is not there either."""
        import numpy as np

        from dryside.negatives.small_frames import SmallFrame

        capture_id = row["id"]
        path = small_folder(book, capture_id) / f"{number}.npy"
        _make_again(book, row, path.name)
        stamp = path.stat().st_mtime_ns
        key = (str(book.root), capture_id, number, stamp)
        with self.lock:
            if key in self.kept:
                self.kept.move_to_end(key)
                return self.kept[key]
        note_use(path)
        frame = SmallFrame(np.load(path))
        with self.lock:
            self.kept[key] = frame
            while len(self.kept) > KEPT_SMALL:
                self.kept.popitem(last=False)
        return frame


_small = _Small()


@router.get("/negatives/captures/{capture_id}/frames/{number}/positive.jpg")
def preview(request: Request, capture_id: int, number: int) -> Response:
    """The frame's positive as the controls of the address have it, else as it was set."""
    import simplejpeg

    from dryside.negatives.small_frames import develop_small

    began = time.perf_counter()
    book = site_of(request).book
    row = capture_row(book, capture_id)
    recipe = _recipe(row, number)
    asked = {name: value for name, value in request.query_params.items() if name in RANGES}
    change = Adjustment.from_dict(_numbers(asked)) if asked else change_of(row, number)
    pixels = develop_small(_small.get(book, row, number), adjusted(recipe, change))
    content = simplejpeg.encode_jpeg(pixels, quality=PREVIEW_QUALITY, colorsubsampling="420", fastdct=True)
    took = f"make;dur={(time.perf_counter() - began) * 1000:.1f}"
    return Response(content, media_type="image/jpeg", headers={"server-timing": took, "cache-control": "no-store"})


@router.get("/negatives/captures/{capture_id}/frames/{number}/neutral")
def neutral(request: Request, capture_id: int, number: int, x: float, y: float) -> Response:
    """The balance that makes the place at (x, y), parts of the frame's sides, a neutral grey."""
    if not (0 <= x <= 1 and 0 <= y <= 1):
        raise Refusal(f"place {x}, {y}", "it lies outside the frame")
    book = site_of(request).book
    row = capture_row(book, capture_id)
    try:
        red, blue = neutral_balance(_recipe(row, number), _small.get(book, row, number).density(x, y))
    except ValueError:
        raise Refusal("this place", "it is too dark to be a grey", "Tap a lighter grey.") from None
    return JSONResponse({"red_stops": round(red, 3), "blue_stops": round(blue, 3)})


@router.post("/negatives/captures/{capture_id}/frames/{number}/adjust")
def adjust(request: Request, capture_id: int, number: int, new: Change) -> Response:
    """Keep what the controls say."""
    book = site_of(request).book
    row = capture_row(book, capture_id)
    change = Adjustment.from_dict(new.adjustment)
    _recipe(row, number)
    if new.scope == "roll":
        for one in rows_of_roll(book, row["roll_id"]):
            own = {key: value for key, value in (one["settings"] or {}).items() if key != "roll"}
            _keep_settings(book, one["id"], {**own, "roll": change.as_dict()})
    else:
        settings = row["settings"] or {}
        roll = Adjustment.from_dict(settings.get("roll") or {})
        differs = {name: value - getattr(roll, name) for name, value in change.as_dict().items()}
        _keep_settings(
            book, capture_id, {**settings, "frames": {**(settings.get("frames") or {}), str(number): differs}}
        )
    return JSONResponse({"kept": change.as_dict(), "scope": new.scope})


@router.post("/negatives/captures/{capture_id}/frames")
def draw_frames(request: Request, capture_id: int, new: FramesDrawn) -> Response:
    """Take the frames as a person drew them, and make their positives anew."""
    book = site_of(request).book
    row = capture_row(book, capture_id)
    geometry = dict(row["geometry"] or {})
    width, height = geometry.get("size") or (0, 0)
    drawn = [_checked(one, width, height) for one in new.frames]
    corners = [one["corners"] for one in drawn]
    if not width:
        raise NotFound(row["name"], "it was not looked at yet", "Wait until it is.")
    _makers.run(row["name"], make_again, again(book, row, corners), timeout_s=MAKE_S)
    new_rows = rows_of_roll(book, row["roll_id"])
    for one in new_rows:
        if one["id"] == capture_id:
            one["geometry"] = {**geometry, "frames": drawn, "by_hand": True}
    known = {one["id"]: one["geometry"] for one in new_rows} | with_recipes(book, new_rows)
    with book.write() as conn:
        ledger = Ledger(conn)
        with ledger.around((captures, captures.c.roll_id == row["roll_id"])):
            for one, found in known.items():
                conn.execute(captures.update().where(captures.c.id == one).values(geometry=found))
        undo_id = ledger.save(f"the frames of {row['name']}")
    say(request, "The frames are kept as you drew them.", undo_id)
    return JSONResponse({"frames": len(drawn), "undo": undo_id})


def _checked(one: FrameDrawn, width: float, height: float) -> dict[str, Any]:
    """A drawn frame as it is kept.

    Raises
    ------
    Refusal
        If a corner lies outside the capture, or the corners are no upright outline.
    """
    import numpy as np

    from dryside.negatives.frame_view import frame_view

    points = np.asarray(one.corners, float)
    if (
        not np.isfinite(points).all()
        or (points < -5).any()
        or (points[:, 0] > width + 5).any()
        or (points[:, 1] > height + 5).any()
    ):
        raise Refusal("frame", "a corner lies outside the capture", "Drag it back.")
    try:
        view = frame_view(points)
    except ValueError:
        raise Refusal("frame", "its corners cross", "Drag them apart, clockwise from the upper left.") from None
    if min(view.rows, view.columns) < 32:
        raise Refusal("frame", f"{view.columns} x {view.rows} pixels are too small", "Drag its corners apart.")
    return {
        "index": 0, "corners": [[round(float(x), 2), round(float(y), 2)] for x, y in points],
        "label": one.label or None, "label_source": "by hand", "confidence": 1.0, "warnings": [],
    }  # fmt: skip


def _recipe(row: dict[str, Any], number: int) -> Recipe:
    frames = (row["geometry"] or {}).get("frames", [])
    if not 0 <= number < len(frames) or "recipe" not in frames[number]:
        raise NotFound(f"frame {number + 1} of {row['name']}", "it was not looked at yet", "Wait until it is.")
    return Recipe.from_dict(frames[number]["recipe"])


def _numbers(asked: dict[str, str]) -> dict[str, float]:
    try:
        return {name: float(value) for name, value in asked.items()}
    except ValueError:
        raise Refusal("control", "its value is no number", "Write it like 0.5.") from None


def _keep_settings(book: Book, capture_id: int, settings: dict[str, Any]) -> None:
    with book.write() as conn:
        conn.execute(captures.update().where(captures.c.id == capture_id).values(settings=settings))


def close_makers() -> None:
    """End the process that makes frames small."""
    _makers.close()
