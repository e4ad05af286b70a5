"""Files handed in through a browser, in pieces: a broken line loses one piece at most.

An upload is a folder of its own under the book's web/uploads/, named by a number that the server draws; the name that
the browser gives is kept as words only and never becomes a path, but for its ending.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from dryside.book.folder import Book
from dryside.film.refusal import NotFound, Refusal

LARGEST_BYTES = 32 << 30
MOST_OPEN = 400
PIECE_BYTES = 4 << 20
KEPT_DAYS = 14
KINDS = {
    "delivery": (".zip", ".jpg", ".jpeg", ".tif", ".tiff", ".png", ".heic", ".heif", ".webp"),
    "phone": (".zip", ".jpg", ".jpeg", ".heic", ".heif", ".png", ".webp"),
    "capture": (".tif", ".tiff", ".jpg", ".jpeg", ".dng", ".arw", ".cr2", ".cr3", ".nef", ".raf", ".orf", ".rw2",
                ".pef", ".heic", ".png"),
}  # fmt: skip
_TIFF = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
_BEGINNINGS = {
    ".zip": (b"PK\x03\x04", b"PK\x05\x06"),
    ".jpg": (b"\xff\xd8\xff",),
    ".jpeg": (b"\xff\xd8\xff",),
    ".png": (b"\x89PNG",),
    **dict.fromkeys((".tif", ".tiff", ".dng", ".arw", ".cr2", ".nef", ".pef"), _TIFF),
    ".webp": (b"RIFF",),
    ".raf": (b"FUJIFILM",),
    ".rw2": (b"IIU\x00",),
    ".orf": (b"IIRO", b"IIRS", b"MMOR"),
}
_BOXES = (".heic", ".heif", ".cr3")
"""Files of boxes (ISO/IEC 14496-12): the first box says after its length that it is the file's type."""
_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True)
class Upload:
    """An upload: its kind, the file's name as the browser says it, its size, and how much is here."""

    id: str
    kind: str
    name: str
    size: int
    received: int

    @property
    def is_whole(self) -> bool:
        """Whether all of it is here."""
        return self.received == self.size


def begin(book: Book, *, kind: str, name: str, size: int) -> Upload:
    """Make room for a file.

    Raises
    ------
    Refusal
        If such a file is not taken, it is too large, there are too many, or the disk has no room.
    """
    folder = _folder(book)
    shown = re.sub(r"[\x00-\x1f/\\]", "_", name)[-200:] or "unnamed"
    suffix = Path(shown).suffix.lower()
    if kind not in KINDS or suffix not in KINDS[kind]:
        raise Refusal(
            shown, f"a {suffix or 'nameless'} file is not taken here", f"These are: {', '.join(KINDS.get(kind, ()))}."
        )
    if not 0 < size <= LARGEST_BYTES:
        raise Refusal(shown, f"its size is {size} bytes, from 1 to {LARGEST_BYTES >> 30} GB are taken")
    folder.mkdir(parents=True, exist_ok=True)
    _clear_old(folder)
    if sum(1 for _ in folder.iterdir()) >= MOST_OPEN:
        raise Refusal(shown, f"{MOST_OPEN} files are on their way already", "Finish or drop some of them.")
    if shutil.disk_usage(folder).free < 2 * size + (512 << 20):
        raise Refusal(shown, "the disk of the book has no room for it", "Make room, then try again.")
    made = Upload(secrets.token_hex(16), kind, shown, size, 0)
    (folder / made.id).mkdir()
    about = {key: value for key, value in asdict(made).items() if key != "received"}
    (folder / made.id / "about.json").write_text(json.dumps(about), "utf-8")
    (folder / made.id / f"data{suffix}").touch()
    return made


def get(book: Book, upload_id: str) -> Upload:
    """An upload as it stands.

    Raises
    ------
    NotFound
        If there is none of that number.
    """
    if not _ID.fullmatch(upload_id) or not (_folder(book) / upload_id / "about.json").is_file():
        raise NotFound(f"upload {upload_id[:40]}", "not here", "Begin anew.")
    about = json.loads((_folder(book) / upload_id / "about.json").read_text("utf-8"))
    return Upload(**about, received=_data(book, upload_id).stat().st_size)


def add_piece(book: Book, upload_id: str, at: int, piece: bytes) -> Upload:
    """Write one piece; one that is here already changes nothing.

    Raises
    ------
    Refusal
        If it does not follow what is here, goes beyond the file's end, or the file is not what its name says.
    """
    known = get(book, upload_id)
    if at < known.received and at + len(piece) <= known.received:
        return known
    if at != known.received:
        raise Refusal(known.name, f"{known.received} bytes are here, the piece begins at {at}", "Go on from there.")
    if at + len(piece) > known.size:
        raise Refusal(known.name, f"it is longer than the {known.size} bytes that were announced")
    if at == 0:
        _check_beginning(known, piece)
    with _data(book, upload_id).open("r+b") as file:
        file.seek(at)
        file.write(piece)
        file.flush()
        if at + len(piece) == known.size:
            os.fsync(file.fileno())
    return get(book, upload_id)


def path_of(book: Book, upload_id: str) -> Path:
    """The file of a whole upload, under its own ending and, as its folder's only file, the name that was given.

    Raises
    ------
    Refusal
        If parts are still missing.
    """
    known = get(book, upload_id)
    if not known.is_whole:
        raise Refusal(known.name, f"{known.received} of {known.size} bytes are here", "Let it finish first.")
    data = _data(book, upload_id)
    named = data.parent / "as-named" / _safe(known.name)
    if not named.exists():
        named.parent.mkdir(exist_ok=True)
        try:
            os.link(data, named)
        except OSError:  # a disk that knows no second names
            shutil.copyfile(data, named)
    return named


def unfinished(book: Book, *kinds: str) -> list[Upload]:
    """Uploads of these kinds that stopped on their way, the newest first."""
    found = []
    for folder in _folder(book).glob("*") if _folder(book).is_dir() else ():
        try:
            known = get(book, folder.name)
            touched = _data(book, folder.name).stat().st_mtime
        except (NotFound, StopIteration, OSError):
            continue
        if known.kind in kinds and 0 < known.received < known.size:
            found.append((touched, known))
    return [known for _, known in sorted(found, key=lambda one: -one[0])]


def forget(book: Book, upload_id: str) -> None:
    """Drop an upload, whole or not."""
    if _ID.fullmatch(upload_id):
        shutil.rmtree(_folder(book) / upload_id, ignore_errors=True)


def _safe(name: str) -> str:
    stem, suffix = Path(name).stem, Path(name).suffix.lower()
    return (re.sub(r"[^\w .,()\-]", "_", stem).strip(" .")[:100] or "file") + suffix


def _check_beginning(known: Upload, piece: bytes) -> None:
    suffix = Path(known.name).suffix.lower()
    expected = _BEGINNINGS.get(suffix)
    is_wrong = piece[4:8] != b"ftyp" if suffix in _BOXES else expected and not piece.startswith(expected)
    if is_wrong:
        raise Refusal(
            known.name, f"it is no {suffix.lstrip('.').upper()} file, whatever its name says", "Download it again."
        )


def _folder(book: Book) -> Path:
    return book.root / "web" / "uploads"


def _data(book: Book, upload_id: str) -> Path:
    return next((_folder(book) / upload_id).glob("data*"))


def _clear_old(folder: Path) -> None:
    oldest = time.time() - KEPT_DAYS * 24 * 3600
    for one in folder.iterdir():
        if one.stat().st_mtime < oldest:
            shutil.rmtree(one, ignore_errors=True)
