"""Captures looked at for the pages: what was found kept with them, each frame small, and recipes for the whole roll."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import atomic_file, original_path
from dryside.book.folder import Book
from dryside.book.schema import captures, files
from dryside.film.refusal import NotFound, Refusal
from dryside.web.kept import SMALL_FRAMES_BYTES, trim

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from dryside.negatives.flat import Flat
    from dryside.negatives.measure import CaptureMeasured
    from dryside.negatives.recipe import Recipe

SHOWN_PX = 1600
MOST_FRAMES = 80
CAPTURE_SHOWN = "capture.jpg"
FRAME_FILES = "[0-9]*.npy"
CORNERS = "corners.json"


def small_folder(book: Book, capture_id: int) -> Path:
    """Where a capture's small frames lie; they can be made again."""
    return book.root / "web" / "small" / str(capture_id)


def looked_at(geometry: Mapping[str, Any] | None) -> bool:
    """Whether a capture's geometry is the pages' own: found, drawn by hand, or known to hold no film."""
    return any((geometry or {}).get(one) for one in ("edges", "by_hand", "refused"))


def rows_of_roll(book: Book, roll_id: int) -> list[dict[str, Any]]:
    """Captures of a roll with their files, in the order of their names."""
    from sqlalchemy import select

    joined = captures.join(files, files.c.id == captures.c.file_id)
    with book.read() as conn:
        rows = conn.execute(
            select(captures, files.c.sha256, files.c.name)
            .select_from(joined)
            .where(captures.c.roll_id == roll_id)
            .order_by(files.c.name, captures.c.id)
        ).mappings()
        return [dict(row) for row in rows]


def capture_row(book: Book, capture_id: int) -> dict[str, Any]:
    """One capture with its file (NotFound where there is none)."""
    from sqlalchemy import select

    joined = captures.join(files, files.c.id == captures.c.file_id)
    with book.read() as conn:
        row = conn.execute(
            select(captures, files.c.sha256, files.c.name).select_from(joined).where(captures.c.id == capture_id)
        ).mappings().one_or_none()  # fmt: skip
    if row is None:
        raise NotFound(f"capture {capture_id}", "not in this book")
    return dict(row)


def look_at_capture(book: Book, row: Mapping[str, Any], process: str, film_format: str) -> None:
    """Find strips, frames and labels in a capture, keep what was found, and make its frames small."""
    from dryside.negatives.flat import read_flat
    from dryside.negatives.measure import MeasureOptions, measure_capture

    with named_link(book, row["sha256"], row["name"]) as path:
        flat = read_flat(original_path(book, row["flat_sha256"])) if row["flat_sha256"] else None
        measured = measure_capture(path, MeasureOptions(film_format, flat=flat, flat_name="the flat", process=process))
        folder = small_folder(book, row["id"])
        show_capture(folder, path)
        make_small(folder, path, [frame.corners for frame in measured.frames], measured.flat)
    keep_geometry(book, row["id"], geometry_of(measured) | {"process": process, "format": film_format})


def without_film(book: Book, row: Mapping[str, Any], process: str, film_format: str) -> dict[str, Any]:
    """What a page needs so that a person can draw the frames herself; nearly nothing where it is no picture at all."""
    from dryside.negatives.capture import read_capture

    path = original_path(book, row["sha256"])
    try:
        with read_capture(path) as capture:
            size = [capture.facts.width, capture.facts.height]
        show_capture(small_folder(book, row["id"]), path)
    except Refusal:
        return {"frames": []}
    return {"size": size, "edges": [], "holes": [], "warnings": [], "frames": [], "process": process,
            "format": film_format}  # fmt: skip


class named_link:
    """The original under its own name for the block, so that what is made of it is named after it."""

    def __init__(self, book: Book, sha256: str, name: str) -> None:
        self.target, self.name = original_path(book, sha256), Path(name).name or "capture"

    def __enter__(self) -> Path:
        import tempfile

        self.folder = tempfile.TemporaryDirectory(prefix="dryside-")
        link = Path(self.folder.name) / self.name
        link.symlink_to(self.target)
        return link

    def __exit__(self, *_: object) -> None:
        self.folder.cleanup()


def geometry_of(measured: CaptureMeasured) -> dict[str, Any]:
    """What was found, as plain data: what the pages draw over the capture."""
    from dryside.negatives.base import FilmBase

    facts, base = measured.facts, measured.base
    strips = [read.strip for read in measured.film.strips]
    return {
        "size": [facts.width, facts.height],
        "pixels_per_mm": strips[0].pixels_per_mm if strips else None,
        "tilt_degrees": strips[0].tilt_degrees if strips else 0.0,
        "mirrored": strips[0].mirrored if strips else None,
        "edges": [[[_plain(point) for point in edge] for edge in strip.edges()] for strip in strips],
        "holes": [[round(hole.x, 1), round(hole.y, 1)] for strip in strips for hole in strip.holes],
        "base": None
        if not isinstance(base, FilmBase)
        else {"density": list(base.density), "spread": base.spread, "samples": base.samples},
        "light": measured.flat.source,
        "warnings": list(measured.warnings),
        "frames": [
            {
                "index": number,
                "corners": [_plain(corner) for corner in frame.corners],
                "label": frame.label,
                "label_source": frame.label_source,
                "confidence": round(frame.confidence, 3),
                "warnings": list(frame.warnings),
            }
            for number, frame in enumerate(measured.frames)
        ],
    }


def _plain(point: Any) -> list[float]:
    return [round(float(point[0]), 2), round(float(point[1]), 2)]


def keep_geometry(book: Book, capture_id: int, geometry: Mapping[str, Any]) -> None:
    """Write what is known of a capture's film into the book."""
    with book.write() as conn:
        conn.execute(captures.update().where(captures.c.id == capture_id).values(geometry=dict(geometry)))


def show_capture(folder: Path, path: Path) -> None:
    """A picture of the capture as it lies on the light table, for a page."""
    import numpy as np
    import simplejpeg

    from dryside.negatives.capture import read_capture, reduce_capture
    from dryside.negatives.rendering import encode

    with read_capture(path) as capture:
        factor = max(1, round(max(capture.facts.height, capture.facts.width) / SHOWN_PX))
        light = reduce_capture(capture, factor)
    top = max(float(np.quantile(light, 0.995)), 1e-6)
    shown = (encode("srgb", np.clip(light / top, 0, 1)) * 255 + 0.5).astype(np.uint8)
    _write(folder / CAPTURE_SHOWN, simplejpeg.encode_jpeg(np.ascontiguousarray(shown), 85))


def make_small(folder: Path, path: Path, corners: Sequence[Any], flat: Flat | None) -> None:
    """Keep each frame small and the samples that recipes are made from; `flat` None takes the light kept before.

    What other captures' frames take beyond `kept.SMALL_FRAMES_BYTES` goes, the longest unused first.
    """
    import numpy as np

    from dryside.negatives.small_frames import small_frames

    folder.mkdir(parents=True, exist_ok=True)
    bare = flat or kept_flat(folder)
    found = small_frames(path, [np.asarray(one, float) for one in corners], bare) if len(corners) else []
    for number, frame in enumerate(found):
        _write_array(folder / f"{number}.npy", frame.levels)
    _write_array(folder / "samples.npy", np.array([_samples(frame.levels) for frame in found], np.float32))
    if flat is not None:
        meta = np.array([flat.cell, *flat.size, flat.source != "flat"], np.int64)
        _write_array(folder / "light.npy", flat.log2_light)
        _write_array(folder / "light-size.npy", meta)
    _write(folder / CORNERS, _as_text(corners))
    trim(folder.parent, FRAME_FILES, SMALL_FRAMES_BYTES)


def is_of(folder: Path, corners: Sequence[Any]) -> bool:
    """Whether what is kept small in a folder was made of these corners."""
    kept = folder / CORNERS
    return kept.is_file() and kept.read_bytes() == _as_text(corners)


def _as_text(corners: Sequence[Any]) -> bytes:
    return json.dumps([[_plain(point) for point in one] for one in corners]).encode()


def _samples(levels: NDArray[np.uint16]) -> NDArray[np.float32]:
    import cv2
    import numpy as np

    from dryside.negatives.small_frames import BARE_LEVEL

    rows, columns = levels.shape[:2]
    inset_y, inset_x = round(rows * 0.03), round(columns * 0.03)
    inside = levels[inset_y : rows - inset_y or None, inset_x : columns - inset_x or None].astype(np.float32)
    return np.asarray(cv2.resize(inside / BARE_LEVEL, (96, 64), interpolation=cv2.INTER_AREA), np.float32)


def kept_flat(folder: Path) -> Flat | None:
    """The bare light that was kept when the capture was looked at."""
    import numpy as np

    from dryside.negatives.flat import Flat

    if not (folder / "light.npy").exists():
        return None
    cell, rows, columns, is_other = np.load(folder / "light-size.npy").tolist()
    return Flat(np.load(folder / "light.npy"), cell, (rows, columns), "around the film" if is_other else "flat")


def make_recipes(book: Book, roll_id: int) -> None:
    """`with_recipes` of a roll's captures, kept with them."""
    for capture_id, geometry in with_recipes(book, rows_of_roll(book, roll_id)).items():
        keep_geometry(book, capture_id, geometry)


def with_recipes(book: Book, all_rows: Sequence[Mapping[str, Any]]) -> dict[int, dict[str, Any]]:
    """One base, one balance for all of a roll's captures, an exposure for each frame: what is known of each capture.

    Parameters
    ----------
    book : Book
        Read only.
    all_rows : sequence of mapping
        As `rows_of_roll` gives them; their geometry may be newer than the book's.
    """
    import numpy as np

    from dryside.negatives.base import FilmBase
    from dryside.negatives.rendering import PRINT
    from dryside.negatives.roll import FrameSamples, recipe_for_roll

    rows = [row for row in all_rows if (row["geometry"] or {}).get("frames")]
    samples, places = [], []
    for row in rows:
        geometry = row["geometry"]
        kept = small_folder(book, row["id"]) / "samples.npy"
        if not kept.exists():
            continue
        given = geometry.get("base")
        base = FilmBase(tuple(given["density"]), given["spread"], given["samples"]) if given else None
        for number, picture in enumerate(np.load(kept)[: len(geometry["frames"])]):
            samples.append(FrameSamples(picture, base))
            places.append((row["id"], number))
    if not samples:
        return {}
    roll = recipe_for_roll(samples, process=rows[0]["geometry"].get("process", "c41"), rendering=PRINT)
    recipes: dict[int, dict[int, Recipe]] = {}
    for (capture_id, number), recipe in zip(places, roll.recipes, strict=True):
        recipes.setdefault(capture_id, {})[number] = recipe
    found = {}
    for row in rows:
        own = recipes.get(row["id"], {})
        frames = [
            {**frame, "recipe": own[number].as_dict()} if number in own else frame
            for number, frame in enumerate(row["geometry"]["frames"])
        ]
        found[row["id"]] = {**row["geometry"], "frames": frames, "roll_warnings": list(roll.warnings)}
    return found


@dataclass(frozen=True)
class Again:
    """What it takes to make a capture's small frames again, as plain data for another process.

    Attributes
    ----------
    folder : Path
        Where they lie.
    path, flat : Path
        The capture, and the light table alone where it was captured.
    corners : tuple
        The frames as they are in the book by now.
    film_format, process : str
    """

    folder: Path
    path: Path
    flat: Path | None
    corners: tuple[Any, ...]
    film_format: str
    process: str


def again(book: Book, row: Mapping[str, Any], corners: Sequence[Any] | None = None) -> Again:
    """How a capture's small frames are made again, with other corners where they are given."""
    geometry = row["geometry"] or {}
    given = [one["corners"] for one in geometry.get("frames", [])] if corners is None else corners
    return Again(
        small_folder(book, row["id"]),
        original_path(book, row["sha256"]),
        original_path(book, row["flat_sha256"]) if row["flat_sha256"] else None,
        tuple(given),
        str(geometry.get("format", "135")),
        str(geometry.get("process", "c41")),
    )


def make_again(how: Again) -> None:
    """Make small frames again, since corners were moved or files were dropped; runs apart from the server."""
    from dryside.negatives.flat import read_flat
    from dryside.negatives.measure import MeasureOptions, measure_capture

    flat = None
    if kept_flat(how.folder) is None:
        given = read_flat(how.flat) if how.flat else None
        told = MeasureOptions(how.film_format, flat=given, flat_name="the flat", process=how.process)
        try:
            flat = measure_capture(how.path, told).flat
        except Refusal:  # no film is seen on it: a person drew the frames
            flat = measure_capture(how.path, replace(told, whole=True)).flat
    if not (how.folder / CAPTURE_SHOWN).is_file():
        show_capture(how.folder, how.path)
    make_small(how.folder, how.path, how.corners, flat)


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with atomic_file(path) as part:
        part.write(content)


def _write_array(path: Path, array: NDArray[Any]) -> None:
    import numpy as np

    with atomic_file(path) as part:
        np.save(part, np.ascontiguousarray(array))
