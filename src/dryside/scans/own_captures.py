"""Own captures of negatives in the book: kept as originals, their positives filed with the frames they show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book import schema
from dryside.book.files import keep_original, sha256_of
from dryside.book.frames import list_frames
from dryside.book.rolls import RollRow
from dryside.film.frame_labels import normalise_label
from dryside.film.refusal import Refusal
from dryside.negatives.development import roll_development
from dryside.negatives.invert import CaptureInverted, FramePositive, RollInverted

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.folder import Book


@dataclass(frozen=True)
class Filed:
    """What the book has of an inverted roll now.

    Attributes
    ----------
    frames : tuple of str
        Labels of the roll's frames that have a positive of these captures.
    without_frame : tuple of str
        File names of positives whose frame is not known: no label was read, or the log has no such frame.
    """

    roll: str
    captures: int
    frames: tuple[str, ...]
    without_frame: tuple[str, ...]


def positives_folder(book: Book, roll: RollRow) -> Path:
    """Where positives of a roll are written: under the book's pictures/."""
    return book.pictures / "positives" / roll.code


def file_positives(
    book: Book,
    roll: RollRow,
    inverted: RollInverted,
    *,
    flat: Path | None = None,
    settings: Mapping[str, Any] | None = None,
    made_at: str,
) -> Filed:
    """Keep the captures as originals and file their positives with the roll's frames; again, it changes nothing.

    Parameters
    ----------
    book : Book
        The book.
    roll : RollRow
        The roll on the captures.
    inverted : RollInverted
        What the engine made, its files under the book's pictures/ (see `positives_folder`).
    flat : Path, optional
        Capture of the bare light, kept as an original too.
    settings : mapping, optional
        How the positives were made, as plain data.
    made_at : str
        Now, ISO 8601 with offset.

    Raises
    ------
    Refusal
        If a positive lies outside the book's pictures/.
    """
    flat_sha256 = keep_original(book, flat, kind="flat").sha256 if flat else None
    found: list[str] = []
    lost: list[str] = []
    for capture in inverted.captures:
        kept = keep_original(book, capture.path, kind="capture")
        with book.write() as conn:
            frame_ids = {frame.label: frame.id for frame in list_frames(conn, roll.id)}
            row = {"flat_sha256": flat_sha256, "geometry": _geometry(capture), "settings": dict(settings or {})}
            capture_id = _upsert(
                conn, schema.captures, {"file_id": kept.id, "roll_id": roll.id}, row, made={"made_at": made_at}
            )
            for frame in capture.frames:
                label = normalise_label(frame.label) if frame.label else None
                frame_id = frame_ids.get(label) if label else None
                _file_one(conn, book, capture_id, frame, frame_id, dict(settings or {}))
                if frame_id is not None and label:
                    found.append(label)
                else:
                    lost.append(frame.positive.name)
    _note_development(book, roll, inverted.captures, day=made_at[:10])
    return Filed(roll.code, len(inverted.captures), tuple(dict.fromkeys(found)), tuple(lost))


def _geometry(capture: CaptureInverted) -> dict[str, Any]:
    return {
        "pixels_per_mm": capture.pixels_per_mm,
        "tilt_degrees": capture.tilt_degrees,
        "mirrored": capture.mirrored,
        "frames": [
            {
                "index": frame.index,
                "corners": [list(corner) for corner in frame.corners],
                "label": frame.label,
                "label_source": frame.label_source,
                "warnings": list(frame.warnings),
            }
            for frame in capture.frames
        ],
    }


def _file_one(
    conn: Connection,
    book: Book,
    capture_id: int,
    frame: FramePositive,
    frame_id: int | None,
    settings: dict[str, Any],
) -> None:
    stem = frame.positive.with_suffix("")
    siblings = [path for path in (frame.positive, Path(f"{stem}.jpg"), Path(f"{stem}.thumb.jpg")) if path.is_file()]
    try:
        names = {path.resolve().relative_to(book.pictures.resolve()).as_posix(): path for path in siblings}
    except ValueError as error:
        raise Refusal(
            str(frame.positive), "lies outside the book's pictures", "Let 'dryside invert --roll' choose the folder."
        ) from error
    digests = {name: sha256_of(path) for name, path in names.items()}
    shown = next(
        (name for name in names if name.endswith(".jpg") and not name.endswith(".thumb.jpg")), next(iter(names))
    )
    _upsert(
        conn,
        schema.positives,
        {"capture_id": capture_id, "frame_index": frame.index},
        {
            "frame_id": frame_id,
            "picture": shown,
            "sha256": digests[shown],
            "settings": settings | {"files": digests},
        },
    )


def _note_development(book: Book, roll: RollRow, captures: Sequence[CaptureInverted], *, day: str) -> None:
    """Film base and contrast of the roll, medians over its frames: what tells a drifting process over time."""
    import numpy as np

    frames = [frame for capture in captures for frame in capture.frames]
    if not frames:
        return
    red, green, blue = np.median(np.asarray([frame.base_density for frame in frames], float), axis=0)
    told = roll_development([frame.tones for frame in frames if frame.tones is not None])
    measured = {
        "base_red": red,
        "base_green": green,
        "base_blue": blue,
        "contrast": told.grey_slope,
        "picture_range": told.picture_range,
        "picture_range_error": told.error,
    }
    values: dict[str, Any] = {
        name: None if value is None else round(float(value), 4) for name, value in measured.items()
    }
    values["picture_range_frames"] = told.frames
    with book.write() as conn:
        _upsert(conn, schema.developments, {"roll_id": roll.id}, values, made={"measured_on": day})


def _upsert(
    conn: Connection, table: Any, key: dict[str, Any], values: dict[str, Any], *, made: dict[str, Any] | None = None
) -> int:
    """Change the row with this key, or add it (then with `made` too); its id."""
    from sqlalchemy import select

    where = [table.c[name] == value for name, value in key.items()]
    found = conn.execute(select(table.c.id).where(*where)).scalar()
    if found is None:
        added = conn.execute(table.insert().values(**key, **values, **(made or {}))).inserted_primary_key
        if added is None:
            raise ValueError(f"{table.name} has no key of its own")
        return int(added[0])
    conn.execute(table.update().where(table.c.id == found).values(**values))
    return int(found)
