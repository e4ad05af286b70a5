"""Checking the book: files against checksums, database and folders against each other; mending from a backup."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from dryside.book.backup import CONTENT, list_snapshots
from dryside.book.content_store import KEPT_FOLDERS, SMALL, ContentStore
from dryside.book.files import PART, original_path, sha256_of
from dryside.book.folder import Book
from dryside.book.schema import files, frames, positives, scans
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

Kind = Literal["changed", "missing", "not in the book", "unfinished", "sidecar", "database"]
OLD_PART_S = 3600.0
"""A `.part` file older than this is of a run that was cut short."""
PROGRESS_FILE = "check-progress"
READERS = 2


@dataclass(frozen=True)
class Finding:
    """Something that is not as it should be.

    Attributes
    ----------
    kind : str
        `changed` (other bytes than its checksum), `missing`, `not in the book` (a file that no row speaks of),
        `unfinished` (left by a run that was cut short), `sidecar`, `database`.
    path : str
        Relative to the book's folder; of a sidecar, the sidecar.
    found, remedy : str
        What is wrong, and what to do.
    sha256 : str or None
        What should be there.
    mended : bool
        Whether it was put right.
    """

    kind: Kind
    path: str
    found: str
    remedy: str = ""
    sha256: str | None = None
    mended: bool = False


@dataclass(frozen=True)
class CheckReport:
    """What a check saw; `bytes_read` of this run only, `resumed` files were read by a run that was cut short."""

    files: int
    bytes_read: int
    resumed: int
    findings: tuple[Finding, ...]

    @property
    def is_whole(self) -> bool:
        """Whether nothing is lost or damaged (leftovers and unknown files do not count)."""
        return all(one.mended or one.kind in ("not in the book", "unfinished") for one in self.findings)


@dataclass(frozen=True)
class _Expected:
    """A file that the database speaks of: where, its digest (None where only its being there counts), its size."""

    path: Path
    sha256: str | None
    size: int | None
    what: str


def no_step(_size: int, _name: str) -> None:
    """Tell nobody."""


def check_book(
    book: Book,
    *,
    backup: Path | None = None,
    anew: bool = False,
    step: Callable[[int, str], None] = no_step,
) -> CheckReport:
    """Check the whole book, and mend what can be mended.

    A check that is cut short goes on where it was. With a backup, missing and changed files are brought back; a changed
    file is put aside in `damaged/`, never deleted. Leftovers of runs that were cut short are removed.

    Parameters
    ----------
    book : Book
        The book.
    backup : Path, optional
        Folder of a backup to mend from.
    anew : bool, optional
        Read everything again, also what a run that was cut short has read.
    step : callable, optional
        Told the size and path of each file done.

    Raises
    ------
    Refusal
        If `backup` is no backup.
    """
    store = _store_of(backup) if backup is not None else None
    with book.read() as conn:
        expected = list({one.path: one for one in _expected(conn, book)}.values())
        findings = [*_database(conn, book), *_sidecars(conn, book)]
    bytes_read = 0
    with _Progress(book.root / PROGRESS_FILE, anew=anew) as progress, ThreadPoolExecutor(READERS) as pool:
        for one, size, finding in pool.map(lambda item: _look_at(book, item, progress), expected):
            bytes_read += size
            step(one.size or 0, _name(book, one.path))
            if finding is not None:
                findings.append(_mend(book, store, finding))
    findings += _strangers(book, {one.path for one in expected})
    (book.root / PROGRESS_FILE).unlink(missing_ok=True)
    return CheckReport(len(expected), bytes_read, progress.resumed, tuple(findings))


def size_to_check(book: Book) -> int:
    """Bytes that the database says its originals have, for a progress bar."""
    from sqlalchemy import func, select

    with book.read() as conn:
        return int(conn.execute(select(func.coalesce(func.sum(files.c.size), 0))).scalar_one())


class _Progress:
    """Files read so far, one line each, so that a check that was cut short is not begun again."""

    def __init__(self, path: Path, *, anew: bool) -> None:
        self.done: set[str] = set()
        self.resumed = 0
        if anew:
            path.unlink(missing_ok=True)
        elif path.exists():
            self.done = set(path.read_text("utf-8").splitlines())
        self.file = path.open("a", encoding="utf-8")

    def has(self, key: str) -> bool:
        if key in self.done:
            self.resumed += 1
            return True
        return False

    def add(self, key: str) -> None:
        self.file.write(f"{key}\n")
        self.file.flush()

    def __enter__(self) -> _Progress:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()


def _store_of(backup: Path) -> ContentStore:
    list_snapshots(backup)
    return ContentStore(backup / CONTENT)


def _expected(conn: Connection, book: Book) -> Iterator[_Expected]:
    """Every file that the database speaks of."""
    from sqlalchemy import select

    for row in conn.execute(select(files.c.sha256, files.c.size, files.c.name).order_by(files.c.sha256)):
        yield _Expected(original_path(book, row.sha256), row.sha256, row.size, row.name)
    for table, digest in ((scans, scans.c.picture_sha256), (positives, positives.c.sha256)):
        rows = conn.execute(select(table.c.picture, digest).where(table.c.picture.is_not(None)).order_by(table.c.id))
        for picture, sha256 in rows:
            yield _Expected(book.pictures / picture, sha256, None, picture)
    for (settings,) in conn.execute(select(positives.c.settings).order_by(positives.c.id)):
        for picture, sha256 in sorted((settings or {}).get("files", {}).items()):
            yield _Expected(book.pictures / picture, sha256, None, picture)


def _look_at(book: Book, one: _Expected, progress: _Progress) -> tuple[_Expected, int, Finding | None]:
    """Read one file; its size, and what is wrong with it."""
    name = _name(book, one.path)
    if not one.path.is_file():
        return one, 0, Finding("missing", name, f"{one.what}: the file is not there", _BRING_BACK, one.sha256)
    status = one.path.stat()
    if one.size is not None and status.st_size != one.size:
        found = f"{one.what}: {status.st_size} bytes, {one.size} were kept"
        return one, 0, Finding("changed", name, found, _BRING_BACK, one.sha256)
    key = f"{one.sha256} {status.st_size} {status.st_mtime_ns} {name}"
    if one.sha256 is None or progress.has(key):
        return one, 0, None
    try:
        digest = sha256_of(one.path)
    except OSError as error:
        found = f"{one.what}: it cannot be read ({error.strerror})"
        return one, 0, Finding("changed", name, found, _BRING_BACK, one.sha256)
    if digest != one.sha256:
        found = f"{one.what}: its bytes are not those that were kept"
        return one, status.st_size, Finding("changed", name, found, _BRING_BACK, one.sha256)
    progress.add(key)
    return one, status.st_size, None


_BRING_BACK = "Bring it back from a backup: dryside check --backup DIR."


def _mend(book: Book, store: ContentStore | None, finding: Finding) -> Finding:
    """Bring the file back from the backup; what lies in its place is put aside first."""
    if store is None or finding.sha256 is None or not store.path(finding.sha256).exists():
        return finding
    path = book.root / finding.path
    try:
        if path.exists():
            aside = book.root / "damaged" / finding.path.replace("/", "-")
            aside.parent.mkdir(exist_ok=True)
            path.replace(aside)
        store.get(finding.sha256, path)
    except Refusal as refusal:
        return replace(finding, remedy=str(refusal))
    if finding.path.startswith("originals/"):
        path.chmod(0o444)
    return replace(finding, mended=True, remedy="It was brought back from the backup.")


def _database(conn: Connection, book: Book) -> Iterator[Finding]:
    """The database's own checks, and digests that point at no picture."""
    if book.is_sqlite:
        for (verdict,) in conn.exec_driver_sql("PRAGMA integrity_check(20)"):
            if verdict != "ok":
                yield Finding("database", book.database.name, verdict, "Restore the book: dryside book restore.")
        for table, row_id, parent, _ in conn.exec_driver_sql("PRAGMA foreign_key_check"):
            yield Finding("database", book.database.name, f"{table} row {row_id} points at no {parent}")
    from sqlalchemy import select, union

    known = union(select(scans.c.picture_sha256), select(positives.c.sha256), select(files.c.sha256))
    lost = select(frames.c.id, frames.c.label).where(
        frames.c.picture_sha256.is_not(None), frames.c.picture_sha256.not_in(known)
    )
    for row in conn.execute(lost):
        yield Finding("database", book.database.name, f"frame {row.label} (row {row.id}) shows a picture that is gone")


def _sidecars(conn: Connection, book: Book) -> Iterator[Finding]:
    """XMP files beside pictures: each has its picture, can be read, and says the caption that the book says."""
    from sqlalchemy import select

    captions = {
        row.picture: row.caption
        for row in conn.execute(
            select(scans.c.picture, frames.c.caption)
            .join(frames, frames.c.id == scans.c.frame_id)
            .where(scans.c.picture.is_not(None))
        )
    }
    for sidecar in sorted(book.pictures.rglob("*.xmp")):
        name, picture = _name(book, sidecar), sidecar.with_suffix("")
        if not picture.exists():
            yield Finding("sidecar", name, "its picture is not there", "Bring the picture back, or delete it.")
            continue
        caption = captions.get(picture.relative_to(book.pictures).as_posix())
        try:
            said = caption_of_sidecar(sidecar)
        except ValueError as error:
            yield Finding("sidecar", name, f"it cannot be read ({error})", "Write it again: dryside tag.")
            continue
        if caption is not None and said is not None and said.strip() != caption.strip():
            yield Finding("sidecar", name, f"it says {said!r}, the book {caption!r}", "Write it again: dryside tag.")


def caption_of_sidecar(sidecar: Path) -> str | None:
    """The caption (dc:description, default language) in an XMP sidecar; None if it has none.

    Raises
    ------
    ValueError
        If it is no XML, or tries to define entities.
    """
    from xml.etree import ElementTree

    text = sidecar.read_text("utf-8", errors="replace")
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise ValueError("it defines entities, which no sidecar needs")
    try:
        root = ElementTree.fromstring(text.strip("\ufeff\x00 \r\n"))  # noqa: S314  # entities were refused above
    except ElementTree.ParseError as error:
        raise ValueError(str(error)) from error
    node = root.find(".//{http://purl.org/dc/elements/1.1/}description")
    if node is None:
        return None
    words = "".join(node.itertext()).strip()
    return words or None


def _strangers(book: Book, expected: set[Path]) -> Iterator[Finding]:
    """Files in the book's folders that no row speaks of, and leftovers, which are removed."""
    for folder in KEPT_FOLDERS:
        for path in sorted((book.root / folder).rglob("*")):
            name = _name(book, path)
            is_ours = path.name.startswith(".dryside-") or path.is_relative_to(book.pictures / SMALL)
            if not path.is_file() or path in expected or is_ours:
                continue
            if path.suffix == PART:
                if time.time() - path.stat().st_mtime > OLD_PART_S:
                    path.unlink(missing_ok=True)
                    yield Finding("unfinished", name, "left by a run that was cut short", "It was removed.", None, True)
            elif folder == "originals":
                remedy = "Receive or import it again; it is kept meanwhile."
                yield Finding("not in the book", name, "no row of the book speaks of it", remedy)
            elif folder == "pictures" and path.suffix != ".xmp":
                yield Finding("not in the book", name, "no row of the book speaks of it", "Keep it or delete it.")


def _name(book: Book, path: Path) -> str:
    return path.relative_to(book.root).as_posix()
