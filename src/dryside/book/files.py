"""Files kept with checksums: originals by SHA-256, never changed; pictures written whole or not at all."""

from __future__ import annotations

import hashlib
import mimetypes
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, BinaryIO

from dryside.book.folder import Book, fsync_folder
from dryside.book.instants import now
from dryside.book.rows import fetch_one, insert, must_be
from dryside.book.schema import files
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

BLOCK = 4 * 1024 * 1024
PART = ".part"


@dataclass(frozen=True)
class FileRow:
    """A file handed in: digest, size in bytes, its name then."""

    id: int
    sha256: str
    size: int
    media_type: str
    name: str
    kind: str
    added_at: str
    detail: Any


@dataclass(frozen=True)
class KeptFile:
    """A file that lies in originals/, whether or not the database knows it yet."""

    sha256: str
    size: int
    path: Path
    was_new: bool


def original_path(book: Book, sha256: str) -> Path:
    """Where the original of that digest lies (or would)."""
    return book.originals / sha256[:2] / sha256[2:]


def store_original(book: Book, source: Path | BinaryIO, *, name: str | None = None) -> KeptFile:
    """Copy a file into originals/ under its SHA-256, verified by reading it back; no database involved.

    The digest is worked out while copying. The copy is forced to disk, read back and compared, then renamed into place:
    a crash leaves a `.part` file at most, which `check` clears. Storing the same bytes again copies nothing new.

    Parameters
    ----------
    book : Book
        The book.
    source : Path or binary stream
        Read from its current position to its end; never written to.
    name : str, optional
        How a person calls it, for refusals.

    Raises
    ------
    Refusal
        If the source cannot be read, the disk is full, or the copy reads back differently.
    """
    thing = name or (str(source) if isinstance(source, Path) else "stream")
    try:
        with _opened(source) as stream:
            return _copy_in(book, stream, thing)
    except OSError as error:
        raise Refusal(
            thing, f"it could not be kept ({error.strerror or error})", "Nothing was changed; try again."
        ) from error


def keep_original(
    book: Book,
    source: Path | BinaryIO,
    *,
    kind: str,
    name: str | None = None,
    conn: Connection | None = None,
    media_type: str | None = None,
    detail: Any = None,
) -> FileRow:
    """Keep a file as handed in: copied first, then written in the database; again the same bytes add nothing.

    Parameters
    ----------
    book : Book
        The book.
    source : Path or binary stream
        The file.
    kind : str
        scan, phone shot, capture, flat, receipt, note, track, profile.
    name : str, optional
        Its name as handed in; left out: the path's own.
    conn : Connection, optional
        A transaction under way; left out: one of its own. The copy is made before the row either way.
    media_type : str, optional
        Left out: guessed from the name.
    detail : optional
        Plain data kept with it.

    Raises
    ------
    Refusal
        As `store_original`.
    """
    shown = name or (source.name if isinstance(source, Path) else "unnamed")
    kept = store_original(book, source, name=str(source) if isinstance(source, Path) else shown)
    if conn is not None:
        return record_file(conn, kept, kind=kind, name=shown, media_type=media_type, detail=detail)
    with book.write() as own:
        return record_file(own, kept, kind=kind, name=shown, media_type=media_type, detail=detail)


def record_file(
    conn: Connection, kept: KeptFile, *, kind: str, name: str, media_type: str | None = None, detail: Any = None
) -> FileRow:
    """Write the row of a file that lies in originals/; the row that is there already, if it is."""
    known = find_file(conn, kept.sha256)
    if known is not None:
        return known
    values = {
        "sha256": kept.sha256,
        "size": kept.size,
        "media_type": media_type or guess_media_type(name),
        "name": name,
        "kind": kind,
        "added_at": now(),
        "detail": detail,
    }
    return get_file(conn, insert(conn, files, values))


def find_file(conn: Connection, sha256: str) -> FileRow | None:
    """The file of that digest, if the book has it."""
    return fetch_one(conn, FileRow, files, files.c.sha256 == sha256)


def get_file(conn: Connection, file_id: int) -> FileRow:
    """A file by its row id.

    Raises
    ------
    NotFound
        If there is none.
    """
    return must_be(fetch_one(conn, FileRow, files, files.c.id == file_id), f"file with row id {file_id}")


def guess_media_type(name: str) -> str:
    """The media type by the name's ending; application/octet-stream where it says nothing."""
    known = {".dng": "image/x-adobe-dng", ".heic": "image/heic", ".gpx": "application/gpx+xml", ".toml": "text/plain"}
    suffix = Path(name).suffix.lower()
    return known.get(suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, read in large blocks."""
    with path.open("rb") as stream:
        return _digest(stream)


def put_picture(book: Book, relative_name: str, content: bytes | Path) -> Path:
    """Write a picture under pictures/ whole or not at all, and return its path; one that is there is replaced.

    Raises
    ------
    ValueError
        If `relative_name` leads out of pictures/.
    Refusal
        If it cannot be written.
    """
    return put_file(book.pictures, relative_name, content)


def put_paper(book: Book, relative_name: str, content: bytes | Path) -> Path:
    """Write a page under paper/, as `put_picture` does."""
    return put_file(book.paper, relative_name, content)


def put_file(folder: Path, relative_name: str, content: bytes | Path) -> Path:
    """Write `content` at `relative_name` under `folder`: temporary file beside it, fsync, rename."""
    target = folder / relative_name
    if not target.resolve().is_relative_to(folder.resolve()) or target.resolve() == folder.resolve():
        raise ValueError(f"relative_name {relative_name!r} leads out of {folder}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with atomic_file(target) as part:
            if isinstance(content, bytes):
                part.write(content)
            else:
                with content.open("rb") as source:
                    shutil.copyfileobj(source, part, BLOCK)
    except OSError as error:
        raise Refusal(
            str(target), f"it could not be written ({error.strerror or error})", "Is the disk full?"
        ) from error
    return target


@contextmanager
def atomic_file(target: Path) -> Iterator[IO[bytes]]:
    """A binary file that appears as `target` only when the block ends well; nothing is left behind otherwise."""
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}-", suffix=PART, dir=target.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            os.fchmod(handle, 0o644)
            yield stream
            stream.flush()
            os.fsync(handle)
        part.replace(target)
        fsync_folder(target.parent)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


@contextmanager
def _opened(source: Path | BinaryIO) -> Iterator[BinaryIO]:
    if isinstance(source, Path):
        with source.open("rb", buffering=0) as stream:
            yield stream
    else:
        yield source


def _copy_in(book: Book, stream: BinaryIO, thing: str) -> KeptFile:
    handle, name = tempfile.mkstemp(prefix="incoming-", suffix=PART, dir=book.originals)
    part = Path(name)
    try:
        with os.fdopen(handle, "w+b", buffering=0) as copy:
            digest, size = _copy_hashing(stream, copy)
            final = original_path(book, digest)
            if final.exists() and final.stat().st_size == size:
                part.unlink()
                return KeptFile(digest, size, final, was_new=False)
            os.fsync(copy.fileno())
            _forget_cache(copy.fileno())
            copy.seek(0)
            if _digest(copy) != digest:
                raise Refusal(thing, "the copy reads back differently", "The disk may be failing; nothing was kept.")
        part.chmod(0o444)
        final.parent.mkdir(exist_ok=True)
        part.replace(final)
        fsync_folder(final.parent)
        return KeptFile(digest, size, final, was_new=True)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _copy_hashing(stream: BinaryIO, copy: Any) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    while block := stream.read(BLOCK):
        digest.update(block)
        view = memoryview(block)
        while view:
            view = view[copy.write(view) :]
        size += len(block)
    return digest.hexdigest(), size


def _digest(stream: Any) -> str:
    digest = hashlib.sha256()
    buffer = memoryview(bytearray(BLOCK))
    while count := stream.readinto(buffer):
        digest.update(buffer[:count])
    return digest.hexdigest()


def _forget_cache(handle: int) -> None:
    # Otherwise the reading back would see the page cache and not what the disk took.
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
