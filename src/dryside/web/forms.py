"""Forms: their token checked before anything else, their fields as text, their files as paths for the moment."""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from dryside.film.refusal import Refusal
from dryside.web.security import SAFE_METHODS

MOST_FIELDS = 600
MOST_FILES = 8
FORM_KINDS = ("application/x-www-form-urlencoded", "multipart/form-data")


async def must_be_wanted(request: Request) -> AsyncIterator[None]:
    """Turn away a change that neither header nor form vouches for (see `security`); let go of its files at the end."""
    try:
        if request.method not in SAFE_METHODS and not request.state.vouched:
            form = await read_form(request)
            sessions = request.app.state.site.sessions
            if not sessions.token_fits(request.state.session, str(form.get("token", ""))):
                raise HTTPException(403, "the page is older than this server; load it again")
        yield
    finally:
        await request.close()


async def read_form(request: Request) -> FormData:
    """The form of a request, parsed once; empty where the body is none."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip()
    if kind not in FORM_KINDS:
        return FormData()
    return await request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS)


Form = Annotated[FormData, Depends(read_form)]


def text(form: FormData, name: str) -> str | None:
    """A field as text without the blanks around it; None where it is missing or empty."""
    value = form.get(name)
    return value.strip() or None if isinstance(value, str) else None


def needed(form: FormData, name: str, words: str) -> str:
    """A field that must be filled in; `words` name it.

    Raises
    ------
    Refusal
        If it is empty.
    """
    value = text(form, name)
    if value is None:
        raise Refusal(words, "it is empty", "Fill it in.")
    return value


def texts(form: FormData, name: str) -> list[str]:
    """All values of a field that may be given several times."""
    return [value.strip() for value in form.getlist(name) if isinstance(value, str) and value.strip()]


def whole(form: FormData, name: str, words: str, *, low: int, high: int) -> int | None:
    """A whole number in its range, None where nothing is given.

    Raises
    ------
    Refusal
        If it is none.
    """
    value = text(form, name)
    if value is None:
        return None
    if not value.isdecimal() or not low <= int(value) <= high:
        raise Refusal(f"{words} {value}", f"it is no whole number from {low} to {high}", "Write it like 3.")
    return int(value)


@contextmanager
def file_of(form: FormData, name: str, *, suffixes: tuple[str, ...]) -> Iterator[Path | None]:
    """A file sent with a form, as a path that is gone after the block; None where none was chosen.

    The name the browser gives is never used as a path; only its ending says what kind of file to expect.

    Raises
    ------
    Refusal
        If its ending is none of `suffixes`.
    """
    sent: Any = form.get(name)
    if not isinstance(sent, UploadFile) or not sent.filename:
        yield None
        return
    suffix = Path(sent.filename).suffix.lower()
    if suffix not in suffixes:
        raise Refusal(Path(sent.filename).name, f"a {suffix or 'nameless'} file is not taken here", in_words(suffixes))
    with tempfile.TemporaryDirectory(prefix="dryside-") as folder:
        path = Path(folder) / f"file{suffix}"
        with path.open("wb") as copy:
            sent.file.seek(0)
            while block := sent.file.read(1 << 20):
                copy.write(block)
        yield path


def in_words(suffixes: tuple[str, ...]) -> str:
    """Kinds of files in a sentence."""
    return f"These are: {', '.join(suffixes)}."
