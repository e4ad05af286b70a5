"""Who may talk to the pages: host check, session, request token, response headers.

The pages are for one household. On loopback nobody logs in, yet a stranger's page open in the same browser must not be
able to reach the book: so the Host header is checked (a rebound name is refused), every change needs a token bound to
the session, and the session cookie never travels cross-site.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import re
import secrets
import time
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse

SESSION_COOKIE = "dryside-session"
TOKEN_HEADER = "x-dryside-token"  # noqa: S105 - the name of a header
SESSION_SECONDS = 30 * 24 * 3600
LARGEST_BODY_BYTES = 48 * 1024 * 1024  # a photo of a receipt in a form; whole deliveries come in pieces
LONGEST_SILENCE_S = 30.0  # between parts of a body: whoever says nothing for so long holds a connection for nothing
_HOST = re.compile(r"(?:(?P<name>[a-z0-9.-]+)|\[(?P<six>[0-9a-f:.]+)\])(?::\d{1,5})?")
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)


@dataclass
class Sessions:
    """Sessions by the digest of their secret, so that a copy of the table opens nothing.

    `key` signs request tokens; it stays in the book, so that a page left open survives a restart of the server.
    """

    key: bytes
    logged_in: dict[str, float] = field(default_factory=dict)

    def begin(self) -> str:
        """A new session's secret, for the cookie."""
        return secrets.token_urlsafe(32)

    def log_in(self, secret: str) -> None:
        """Let this session in for `SESSION_SECONDS`."""
        self.logged_in[_digest(secret)] = time.time() + SESSION_SECONDS

    def log_out(self, secret: str) -> None:
        """End this session."""
        self.logged_in.pop(_digest(secret), None)

    def is_in(self, secret: str) -> bool:
        """Whether this session logged in and has not run out."""
        return self.logged_in.get(_digest(secret), 0.0) > time.time()

    @staticmethod
    def cookie(secret: str, *, secure: bool) -> str:
        """The header that gives a browser its session: no script reads it, no other site sends it."""
        only_tls = "; Secure" if secure else ""
        return f"{SESSION_COOKIE}={secret}; Path=/; Max-Age={SESSION_SECONDS}; HttpOnly; SameSite=Strict{only_tls}"

    def token(self, secret: str) -> str:
        """Request token of a session: what every form and script sends with a change."""
        return hmac.new(self.key, secret.encode(), hashlib.sha256).hexdigest()

    def token_fits(self, secret: str, token: str) -> bool:
        """Compare in constant time."""
        return bool(secret) and hmac.compare_digest(self.token(secret), token)


def _host_name(header: str) -> str:
    """The name in a Host header, without port and brackets; nothing where it is written in no such way."""
    found = _HOST.fullmatch(header.lower())
    return (found["name"] or found["six"]) if found else ""


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass(frozen=True)
class Door:
    """What the server demands of a request.

    Parameters
    ----------
    hosts : frozenset of str
        Host names, without port, that a request may name.
    password_needed : bool
        Whether a person must log in: always, once other machines can reach the server.
    secure : bool
        Served over TLS: cookies carry `Secure`.
    """

    hosts: frozenset[str]
    password_needed: bool
    secure: bool = False


OPEN_PATHS = ("/static/", "/login", "/field-worker.js", "/field.webmanifest", "/trust")


class Guard:
    """ASGI middleware: host, session, login, request token, headers, in this order."""

    def __init__(self, app: Any, door: Door, sessions: Sessions, api_token_fits: Any) -> None:
        self.app = app
        self.door = door
        self.sessions = sessions
        self.api_token_fits = api_token_fits

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Let the request through, or answer it with a refusal in words."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no page uses another protocol, and none of the rules below would hold for it
            return
        connection = HTTPConnection(scope)
        secret = connection.cookies.get(SESSION_COOKIE, "")
        fresh = not secret
        if fresh:
            secret = self.sessions.begin()
        scope.setdefault("state", {})
        scope["state"]["session"] = secret
        scope["state"]["token"] = self.sessions.token(secret)
        scope["state"]["vouched"] = self._is_vouched(scope["path"], connection.headers, secret)

        async def send_with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                self._add_headers(headers, scope)
                if fresh and "set-cookie" not in headers and not scope["path"].startswith(("/static/", "/api/")):
                    headers.append("set-cookie", self.sessions.cookie(secret, secure=self.door.secure))
            await send(message)

        refusal = self._refusal(scope, connection, secret)
        limited = _Limited(receive, LARGEST_BODY_BYTES)
        await (refusal or self.app)(scope, limited, send_with_headers)

    def _refusal(self, scope: Any, connection: HTTPConnection, secret: str) -> Any:
        """The answer that turns the request away, or None."""
        headers, path, method = connection.headers, scope["path"], scope["method"]
        host = _host_name(headers.get("host", ""))
        if host not in self.door.hosts:
            return PlainTextResponse(f"{host or 'no host'}: not a name of this server.\n", status_code=421)
        by_token = path.startswith("/api/") and self._bearer_fits(headers)
        stranger = self.door.password_needed and not by_token and not self.sessions.is_in(secret)
        if stranger and not path.startswith(OPEN_PATHS):
            if path.startswith("/api/") or method not in SAFE_METHODS:
                return JSONResponse({"refused": {"thing": path, "found": "not logged in"}}, status_code=401)
            return RedirectResponse(f"/login?to={path}", status_code=303)
        if method not in SAFE_METHODS and not by_token and not self._same_site(headers, secret):
            found = "the page is older than this server, or the request did not come from it"
            return JSONResponse(
                {"refused": {"thing": path, "found": found, "remedy": "Load the page again."}}, status_code=403
            )
        return None

    def _is_vouched(self, path: str, headers: Headers, secret: str) -> bool:
        """Whether the change is known to be wanted before the body is read; else the form's own token must fit."""
        token = headers.get(TOKEN_HEADER)
        if token is not None and self.sessions.token_fits(secret, token):
            return True
        return path.startswith("/api/") and self._bearer_fits(headers)

    def _bearer_fits(self, headers: Headers) -> bool:
        scheme, _, token = headers.get("authorization", "").partition(" ")
        return scheme.lower() == "bearer" and bool(token) and bool(self.api_token_fits(token))

    def _same_site(self, headers: Headers, secret: str) -> bool:
        """A change needs the session's token in the header; forms are sent by script with it, or carry it themselves.

        A plain form cannot set a header, so its token is checked by `form_token_fits` once the body is read; here its
        Origin must be ours.
        """
        origin = headers.get("origin")
        if origin is not None and origin.partition("://")[2] != headers.get("host", ""):
            return False
        token = headers.get(TOKEN_HEADER)
        if token is not None:
            return self.sessions.token_fits(secret, token)
        kind = headers.get("content-type", "")
        return origin is not None and kind.startswith(("application/x-www-form-urlencoded", "multipart/form-data"))

    @staticmethod
    def _add_headers(headers: MutableHeaders, scope: Any) -> None:
        path, has_digest = scope["path"], bool(scope.get("query_string"))
        headers["content-security-policy"] = CONTENT_SECURITY_POLICY
        headers["x-content-type-options"] = "nosniff"
        headers["referrer-policy"] = "same-origin"  # with no-referrer a form of ours would come with Origin: null
        headers["cross-origin-opener-policy"] = "same-origin"
        headers["cross-origin-resource-policy"] = "same-origin"
        headers["permissions-policy"] = "geolocation=(self), camera=(self), microphone=(), payment=()"
        if "cache-control" not in headers:
            kept = "public, max-age=31536000, immutable" if has_digest else "no-cache"
            headers["cache-control"] = kept if path.startswith("/static/") else "no-store"


class BodyTooLarge(HTTPException):
    """A request's body passes the limit."""

    def __init__(self) -> None:
        super().__init__(413, "more at once than is taken")


class BodyTooSlow(HTTPException):
    """A request's body stopped coming."""

    def __init__(self) -> None:
        super().__init__(408, "nothing came for too long")


class _Limited:
    """Reads a body up to `limit` bytes; a longer one, or one that stops coming, ends the request."""

    def __init__(self, receive: Any, limit: int) -> None:
        self.receive = receive
        self.left = limit
        self.more = True

    async def __call__(self) -> Any:
        if not self.more:  # the body is here: what is waited for now is the end of the connection
            return await self.receive()
        try:
            message = await asyncio.wait_for(self.receive(), LONGEST_SILENCE_S)
        except TimeoutError:
            raise BodyTooSlow from None
        self.more = message["type"] == "http.request" and message.get("more_body", False)
        self.left -= len(message.get("body", b""))
        if self.left < 0:
            raise BodyTooLarge
        return message
