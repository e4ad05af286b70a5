"""Pages from templates: what each of them is given, and how a refusal looks."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from dryside.film.refusal import Refusal
from dryside.web import words

if TYPE_CHECKING:
    from dryside.web.app import Site

STATIC = Path(__file__).parent / "static"


@dataclass(frozen=True)
class Stop:
    """One stop of the journey in the pages' head."""

    name: str
    path: str


JOURNEY = (
    Stop("Today", "/"),
    Stop("Shelf", "/shelf"),
    Stop("Rolls", "/rolls"),
    Stop("In the field", "/field"),
    Stop("Drop-off", "/drop-off"),
    Stop("Back from the lab", "/back"),
    Stop("Negatives", "/negatives"),
    Stop("Prints", "/prints"),
    Stop("Sleeves", "/sleeves"),
    Stop("Labs", "/labs"),
    Stop("Spending", "/spending"),
)


@cache
def environment() -> Environment:
    """Templates: everything escaped, a missing name is an error."""
    made = Environment(
        loader=PackageLoader("dryside.web"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["static"] = static
    made.globals["journey"] = JOURNEY
    made.filters |= words.FILTERS
    return made


@cache
def static(name: str) -> str:
    """Address of a file in static/, with its digest so that a changed file is never taken from a cache."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?{digest}"


def site_of(request: Request) -> Site:
    """The site that a request came to."""
    found: Site = request.app.state.site
    return found


def page(request: Request, template: str, *, title: str, status: int = 200, **given: Any) -> HTMLResponse:
    """A page for a person."""
    site = site_of(request)
    path = request.url.path
    here = max((stop.path for stop in JOURNEY if path == stop.path or path.startswith(f"{stop.path}/")), default="")
    shared = {
        "token": request.state.token,
        "here": here if here != "/" or path == "/" else "",
        "path": path,
        "title": title,
        "said": site.said.pop(request.state.session, None),
        "today": words.day(site.day()),
        "book_name": f"Book: {site.book.root.name}",
        "is_stranger": (stranger := site.door.password_needed and not site.sessions.is_in(request.state.session)),
        "can_leave": site.door.password_needed and not stranger,
    }
    return HTMLResponse(environment().get_template(template).render(shared | given), status_code=status)


def say(request: Request, text: str, undo_id: int | None = None) -> None:
    """What the next page says was done, and how to take it back."""
    from dryside.web.app import Said

    site_of(request).said[request.state.session] = Said(text, undo_id)


def done(request: Request, to: str, text: str, undo_id: int | None = None) -> RedirectResponse:
    """After a change: go to a page, which says what was done and how to take it back."""
    say(request, text, undo_id)
    return RedirectResponse(to, status_code=303)


def own_path(to: str | None, otherwise: str) -> str:
    """A path of these pages that a form names to come back to; `otherwise` where it is none."""
    if to and to.startswith("/") and not to.startswith(("//", "/\\")) and to.isprintable():
        return to
    return otherwise


def refusal_answer(request: Request, refusal: Refusal, status: int) -> Response:
    """A refusal as JSON for a script, as a page with the way out for a person."""
    from dryside.web.app import wants_json

    if wants_json(request):
        return JSONResponse({"refused": refusal.as_dict()}, status_code=status)
    here, before = urlsplit(str(request.url)), urlsplit(request.headers.get("referer", ""))
    back = own_path(before.path + (f"?{before.query}" if before.query else ""), "")
    is_ours = before.netloc == here.netloc and before.path != here.path
    return page(request, "refusal.html", title="Not done", status=status, refusal=refusal, back=back if is_ours else "")
