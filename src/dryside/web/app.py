"""The application: one book, its pages, its JSON API, behind the guard."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

import dryside
from dryside.book.folder import Book
from dryside.film.refusal import NotFound, Refusal
from dryside.web.forms import must_be_wanted
from dryside.web.job_runner import JobRunner
from dryside.web.passwords import Attempts
from dryside.web.security import LARGEST_BODY_BYTES, TOKEN_HEADER, BodyTooLarge, Door, Guard, Sessions

STATIC = Path(__file__).parent / "static"
REFUSED_STATUS = 422
NOT_FOUND_STATUS = 404


@dataclass(frozen=True)
class Said:
    """What was just done, in words for the next page, and which change would take it back."""

    text: str
    undo_id: int | None = None


@dataclass
class Site:
    """What every page needs: the book, who may come in, and the day the pages stand on."""

    book: Book
    door: Door
    sessions: Sessions
    password_digest: str | None = None
    today: date | None = None
    attempts: Attempts = field(default_factory=Attempts)
    api_token_digests: frozenset[str] = frozenset()
    said: dict[str, Said] = field(default_factory=dict)
    runner: JobRunner | None = None
    certificate: Path | None = None
    address: str | None = None

    def api_token_fits(self, token: str) -> bool:
        """Whether a bearer token is one of this book's."""
        return hashlib.sha256(token.encode()).hexdigest() in self.api_token_digests

    def wake_jobs(self) -> None:
        """A job was put in the queue."""
        if self.runner is not None:
            self.runner.wake()

    def moment(self) -> str:
        """Now as ISO 8601 with offset; noon of the given day where one was given."""
        clock = datetime.now().astimezone()
        day = self.day()
        if day != clock.date():
            clock = datetime(day.year, day.month, day.day, 12).astimezone()
        return clock.isoformat(timespec="seconds")

    def day(self) -> date:
        """Today, as the person's clock says, unless a day was given."""
        return self.today or date.today()  # noqa: DTZ011 - the person's own day, on her own clock


def create_app(site: Site) -> FastAPI:
    """The application over one book.

    Parameters
    ----------
    site : Site
        The open book and what the server demands of a request. Closed by the caller.
    """
    from dryside.web import rooms

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        rooms.start(site)
        yield
        rooms.stop(site)

    app = FastAPI(
        title="Dryside",
        version=dryside.__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=life,
    )
    app.state.site = site
    app.add_middleware(GZipMiddleware, minimum_size=600, compresslevel=5)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for router in rooms.routers():
        is_api = router.prefix == "/api"
        app.include_router(router, dependencies=[Depends(must_be_wanted)], include_in_schema=is_api)
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(RequestValidationError, _misread)
    app.add_exception_handler(HTTPException, _no_such_page)
    app.add_exception_handler(BodyTooLarge, _too_large)
    app.add_exception_handler(Exception, _broken)
    app.add_middleware(Guard, door=site.door, sessions=site.sessions, api_token_fits=site.api_token_fits)
    return app


def wants_json(request: Request) -> bool:
    """Whether the answer goes to a script rather than to a person."""
    accepts = request.headers.get("accept", "")
    is_script = TOKEN_HEADER in request.headers
    return is_script or request.url.path.startswith("/api/") or "application/json" in accepts


async def _refused(request: Request, refusal: Exception) -> Response:
    from dryside.web.pages import refusal_answer

    if not isinstance(refusal, Refusal):
        raise refusal
    status = NOT_FOUND_STATUS if isinstance(refusal, NotFound) else REFUSED_STATUS
    return refusal_answer(request, refusal, status)


async def _misread(request: Request, error: Exception) -> Response:
    from dryside.web.pages import refusal_answer

    first: dict[str, Any] = error.errors()[0] if isinstance(error, RequestValidationError) else {}
    thing = ".".join(str(part) for part in first.get("loc", ("request",))[1:]) or "request"
    return refusal_answer(request, Refusal(thing, str(first.get("msg", "could not be read"))), REFUSED_STATUS)


async def _too_large(request: Request, _: Exception) -> Response:
    from dryside.web.pages import refusal_answer

    most = LARGEST_BODY_BYTES // 1024 // 1024
    return refusal_answer(request, Refusal(request.url.path, f"more than {most} MB at once"), 413)


async def _broken(request: Request, _: Exception) -> Response:
    """A fault of ours: said plainly to the person, told in full to the server's log only."""
    from dryside.web.pages import refusal_answer

    return refusal_answer(request, Refusal("this page", "it broke, and nothing was half written", "Try it again."), 500)


async def _no_such_page(request: Request, error: Exception) -> Response:
    from dryside.web.pages import refusal_answer

    status = error.status_code if isinstance(error, HTTPException) else NOT_FOUND_STATUS
    detail = str(error.detail).lower() if isinstance(error, HTTPException) else "not found"
    return refusal_answer(request, NotFound(request.url.path, detail, "Go back to Today."), status)
