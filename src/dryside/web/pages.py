"""Pages from templates: what each of them is given, and how a refusal looks."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse, JSONResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from dryside.film.refusal import Refusal

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
    return made


@cache
def static(name: str) -> str:
    """Address of a file in static/, with its digest so that a changed file is never taken from a cache."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?{digest}"


def page(request: Request, template: str, *, title: str, status: int = 200, **given: Any) -> HTMLResponse:
    """A page for a person."""
    site = request.app.state.site
    path = request.url.path
    here = max((stop.path for stop in JOURNEY if path == stop.path or path.startswith(f"{stop.path}/")), default="")
    shared = {
        "token": request.state.token,
        "here": here if here != "/" or path == "/" else "",
        "title": title,
        "said": None,
        "today": site.day().strftime("%-d %B %Y"),
        "book_name": f"Book: {site.book.root.name}",
    }
    return HTMLResponse(environment().get_template(template).render(shared | given), status_code=status)


def refusal_answer(request: Request, refusal: Refusal, status: int) -> Response:
    """A refusal as JSON for a script, as a page with the way out for a person."""
    from dryside.web.app import wants_json

    if wants_json(request):
        return JSONResponse({"refused": refusal.as_dict()}, status_code=status)
    return page(request, "refusal.html", title="Not done", status=status, refusal=refusal)
