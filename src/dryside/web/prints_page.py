"""Prints: which sizes a picture bears, what a crop takes off, prices; files for a lab, sheets for one's own printer."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response

from dryside.book.frame_pictures import picture_of_frame, pictures_of_frames
from dryside.book.frames import find_frame, get_frame, list_frames
from dryside.book.roll_list import RollFilter, list_roll_page
from dryside.book.rolls import find_roll
from dryside.film.printsizes import print_size
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.book_labs import current_labs
from dryside.prints.pricing import ListedPrice, prices_of
from dryside.web.apart import Apart
from dryside.web.forms import Form, text, texts
from dryside.web.jobs import ask_for, list_jobs
from dryside.web.pages import done, page, site_of
from dryside.web.print_looking import Looked, look

if TYPE_CHECKING:
    from sqlalchemy import Connection

router = APIRouter()
COMMON = ("4R", "5R", "8R", "10x15cm", "13x18cm", "20x30cm", "A4")
"""Sizes shown before all others, beside those that the labs price."""
_lookers = Apart()


@router.get("/prints")
def prints_page(request: Request, roll: str = "", after: int | None = None) -> Response:
    """The choice of a roll, or of frames of one."""
    site = site_of(request)
    given: dict[str, Any] = {"roll": None, "found": None, "frames": []}
    with site.book.read() as conn:
        if roll:
            given["roll"] = row = find_roll(conn, roll)
            frames = list_frames(conn, row.id)
            shown = pictures_of_frames(conn, site.book, [frame.id for frame in frames])
            given["frames"] = [frame for frame in frames if frame.id in shown and shown[frame.id].is_there]
        else:
            given["found"] = list_roll_page(conn, RollFilter(), limit=40, after=after)
        jobs = list_jobs(conn, kind="prints", most=6)
    return page(request, "prints.html", title="Prints", jobs=jobs, **given)


@router.get("/prints/{code}/{label}")
def fit_page(
    request: Request, code: str, label: str, way: str = "fill", border: str = "", at: str = "", size: str = ""
) -> Response:
    """One picture on every size of paper."""
    site = site_of(request)
    with site.book.read() as conn:
        roll = find_roll(conn, code)
        frame = find_frame(conn, roll.id, label)
        picture = picture_of_frame(conn, site.book, frame.id)
        prices = _prices(conn, site.day())
    if picture is None or not picture.is_there:
        raise NotFound(f"frame {frame.label} of roll {roll.code}", "it has no scan and no positive yet")
    way = way if way in ("fill", "fit") else "fill"
    border_mm, place = _number(border, 0.0, 0, 200), _number(at, None, 0, 1)
    looked = _lookers.run(picture.name, look, str(picture.path), None, way, border_mm, place)
    plans = [(plan, next(iter(prices_of(plan.size, 1, prices)), None)) for plan in looked.plans]
    chosen = next((plan for plan in looked.plans if plan.size.name == size), None) or _first(looked)
    first = [one for one in plans if one[1] or one[0].size.name in COMMON or one[0] is chosen]
    return page(
        request, "print-fit.html", title=f"Print {roll.code}, frame {frame.label}", roll=roll, frame=frame,
        looked=looked, first=first, others=[one for one in plans if one not in first], chosen=chosen, way=way,
        border=border, at=at,
    )  # fmt: skip


def _first(looked: Looked) -> Any:
    """The plan to draw when none is chosen: the common small print."""
    return next((plan for plan in looked.plans if plan.size.name == "4R"), looked.plans[0])


@router.post("/prints")
def make(request: Request, form: Form) -> Response:
    """Queue print files or sheets of the chosen frames."""
    site = site_of(request)
    frames = [int(one) for one in texts(form, "frame") if one.isdecimal() and len(one) < 10]
    if not frames:
        raise Refusal("prints", "no picture is chosen", "Tick at least one.")
    sizes = _sizes(text(form, "sizes") or "4R")
    with site.book.read() as conn:
        for one in frames:
            get_frame(conn, one)
    arguments = {
        "frames": frames,
        "sizes": [[size, copies] for size, copies in sizes],
        "way": "fit" if text(form, "way") == "fit" else "fill",
        "border_mm": _number(text(form, "border") or "", 0.0, 0, 200),
        "as": "sheet" if text(form, "as") == "sheet" else "files",
        "paper": text(form, "paper") or "A4",
        "on": site.day().isoformat(),
        "number": secrets.token_hex(3),
    }
    ask_for(site.book, "prints", arguments, message=f"{len(frames)} pictures")
    site.wake_jobs()
    back = text(form, "roll")
    return done(
        request, f"/prints?roll={find_code(request, back)}" if back else "/prints", "The prints are being made."
    )


def find_code(request: Request, roll: str) -> str:
    """The roll's code, which is safe in an address."""
    with site_of(request).book.read() as conn:
        return find_roll(conn, roll).code


def _sizes(given: str) -> list[tuple[str, int]]:
    """`4R:10, 8R`: sizes with copies.

    Raises
    ------
    Refusal
        If a size or a number of copies cannot be read.
    """
    found = []
    for part in (part for part in given.replace(";", ",").split(",") if part.strip()):
        name, _, many = part.partition(":")
        if many.strip() and not (many.strip().isdigit() and 1 <= int(many) <= 9999):
            raise Refusal(
                f"size {part.strip()}", f"'{many.strip()}' is no number of copies", "Write it like 4R:10, 8R."
            )
        found.append((print_size(name).name, int(many) if many.strip() else 1))
    if not found:
        raise Refusal("sizes", "none is named", "Write it like 4R:10, 8R.")
    return found


def _prices(conn: Connection, day: Any) -> list[ListedPrice]:
    return [
        ListedPrice(lab.name, one.size, one.price.amount, one.price.currency)
        for lab in current_labs(conn, day)
        for one in lab.print
    ]


def _number(given: str, otherwise: Any, low: float, high: float) -> Any:
    try:
        value = float(given.replace(",", ".")) if given.strip() else otherwise
    except ValueError:
        raise Refusal(given, "it is no number", "Write it like 5.") from None
    if value is not None and not low <= value <= high:
        raise Refusal(given, f"it lies outside {low:g} to {high:g}")
    return value


def close_lookers() -> None:
    """End the process that looks at pictures."""
    _lookers.close()
