"""The door: logging in and out, where the pages are reached from other machines; and taking a change back."""

from __future__ import annotations

import math

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from dryside.book.undoing import take_back
from dryside.film.refusal import Refusal
from dryside.web import passwords
from dryside.web.forms import Form, text
from dryside.web.pages import done, own_path, page, site_of
from dryside.web.security import SESSION_COOKIE
from dryside.web.settings import keep_sessions

router = APIRouter()


@router.get("/login")
def login_page(request: Request, to: str = "/") -> Response:
    """Ask for the household's password."""
    if not site_of(request).door.password_needed:
        return RedirectResponse("/", status_code=303)
    return page(request, "login.html", title="Come in", to=own_path(to, "/"), refusal=None)


@router.post("/login")
def log_in(request: Request, form: Form) -> Response:
    """Let the session in; a new session, so that one set by somebody else is worth nothing."""
    site = site_of(request)
    to = own_path(text(form, "to"), "/")
    with site.attempts.one_at_a_time:
        refused = _look_at(request, form, to)
    if refused is not None:
        return refused
    secret = site.sessions.begin()
    site.sessions.log_in(secret)
    keep_sessions(site.book, site.sessions)
    answer = RedirectResponse(to, status_code=303)
    answer.headers.append("set-cookie", site.sessions.cookie(secret, secure=site.door.secure))
    return answer


def _look_at(request: Request, form: Form, to: str) -> Response | None:
    """The page that turns the attempt away; None where the password is right."""
    site = site_of(request)
    address = request.client.host if request.client else "unknown"
    wait = site.attempts.wait_s(address)
    if wait > 0:
        refusal = Refusal("password", f"too many attempts; the next is looked at in {math.ceil(wait)} s")
        return page(request, "login.html", title="Come in", status=429, to=to, refusal=refusal)
    given = form.get("password")
    if not isinstance(given, str) or not passwords.fits(site.password_digest or "", given):
        site.attempts.note_failure(address)
        refusal = Refusal("password", "it is not the one of this book")
        return page(request, "login.html", title="Come in", status=403, to=to, refusal=refusal)
    site.attempts.note_success(address)
    return None


@router.post("/logout")
def log_out(request: Request) -> Response:
    """End the session here."""
    site = site_of(request)
    site.sessions.log_out(request.state.session)
    keep_sessions(site.book, site.sessions)
    answer = RedirectResponse("/login", status_code=303)
    answer.delete_cookie(SESSION_COOKIE, path="/")
    return answer


@router.post("/undo/{undo_id}")
def undo(request: Request, undo_id: int, form: Form) -> Response:
    """Take a change back and show the page it was made on."""
    with site_of(request).book.write() as conn:
        back = take_back(conn, undo_id, at=site_of(request).moment())
    to = own_path(text(form, "to"), "/")
    # The page of a roll, an order or a leaf that was taken back is gone: then its list.
    kept = f"/{to.split('/')[1]}" if back.what.startswith(("loading roll", "handing in", "file roll")) else to
    return done(request, kept, f"Taken back: {back.what}.")
