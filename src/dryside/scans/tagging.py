"""Tag a roll's pictures: facts gathered from the book, filed copies named by a template, the book told of both."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import original_path, sha256_of
from dryside.book.folder import Book
from dryside.book.frames import FrameRow, list_frames
from dryside.book.rolls import RollRow, find_roll
from dryside.book.rows import update
from dryside.book.schema import (
    cameras,
    files,
    frame_strips,
    labs,
    lenses,
    order_lines,
    orders,
    people,
    positives,
    scans,
    stocks,
    strips,
)
from dryside.film.refusal import NotFound
from dryside.scans.facts import NEGATIVE, PAIR, POSITIVE, PictureFacts, facts_of_both
from dryside.scans.naming import DEFAULT_TEMPLATE, distinct, fill_template
from dryside.scans.picture_files import SUFFIXES
from dryside.scans.tag_file import tag_file, write_sidecar

if TYPE_CHECKING:
    from sqlalchemy import Connection

WORKERS = 2


@dataclass(frozen=True)
class Tagged:
    """One picture: its name as delivered, its frame, the files written, relative to where they were put."""

    name: str
    frame: str
    written: tuple[str, ...]


@dataclass(frozen=True)
class _Work:
    """A picture to tag: where it is, where it goes, and the row that shall know of it."""

    table: str
    row_id: int
    name: str
    source: Path
    media_type: str
    facts: PictureFacts
    target: str


def tag_roll(
    book: Book,
    roll: str,
    *,
    template: str = DEFAULT_TEMPLATE,
    out: Path | None = None,
    sidecars: bool = False,
    step: Callable[[str], None] | None = None,
) -> list[Tagged]:
    """Write date, camera, exposure, place and caption into a roll's filed pictures.

    Parameters
    ----------
    book : Book
        The book.
    roll : str
        Code or second name.
    template : str, optional
        Names of the filed copies, see `naming`.
    out : Path, optional
        A folder for the copies instead of the book's pictures/; the book is then not changed.
    sidecars : bool, optional
        Leave the image files byte for byte as delivered, and put everything into NAME.xmp beside them.
    step : callable, optional
        Called with each name that is done.

    Returns
    -------
    list of Tagged
        In the order along the film.

    Raises
    ------
    NotFound
        If there is no such roll, or it has no picture with a frame yet.
    Refusal
        If the template is not usable, or a file cannot be tagged.
    """
    with book.read() as conn:
        row = find_roll(conn, roll)
        work = _named(_work_of(conn, book, row), template)
    if not work:
        raise NotFound(
            f"roll {row.code}", "none of its pictures has a frame yet", "Receive its scans, answer what is asked."
        )
    root = out or book.pictures

    def one(item: _Work) -> list[Path]:
        target = root / item.target
        if sidecars:
            if item.source != target:
                _copy_whole(item.source, target)
            made = [target, write_sidecar(target, item.facts)]
        else:
            made = tag_file(item.source, target, item.facts)
        if step is not None:
            step(item.name)
        return made

    with ThreadPoolExecutor(WORKERS) as pool:
        written = list(pool.map(one, work))
    if out is None:
        _tell_book(book, work)
    return [
        Tagged(item.name, item.facts.frame or "", tuple(path.relative_to(root).as_posix() for path in made))
        for item, made in zip(work, written, strict=True)
    ]


def _copy_whole(source: Path, target: Path) -> None:
    from dryside.book.files import put_file

    put_file(target.parent, target.name, source)


def _tell_book(book: Book, work: list[_Work]) -> None:
    """Write down where each filed copy lies; remove the file that a former template named."""
    tables: dict[str, Any] = {"scans": scans, "positives": positives}
    digests = [sha256_of(book.pictures / item.target) for item in work]
    old: list[str] = []
    with book.write() as conn:
        for item, digest in zip(work, digests, strict=True):
            table = tables[item.table]
            before = conn.execute(table.select().where(table.c.id == item.row_id)).one().picture
            if before and before != item.target:
                old.append(before)
            column = "picture_sha256" if item.table == "scans" else "sha256"
            update(conn, table, item.row_id, {"picture": item.target, column: digest})
    still = {item.target for item in work}
    for name in old:
        if name not in still:
            (book.pictures / name).unlink(missing_ok=True)
            (book.pictures / f"{name}.xmp").unlink(missing_ok=True)


def _named(work: list[_Work], template: str) -> list[_Work]:
    """Names of the scans' copies by the template; positives are tagged where they lie."""
    copies = [item for item in work if item.table == "scans"]
    endings = [SUFFIXES.get(item.media_type, Path(item.source).suffix) for item in copies]
    stems = distinct(fill_template(template, _fields(item)) for item in copies)
    names = {id(item): stem + ending for item, stem, ending in zip(copies, stems, endings, strict=True)}
    return [replace(item, target=names.get(id(item), item.target)) for item in work]


def _fields(item: _Work) -> dict[str, str | None]:
    facts = item.facts
    taken = facts.taken_at or ""
    return {
        "year": taken[:4] or None, "month": taken[5:7] or None, "day": taken[8:10] or None,
        "time": taken[11:16].replace(":", "") or None, "roll": facts.roll, "frame": _sortable(facts.frame),
        "strip": facts.strip, "title": facts.title, "caption": facts.caption, "place": facts.place,
        "stock": facts.stock, "camera": facts.model, "lab": facts.lab, "name": Path(item.name).stem,
    }  # fmt: skip


def _sortable(label: str | None) -> str | None:
    """Two digits, so that file names sort along the film; 00 stays before 01."""
    if label and PAIR in label:
        return "-".join(_sortable(part) or "" for part in label.split(PAIR))
    if label is None or not label[:1].isdigit() or label == "00":
        return label
    digits = label.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return digits.zfill(2) + label[len(digits) :] if label != "0" else "00b"


def _work_of(conn: Connection, book: Book, roll: RollRow) -> list[_Work]:
    """Scans and positives of a roll that have a frame, in the film's order."""
    from sqlalchemy import select

    common = _roll_facts(conn, roll)
    work = []
    frames = list_frames(conn, roll.id)
    all_facts = {frame.label: _frame_facts(conn, frame, common) for frame in frames}
    for frame in frames:
        facts = all_facts[frame.label]
        found = conn.execute(
            select(scans.c.id, scans.c.name, scans.c.origin, scans.c.reasons, files.c.sha256, files.c.media_type)
            .join(files, files.c.id == scans.c.file_id)
            .where(scans.c.frame_id == frame.id)
            .order_by(scans.c.id)
        )
        for row in found:
            by = "scanner" if row.origin == "lab" else "camera"
            source = original_path(book, row.sha256)
            second = all_facts.get((row.reasons or {}).get("also") or "")
            both = facts if second is None else facts_of_both(facts, second)
            work.append(_Work("scans", row.id, row.name, source, row.media_type, replace(both, digitised_by=by), ""))
        for row in conn.execute(select(positives).where(positives.c.frame_id == frame.id).order_by(positives.c.id)):
            path = book.pictures / row.picture
            kind = "image/tiff" if path.suffix.lower() in (".tif", ".tiff") else "image/jpeg"
            work.append(
                _Work("positives", row.id, path.name, path, kind, replace(facts, digitised_by="camera"), row.picture)
            )
    return work


def _roll_facts(conn: Connection, roll: RollRow) -> PictureFacts:
    from sqlalchemy import select

    def named(table: Any, row_id: int | None) -> Any:
        return conn.execute(table.select().where(table.c.id == row_id)).first() if row_id is not None else None

    camera, stock = named(cameras, roll.camera_id), named(stocks, roll.stock_id)
    owner = named(people, roll.owner_id)
    owner = owner or conn.execute(people.select().where(people.c.is_keeper)).first()
    lab = conn.execute(
        select(labs.c.name)
        .join(orders, orders.c.lab_id == labs.c.id)
        .join(order_lines, order_lines.c.order_id == orders.c.id)
        .where(order_lines.c.roll_id == roll.id)
        .order_by(orders.c.id.desc())
    ).first()
    return PictureFacts(
        roll=roll.code,
        exposure_index=roll.exposure_index or (stock.iso if stock else None),
        maker=camera.maker if camera else None,
        model=(camera.model or camera.name) if camera else None,
        creator=owner.name if owner else None,
        title=roll.title,
        source_type=POSITIVE if roll.process == "e6" and not roll.cross_process else NEGATIVE,
        stock=stock.name if stock else None,
        process=roll.process,
        lab=lab.name if lab else None,
    )


def _frame_facts(conn: Connection, frame: FrameRow, common: PictureFacts) -> PictureFacts:
    from sqlalchemy import select

    lens = conn.execute(lenses.select().where(lenses.c.id == frame.lens_id)).first() if frame.lens_id else None
    strip = conn.execute(
        select(strips.c.number)
        .join(frame_strips, frame_strips.c.strip_id == strips.c.id)
        .where(frame_strips.c.frame_id == frame.id)
    ).scalar()
    words = tuple(word.strip() for word in (frame.keywords or "").replace(";", ",").split(",") if word.strip())
    return replace(
        common,
        frame=frame.label,
        strip=str(strip) if strip is not None else None,
        taken_at=frame.taken_at,
        shutter=frame.shutter,
        aperture=frame.aperture,
        focal_mm=frame.focal_mm or _fixed_focal(lens),
        lens=lens.name if lens else None,
        latitude=frame.latitude,
        longitude=frame.longitude,
        altitude_m=frame.altitude_m,
        caption=frame.caption,
        place=frame.place,
        keywords=words,
    )


def _fixed_focal(lens: Any) -> float | None:
    """Focal length of a lens that has only one."""
    if lens is None or (lens.focal_max_mm is not None and lens.focal_max_mm != lens.focal_mm):
        return None
    return float(lens.focal_mm) if lens.focal_mm is not None else None
