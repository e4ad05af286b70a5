"""What the pages keep in the book: the key of request tokens, who is logged in, the password's digest, API tokens."""

from __future__ import annotations

import hashlib
import secrets
import time
from typing import Any

from dryside.book.folder import Book
from dryside.web.security import Sessions

KEY, SESSIONS, PASSWORD, API_TOKENS = "web key", "web sessions", "web password", "web api tokens"


def read_setting(book: Book, name: str) -> Any:
    """A setting's value, None where there is none."""
    from sqlalchemy import select

    from dryside.book.schema import settings

    with book.read() as conn:
        return conn.execute(select(settings.c.value).where(settings.c.name == name)).scalar_one_or_none()


def write_setting(book: Book, name: str, value: Any) -> None:
    """Keep a value under a name, instead of what was there."""
    from dryside.book.schema import settings

    with book.write() as conn:
        conn.execute(settings.delete().where(settings.c.name == name))
        conn.execute(settings.insert().values(name=name, value=value))


def open_sessions(book: Book) -> Sessions:
    """The sessions of a book: the same signing key for ever, and who was in when the server last stopped."""
    key = read_setting(book, KEY)
    if key is None:
        key = secrets.token_hex(32)
        write_setting(book, KEY, key)
    sessions = Sessions(bytes.fromhex(str(key)))
    now = time.time()
    kept = read_setting(book, SESSIONS) or {}
    sessions.logged_in = {str(digest): float(until) for digest, until in kept.items() if float(until) > now}
    return sessions


def keep_sessions(book: Book, sessions: Sessions) -> None:
    """Write down who is logged in (digests only), so that a restart asks nobody again."""
    write_setting(book, SESSIONS, dict(sessions.logged_in))


def new_api_token(book: Book, name: str) -> str:
    """A new token for scripts; only its digest is kept, so it is shown this once."""
    token = f"dryside_{secrets.token_urlsafe(32)}"
    kept = dict(read_setting(book, API_TOKENS) or {})
    kept[name] = hashlib.sha256(token.encode()).hexdigest()
    write_setting(book, API_TOKENS, kept)
    return token


def api_token_digests(book: Book) -> frozenset[str]:
    """Digests of all tokens for scripts."""
    return frozenset(str(digest) for digest in (read_setting(book, API_TOKENS) or {}).values())


def forget_api_tokens(book: Book) -> None:
    """Make every token for scripts worthless."""
    write_setting(book, API_TOKENS, {})
