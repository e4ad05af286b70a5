"""Copy a delivery's pictures into the book, check each for being whole, and make its thumbnail; journalled as it goes.

The journal is one line a file under `journal/` of the book, forced to disk before the next file counts as taken. A run
that was killed leaves it; the next run over the same parcel finds what is done and goes on. It is deleted when the
delivery stands in the database.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
import zipfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

from dryside.book.content_store import SMALL
from dryside.book.files import original_path, put_picture, store_original
from dryside.book.folder import Book
from dryside.film.refusal import Refusal
from dryside.scans.parcel import Aside, Entry
from dryside.scans.picture_files import (
    SUFFIXES,
    THUMBNAIL_PX,
    Probe,
    media_type_of,
    probe,
    small_srgb,
    thumbnail_jpeg,
)

WORKERS = 2
_HEAD_BYTES = 16


@dataclass(frozen=True)
class Taken:
    """A picture that lies in the book's originals: digest, size in bytes, what its header says."""

    name: str
    sha256: str
    size: int
    media_type: str
    width: int
    height: int
    bits: int
    ppi: float | None
    orientation: int
    scanned_at: str | None = None


@dataclass(frozen=True)
class TakenIn:
    """Pictures taken in the order of the parcel, and what was put aside."""

    taken: tuple[Taken, ...]
    asides: tuple[Aside, ...]
    resumed: int = 0


def thumbnail_name(sha256: str) -> str:
    """Where a file's thumbnail lies, relative to pictures/."""
    return f"{SMALL}/{sha256[:2]}/{sha256}.jpg"


def thumbnail_path(book: Book, sha256: str) -> Path:
    """A file's 512 px thumbnail; made now where it is not there.

    Raises
    ------
    Refusal
        If the original cannot be read as a picture.
    """
    path = book.pictures / thumbnail_name(sha256)
    if not path.is_file():
        put_picture(book, thumbnail_name(sha256), thumbnail_jpeg(small_srgb(original_path(book, sha256), THUMBNAIL_PX)))
    return path


def take_in(book: Book, entries: Sequence[Entry], *, step: Callable[[str], None] | None = None) -> tuple[TakenIn, Path]:
    """Copy, check and make thumbnails of all pictures of a parcel.

    Parameters
    ----------
    book : Book
        The book.
    entries : sequence of Entry
        From `open_parcel`.
    step : callable, optional
        Called with the name of each file that is done.

    Returns
    -------
    TakenIn
        What was taken and what was put aside.
    Path
        The journal, to be deleted once the delivery is in the database.
    """
    journal = _Journal(book, entries)
    lock = threading.Lock()

    def one(entry: Entry) -> Taken | Aside:
        done = journal.done(entry, book)
        made = done or _take(book, entry)
        with lock:
            if done is None and isinstance(made, Taken):
                journal.add(entry, made)
            if step is not None:
                step(entry.name)
        return made

    with ThreadPoolExecutor(WORKERS) as pool:
        results = list(pool.map(one, entries))
    taken = tuple(result for result in results if isinstance(result, Taken))
    asides = tuple(result for result in results if isinstance(result, Aside))
    return TakenIn(taken, asides, journal.found), journal.path


def _take(book: Book, entry: Entry) -> Taken | Aside:
    try:
        kind = media_type_of(_head(entry))
        if kind not in SUFFIXES:
            return _not_a_picture(entry, kind)
        return _keep_and_check(book, entry)
    except Refusal as refusal:
        return Aside(entry.name, refusal.found, refusal.remedy)
    except (zipfile.BadZipFile, EOFError, OSError) as problem:
        return Aside(entry.name, f"it cannot be read ({problem})", "Download it again.")


def _not_a_picture(entry: Entry, kind: str | None) -> Aside:
    what = "a video" if (kind or "").startswith("video/") else "not a picture"
    suffix = entry.base_name.rpartition(".")[2].lower()
    if suffix in ("jpg", "jpeg", "tif", "tiff", "png", "heic"):
        return Aside(entry.name, "its content is no picture, whatever its name says", "Download it again.")
    return Aside(entry.name, f"{what}; left where it is")


def _keep_and_check(book: Book, entry: Entry) -> Taken:
    """Store the file; a picture that proves to be damaged is taken out again, unless the book had it before."""
    if entry.member is None:
        kept = store_original(book, entry.source, name=entry.name)
    else:
        with zipfile.ZipFile(entry.source) as archive, archive.open(archive.infolist()[entry.member]) as packed:
            kept = store_original(book, packed, name=entry.name)  # type: ignore[arg-type]  # it reads like a file
    try:
        seen = probe(kept.path)
        thumbnail = book.pictures / thumbnail_name(kept.sha256)
        if not thumbnail.is_file():
            image = small_srgb(kept.path, THUMBNAIL_PX)
            put_picture(book, thumbnail_name(kept.sha256), thumbnail_jpeg(image))
    except Refusal:
        if kept.was_new:
            kept.path.unlink(missing_ok=True)
        raise
    return _taken(entry, kept.sha256, kept.size, seen)


def _taken(entry: Entry, sha256: str, size: int, seen: Probe) -> Taken:
    return Taken(
        entry.name,
        sha256,
        size,
        seen.media_type,
        seen.width,
        seen.height,
        seen.bits,
        seen.ppi,
        seen.orientation,
        seen.made_at,
    )


def _head(entry: Entry) -> bytes:
    if entry.member is None:
        with entry.source.open("rb") as plain:
            return plain.read(_HEAD_BYTES)
    with zipfile.ZipFile(entry.source) as archive, archive.open(archive.infolist()[entry.member]) as packed:
        return packed.read(_HEAD_BYTES)


class _Journal:
    """Lines of what is done, by the source's path, place, size and time of change."""

    def __init__(self, book: Book, entries: Sequence[Entry]) -> None:
        sources = sorted({str(entry.source.resolve()) for entry in entries})
        key = hashlib.sha256("\n".join(sources).encode("utf-8", "surrogateescape")).hexdigest()[:16]
        self.path = book.root / "journal" / f"receive-{key}.jsonl"
        self.path.parent.mkdir(exist_ok=True)
        self._done = self._read()
        self.found = 0

    def _read(self) -> dict[str, Taken]:
        done: dict[str, Taken] = {}
        if self.path.exists():
            for line in self.path.read_text("utf-8").splitlines():
                try:
                    item = json.loads(line)
                    done[item["key"]] = Taken(**item["taken"])
                except (ValueError, KeyError, TypeError):
                    continue  # the line that was being written when the run was killed
        return done

    def done(self, entry: Entry, book: Book) -> Taken | None:
        """What an earlier run took of this entry, if its original still lies there whole."""
        taken = self._done.get(_key(entry))
        if taken is None:
            return None
        path = original_path(book, taken.sha256)
        if not path.is_file() or path.stat().st_size != taken.size:
            return None
        thumbnail_path(book, taken.sha256)
        self.found += 1
        return taken

    def add(self, entry: Entry, taken: Taken) -> None:
        """Write a line and force it to the disk."""
        line = json.dumps({"key": _key(entry), "taken": asdict(taken)}, ensure_ascii=False)
        with self.path.open("a", encoding="utf-8") as file:
            file.write(("\n" if file.tell() else "") + line + "\n")
            file.flush()
            os.fsync(file.fileno())


def _key(entry: Entry) -> str:
    stat = entry.source.stat()
    return f"{entry.source.resolve()}|{entry.member}|{entry.name}|{entry.size}|{stat.st_mtime_ns}".encode(
        "utf-8", "backslashreplace"
    ).decode()
