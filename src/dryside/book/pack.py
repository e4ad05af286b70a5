"""Packing a roll or a year as a bag (BagIt, RFC 8493): originals, pictures, the log, and a page to read it by."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.content_store import disk_refusal
from dryside.book.events import EventRow, list_events
from dryside.book.export import log_of, to_csv, to_json
from dryside.book.files import original_path, sha256_of
from dryside.book.folder import Book
from dryside.book.frames import FrameRow, list_frames
from dryside.book.journey import RollState, place_in_words
from dryside.book.rolls import RollRow, list_rolls, names_of
from dryside.book.schema import captures, files, positives, scans
from dryside.book.whereabouts import where_are
from dryside.film.exposure import format_f_number
from dryside.film.processes import process_name
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

ALGORITHMS = ("sha256", "sha512")
SHOWN_BY_BROWSERS = (".jpg", ".jpeg", ".png", ".webp", ".avif", ".gif")


@dataclass(frozen=True)
class PackedFile:
    """A file of the bag: from where, and its path under data/; `sha256` where the book knows it."""

    source: Path
    path: str
    name: str
    sha256: str | None


@dataclass(frozen=True)
class PackReport:
    """Where the bag is and what is in it; sizes in bytes."""

    bag: Path
    rolls: tuple[str, ...]
    files: int
    size: int
    missing: tuple[str, ...]


def rolls_of_year(conn: Connection, year: int) -> list[RollRow]:
    """Rolls loaded in a year (or, where that is not known, exposed or numbered in it).

    Raises
    ------
    NotFound
        If there is none.
    """
    found = [roll for roll in list_rolls(conn) if _year(roll) == year]
    if not found:
        raise NotFound(f"year {year}", "no roll of it is in this book")
    return found


def pack(
    book: Book,
    rolls: Sequence[RollRow],
    bag: Path,
    *,
    title: str,
    on: date,
    step: Callable[[int, str], None] = lambda _size, _name: None,
) -> PackReport:
    """Make a bag of some rolls at `bag`, and validate it.

    The bag is made under another name and renamed when it is valid, so what is at `bag` is always whole.

    Parameters
    ----------
    book : Book
        The book.
    rolls : sequence of RollRow
        What to pack.
    bag : Path
        A folder that is not there yet.
    title : str
        For the page and the bag's description.
    on : date
        Bagging date.
    step : callable, optional
        Told the size and path of each file done.

    Raises
    ------
    Refusal
        If `bag` is there already, the disk is full, or an original is not what was kept.
    """
    if bag.exists():
        raise Refusal(str(bag), "it is there already; a bag is never written over", "Name a new folder.")
    part = bag.with_name(f".{bag.name}.packing")
    try:
        if part.exists():
            shutil.rmtree(part)
        part.mkdir(parents=True)
        with book.read() as conn:
            listed = {roll.code: _files_of(conn, book, roll) for roll in rolls}
            missing = _copy(part, [file for found in listed.values() for file in found], step)
            _write_logs(conn, part, rolls)
            page = _page(conn, book, rolls, listed, title, on, missing)
        (part / "index.html").write_text(page, "utf-8")
        _make_bag(part, title, on)
        count, size = _payload(part)
        part.replace(bag)
    except OSError as error:
        raise disk_refusal(str(bag), error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return PackReport(bag, tuple(roll.code for roll in rolls), count, size, tuple(missing))


def validate_bag(bag: Path) -> None:
    """Check a bag against its manifests.

    Raises
    ------
    Refusal
        If it is no bag, or a file is missing, added or changed; the first of them is named.
    """
    import bagit

    _quiet()
    try:
        bagit.Bag(str(bag)).validate()
    except bagit.BagValidationError as error:
        details = getattr(error, "details", None) or [error]
        raise Refusal(
            str(bag), f"this bag is not valid ({details[0]})", "Pack it again, or use another copy."
        ) from error
    except bagit.BagError as error:
        raise Refusal(str(bag), f"this is no bag ({error})", "Name a folder made by 'dryside book pack'.") from error


def _year(roll: RollRow) -> int:
    for day in (roll.loaded_on, roll.exposed_on):
        if day:
            return int(day[:4])
    return 2000 + int(roll.code[:2])


def _files_of(conn: Connection, book: Book, roll: RollRow) -> list[PackedFile]:
    """Originals and pictures of a roll, under names a person can read; two of one name are told apart by a number."""
    from sqlalchemy import select

    found, taken = [], set[str]()

    def add(source: Path, folder: str, name: str, sha256: str | None) -> None:
        path = _free(f"{roll.code}/{folder}/{_plain(name)}", taken)
        taken.add(path.lower())  # file systems that do not tell case apart must hold the bag too
        found.append(PackedFile(source, path, name, sha256))

    for table in (scans, captures):
        rows = conn.execute(
            select(files.c.sha256, files.c.name)
            .join(table, table.c.file_id == files.c.id)
            .where(table.c.roll_id == roll.id)
            .order_by(table.c.id)
        )
        for row in rows:
            add(original_path(book, row.sha256), "originals", row.name, row.sha256)
    for source, sha256 in {source: sha256 for _, source, sha256 in _pictures(conn, book, roll.id)}.items():
        add(source, "pictures", source.name, sha256)
        sidecar = source.with_name(f"{source.name}.xmp")
        if sidecar.exists():
            add(sidecar, "pictures", sidecar.name, None)
    notes = select(files.c.sha256, files.c.name, files.c.detail).where(files.c.kind == "note")
    for note in conn.execute(notes):
        if isinstance(note.detail, dict) and note.detail.get("roll") == roll.code:
            add(original_path(book, note.sha256), "notes", note.name, note.sha256)
    return found


def _pictures(conn: Connection, book: Book, roll_id: int) -> list[tuple[int | None, Path, str | None]]:
    """Frame, file and digest of every picture of a roll: tagged scans, positives, and the other files of these."""
    from sqlalchemy import select

    of_scans = select(scans.c.frame_id, scans.c.picture, scans.c.picture_sha256)
    found = list(
        conn.execute(of_scans.where(scans.c.roll_id == roll_id, scans.c.picture.is_not(None)).order_by(scans.c.id))
    )
    listed = [(row.frame_id, book.pictures / row.picture, row.picture_sha256) for row in found]
    of_positives = (
        select(positives.c.frame_id, positives.c.picture, positives.c.sha256, positives.c.settings)
        .join(captures, captures.c.id == positives.c.capture_id)
        .where(captures.c.roll_id == roll_id)
        .order_by(positives.c.id)
    )
    for row in conn.execute(of_positives):
        listed.append((row.frame_id, book.pictures / row.picture, row.sha256))
        others = (row.settings or {}).get("files", {})
        listed += [
            (row.frame_id, book.pictures / name, digest) for name, digest in others.items() if name != row.picture
        ]
    return listed


def _copy(part: Path, listed: list[PackedFile], step: Callable[[int, str], None]) -> list[str]:
    """Copy the files; those that are not there are named, those that are damaged refuse the whole."""
    missing = []
    for file in listed:
        if not file.source.is_file():
            missing.append(file.path)
            continue
        target = part / file.path
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(file.source, target)
        if file.sha256 is not None and sha256_of(target) != file.sha256:
            raise Refusal(file.name, "its bytes are not those that were kept", "Mend the book: dryside check --backup.")
        step(target.stat().st_size, file.path)
    return missing


def _write_logs(conn: Connection, part: Path, rolls: Sequence[RollRow]) -> None:
    folder = part / "log"
    folder.mkdir()
    ids = [roll.id for roll in rolls]
    for which in ("rolls", "frames"):
        columns, rows = log_of(conn, which, ids)
        (folder / f"{which}.csv").write_bytes(to_csv(columns, rows))
        (folder / f"{which}.json").write_bytes(to_json(columns, rows))


def _make_bag(part: Path, title: str, on: date) -> None:
    import bagit

    _quiet()
    info = {"Source-Organization": "Dryside", "External-Description": title, "Bagging-Date": on.isoformat()}
    bagit.make_bag(str(part), info, checksums=list(ALGORITHMS))
    bagit.Bag(str(part)).validate()


def _payload(part: Path) -> tuple[int, int]:
    sizes = [path.stat().st_size for path in (part / "data").rglob("*") if path.is_file()]
    return len(sizes), sum(sizes)


def _quiet() -> None:
    import logging

    logging.getLogger("bagit").setLevel(logging.CRITICAL)


# --- the page ----------------------------------------------------------------------------------------------------


def _page(
    conn: Connection,
    book: Book,
    rolls: Sequence[RollRow],
    listed: Mapping[str, list[PackedFile]],
    title: str,
    on: date,
    missing: Sequence[str],
) -> str:
    import jinja2

    pages = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
    )
    shown = [
        _shown_roll(conn, book, roll, [one for one in listed[roll.code] if one.path not in missing]) for roll in rolls
    ]
    count = sum(len(roll["frames"]) for roll in shown)
    return pages.get_template("pack.html").render(title=title, packed_on=on.isoformat(), rolls=shown, count=count)


def _shown_roll(conn: Connection, book: Book, roll: RollRow, packed: list[PackedFile]) -> dict[str, Any]:
    frames = list_frames(conn, roll.id)
    ways = where_are(conn, book, [frame.id for frame in frames])
    pictures = _pictures_by_frame(conn, book, roll.id, packed)
    columns, rows = log_of(conn, "rolls", [roll.id])
    said = dict(zip(columns, rows[0], strict=True))
    facts = [
        ("Own numbers", ", ".join(names_of(conn, roll.id))), ("Film", said["stock"]), ("Format", roll.format),
        ("Process", process_name(roll.process)), ("Camera", said["camera"]), ("Owner", said["owner"]),
        ("Loaded", roll.loaded_on), ("Finished", roll.exposed_on), ("Notes", roll.notes),
    ]  # fmt: skip
    return {
        "code": roll.code,
        "title": roll.title,
        "facts": facts,
        "events": [_event_in_words(event) for event in list_events(conn, roll.id)],
        "frames": [_shown_frame(frame, pictures.get(frame.id, []), ways[frame.id].in_words) for frame in frames],
        "originals": [{"href": _href(one.path), "name": one.name} for one in packed if "/originals/" in one.path],
    }


def _event_in_words(event: EventRow) -> str:
    if event.kind in ("added", "moved") and event.to_state:
        return f"{event.at[:10]} {place_in_words(RollState(event.to_state))}"
    return f"{event.at[:10]} {event.kind}"


def _shown_frame(frame: FrameRow, pictures: list[PackedFile], way: str) -> dict[str, Any]:
    aperture = f"f/{format_f_number(frame.aperture)}" if frame.aperture else None
    focal = f"{frame.focal_mm:g} mm" if frame.focal_mm else None
    taken = (frame.taken_at or "")[:10] if frame.taken_to == "day" else (frame.taken_at or "")[:16].replace("T", " ")
    return {
        "label": frame.label,
        "taken": taken,
        "exposure": ", ".join(part for part in (frame.shutter, aperture, focal) if part),
        "caption": "blank" if frame.blank else frame.caption,
        "place": frame.place,
        "person": frame.person,
        "notes": frame.notes,
        "way": way,
        "pictures": [
            {"href": _href(one.path), "name": one.name, "is_shown": one.path.lower().endswith(SHOWN_BY_BROWSERS)}
            for one in pictures
        ],
    }


def _pictures_by_frame(
    conn: Connection, book: Book, roll_id: int, packed: list[PackedFile]
) -> dict[int, list[PackedFile]]:
    by_source = {one.source: one for one in packed}
    found: dict[int, list[PackedFile]] = {}
    for frame_id, source, _ in _pictures(conn, book, roll_id):
        if frame_id is not None and source in by_source:
            found.setdefault(frame_id, []).append(by_source[source])
    return found


def _href(path: str) -> str:
    from urllib.parse import quote

    return quote(path)


def _plain(name: str) -> str:
    """A file name that every file system takes."""
    base = re.sub(r"[^\w.\- ()]", "_", Path(name.replace("\\", "/")).name).strip(" .") or "unnamed"
    return base[-120:]


def _free(path: str, taken: set[str]) -> str:
    stem, dot, ending = path.rpartition(".")
    number, free = 2, path
    while free.lower() in taken:
        free = f"{stem} ({number}){dot}{ending}" if dot else f"{path} ({number})"
        number += 1
    return free
