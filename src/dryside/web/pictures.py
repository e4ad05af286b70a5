"""Pictures for pages: small, kept once made, asked for again only when they changed (ETag)."""

from __future__ import annotations

import hashlib
from collections import Counter
from pathlib import Path

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse

from dryside.book.content_store import SMALL
from dryside.book.files import get_file, original_path, put_picture
from dryside.book.folder import Book
from dryside.book.frame_pictures import picture_of_frame, small_jpeg
from dryside.book.schema import scans
from dryside.film.refusal import NotFound, Refusal
from dryside.web.apart import Apart
from dryside.web.kept import THUMBNAILS_BYTES, note_use, trim
from dryside.web.pages import site_of

router = APIRouter()
SIZES = (320, 640, 1600)
"""Longer sides that pages ask for, in pixels; no others are made, so that nobody fills the disk."""
KEPT_IN = f"{SMALL}/pages"
"""Below the folder of pictures/ that no backup keeps and no check asks for."""
LOOK_EVERY = 500
_readers = Apart(workers=2)


@router.get("/frames/{frame_id}/{longest}.jpg")
def frame_picture(request: Request, frame_id: int, longest: int) -> Response:
    """The picture that stands for a frame."""
    book = site_of(request).book
    with book.read() as conn:
        found = picture_of_frame(conn, book, frame_id)
    if found is None or not found.is_there:
        raise NotFound(f"picture of frame {frame_id}", "there is none")
    return answer(request, book, found.path, longest)


@router.get("/scans/{scan_id}/{longest}.jpg")
def scan_picture(request: Request, scan_id: int, longest: int) -> Response:
    """A scan as the lab delivered it."""
    book = site_of(request).book
    with book.read() as conn:
        file_id = conn.execute(scans.select().where(scans.c.id == scan_id)).mappings().one_or_none()
        if file_id is None:
            raise NotFound(f"scan {scan_id}", "not in this book")
        path = original_path(book, get_file(conn, file_id["file_id"]).sha256)
    return answer(request, book, path, longest)


@router.get("/originals/{file_id}/{longest}.jpg")
def original_picture(request: Request, file_id: int, longest: int) -> Response:
    """A picture handed in: a phone shot, a capture, a receipt."""
    book = site_of(request).book
    with book.read() as conn:
        row = get_file(conn, file_id)
    if not row.media_type.startswith("image/"):
        raise NotFound(row.name, "it is no picture")
    return answer(request, book, original_path(book, row.sha256), longest)


def answer(request: Request, book: Book, path: Path, longest: int) -> Response:
    """A picture made small, or 304 where the browser has it already."""
    if longest not in SIZES:
        raise Refusal(f"{longest} px", "pictures come in other sizes", f"Ask for one of {SIZES}.")
    tag = _tag(path, longest)
    headers = {"etag": f'"{tag}"', "cache-control": "private, no-cache"}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return FileResponse(small_picture(book, path, longest, tag), media_type="image/jpeg", headers=headers)


def small_picture(book: Book, path: Path, longest: int, tag: str | None = None) -> Path:
    """The small picture's file, made now where it is not there."""
    tag = tag or _tag(path, longest)
    kept = book.pictures / _kept_name(tag)
    if not kept.is_file():
        content = _readers.run(path.name, small_jpeg, path, longest)
        put_picture(book, _kept_name(tag), content)
        _hold_size(book)
    else:
        note_use(kept)
    return kept


_made_since: Counter[Path] = Counter()


def _hold_size(book: Book) -> None:
    """Now and then, drop small pictures that nobody looked at for long."""
    _made_since[book.root] += 1
    if _made_since[book.root] % LOOK_EVERY == 1:
        trim(book.pictures / KEPT_IN, "*.jpg", THUMBNAILS_BYTES)


def close_readers() -> None:
    """End the processes that read pictures."""
    _readers.close()


def _kept_name(tag: str) -> str:
    return f"{KEPT_IN}/{tag[:2]}/{tag[2:]}.jpg"


def _tag(path: Path, longest: int) -> str:
    try:
        known = path.stat()
    except OSError as error:
        raise NotFound(path.name, "its file is gone", "Look with: dryside check.") from error
    return hashlib.sha256(f"{path}|{known.st_size}|{known.st_mtime_ns}|{longest}".encode()).hexdigest()[:32]
