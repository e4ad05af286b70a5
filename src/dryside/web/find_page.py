"""Find a picture by words and the way to its strip."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from dryside.book.cameras import list_cameras
from dryside.book.frame_pictures import pictures_of_frames
from dryside.book.search import FrameQuery, find_frames
from dryside.book.stocks import list_stocks
from dryside.web.pages import environment, page, site_of

router = APIRouter()
PAGE = 60


@router.get("/find")
def find_page(
    request: Request,
    words: str = "",
    person: str = "",
    since: str = "",
    until: str = "",
    rating: str = "",
    camera: str = "",
    stock: str = "",
    not_printed: str = "",
    at_lab: str = "",
    after: int | None = None,
    part: bool = False,
) -> Response:
    """Frames that meet the words and filters, a page at a time; `part` gives only the list's next piece."""
    asked = {"words": words[:300], "person": person[:100], "since": since, "until": until, "rating": rating,
             "camera": camera, "stock": stock, "not_printed": not_printed, "at_lab": at_lab}  # fmt: skip
    site = site_of(request)
    with site.book.read() as conn:
        found = find_frames(conn, _query(asked), limit=PAGE, after=after, budget_s=0.2)
        shown = pictures_of_frames(conn, site.book, [frame.id for frame in found.frames])
        choices: dict[str, Any] = {"cameras": list_cameras(conn), "stocks": list_stocks(conn)}
    further = {name: value for name, value in asked.items() if value}
    given: dict[str, Any] = {
        "found": found,
        "shown": shown,
        "asked": asked,
        "is_first": after is None,
        "more": f"/find?{urlencode({**further, 'after': found.after})}" if found.after else None,
    }
    if part:
        return HTMLResponse(environment().get_template("find-part.html").render(given))
    return page(request, "find.html", title="Find a picture", **given, **choices)


def _query(asked: dict[str, str]) -> FrameQuery:
    from dryside.book.instants import parse_day

    def day(text: str) -> date | None:
        return parse_day(text) if text else None

    def number(text: str) -> int | None:
        return int(text) if text.isdecimal() and len(text) < 10 else None

    return FrameQuery(
        words=asked["words"],
        person=asked["person"] or None,
        since=day(asked["since"]),
        until=day(asked["until"]),
        rating=number(asked["rating"]) or None,
        camera_id=number(asked["camera"]),
        stock_id=number(asked["stock"]),
        not_printed=bool(asked["not_printed"]),
        negatives_at_lab=bool(asked["at_lab"]),
    )
