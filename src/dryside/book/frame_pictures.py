"""Which file shows a frame, and that picture made small for a page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.files import original_path
from dryside.book.schema import files, frames, positives, scans
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from dryside.book.folder import Book

_JPEG_QUALITY = 88


@dataclass(frozen=True)
class FramePicture:
    """A file that shows a frame.

    Attributes
    ----------
    path : Path
        Where the book keeps it; the file may be gone.
    origin : str
        `positive` (made here from a capture) or `scan` (from a lab, or a person's own).
    name : str
        As a person knows it.
    """

    path: Path
    origin: str
    name: str

    @property
    def is_there(self) -> bool:
        """Whether the file is where the book says."""
        return self.path.is_file()


def picture_of_frame(conn: Connection, book: Book, frame_id: int) -> FramePicture | None:
    """The picture shown for one frame: see `pictures_of_frames`."""
    return pictures_of_frames(conn, book, [frame_id]).get(frame_id)


def pictures_of_frames(conn: Connection, book: Book, frame_ids: Iterable[int]) -> Mapping[int, FramePicture]:
    """The picture shown for each frame; frames without one are left out.

    The frame's own choice (`picture_sha256`) wins; else a positive made here, the newest first; else a scan, the newest
    first. A picture whose file is gone gives way to one that is there.
    """
    ids = list(frame_ids)
    chosen = _chosen_digests(conn, ids)
    candidates: dict[int, list[tuple[tuple[bool, bool], FramePicture]]] = {}
    for frame_id, digest, picture in [*_positives(conn, book, ids), *_scans(conn, book, ids)]:
        rank = (picture.is_there, digest == chosen.get(frame_id))
        candidates.setdefault(frame_id, []).append((rank, picture))
    return {frame_id: max(found, key=lambda one: one[0])[1] for frame_id, found in candidates.items()}


def small_jpeg(path: Path, longest_px: int) -> bytes:
    """A picture as JPEG in sRGB, its longer side `longest_px` at most, upright.

    Raises
    ------
    Refusal
        If the file cannot be read as a picture.
    """
    import simplejpeg

    return simplejpeg.encode_jpeg(small_rgb8(path, longest_px), quality=_JPEG_QUALITY, colorsubsampling="444")


def small_rgb8(path: Path, longest_px: int) -> NDArray[np.uint8]:
    """A picture as 8-bit sRGB, shape (rows, columns, 3), its longer side `longest_px` at most, upright.

    Raises
    ------
    Refusal
        If the file cannot be read as a picture.
    """
    import numpy as np

    with path.open("rb") if path.is_file() else nullcontext() as file:
        is_jpeg = file is not None and file.read(3) == b"\xff\xd8\xff"
    small, profile = _small_of_jpeg(path, longest_px) if is_jpeg else _small_of_any(path, longest_px)
    return np.ascontiguousarray(_to_srgb(small, profile) if profile else small)


def _small_of_jpeg(path: Path, longest_px: int) -> tuple[NDArray[np.uint8], bytes | None]:
    """Decoded at an eighth, quarter or half: a roll of 24 MP scans would take seconds otherwise."""
    import numpy as np
    from PIL import Image, ImageOps

    try:
        with Image.open(path) as picture:
            profile = picture.info.get("icc_profile")
            picture.draft("RGB", (2 * longest_px, 2 * longest_px))
            upright = ImageOps.exif_transpose(picture.convert("RGB"))
    except (OSError, ValueError) as error:
        raise Refusal(
            str(path), f"the picture is cut off or damaged ({error})", "Copy or download it again."
        ) from error
    upright.thumbnail((longest_px, longest_px), Image.Resampling.BOX, reducing_gap=None)
    return np.asarray(upright), profile


def _small_of_any(path: Path, longest_px: int) -> tuple[NDArray[np.uint8], bytes | None]:
    import cv2
    import numpy as np

    from dryside.negatives.codecs.open_picture import open_picture

    opened = open_picture(path)
    try:
        pixels = opened.rows(0, opened.height)
        scale = min(1.0, longest_px / max(opened.height, opened.width))
        if scale < 1:
            size = (max(1, round(opened.width * scale)), max(1, round(opened.height * scale)))
            pixels = cv2.resize(np.ascontiguousarray(pixels), size, interpolation=cv2.INTER_AREA)
        return _eight_bits(pixels), opened.profile
    finally:
        opened.close()


def _eight_bits(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    import numpy as np

    if pixels.ndim == 2:
        pixels = pixels[..., None]
    if pixels.shape[2] in (1, 2):
        pixels = np.repeat(pixels[..., :1], 3, axis=2)
    pixels = pixels[..., :3]
    if pixels.dtype == np.uint16:
        return np.asarray((pixels.astype(np.uint32) + 128) // 257, np.uint8)
    if pixels.dtype == np.uint8:
        return np.asarray(pixels)
    return np.asarray(np.clip(pixels.astype(np.float64), 0, 1) * 255 + 0.5, np.uint8)


def _to_srgb(picture: NDArray[np.uint8], profile: bytes) -> NDArray[np.uint8]:
    """Through the embedded profile; as it is where that cannot be read, since a thumbnail is better than none."""
    import io

    import numpy as np
    from PIL import Image, ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        image = ImageCms.profileToProfile(Image.fromarray(picture), source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError):
        return picture
    return picture if image is None else np.asarray(image)


def _chosen_digests(conn: Connection, ids: list[int]) -> dict[int, str]:
    from sqlalchemy import select

    rows = conn.execute(select(frames.c.id, frames.c.picture_sha256).where(frames.c.id.in_(ids)))
    return {row.id: row.picture_sha256 for row in rows if row.picture_sha256}


def _positives(conn: Connection, book: Book, ids: list[int]) -> Iterable[tuple[int, str, FramePicture]]:
    from sqlalchemy import select

    rows = conn.execute(select(positives).where(positives.c.frame_id.in_(ids)).order_by(positives.c.id.desc()))
    for row in rows:
        yield row.frame_id, row.sha256, FramePicture(book.pictures / row.picture, "positive", Path(row.picture).name)


def _scans(conn: Connection, book: Book, ids: list[int]) -> Iterable[tuple[int, str, FramePicture]]:
    from sqlalchemy import select

    joined = scans.join(files, files.c.id == scans.c.file_id)
    columns = (scans.c.frame_id, scans.c.picture, scans.c.picture_sha256, scans.c.name, files.c.sha256)
    rows = conn.execute(
        select(*columns).select_from(joined).where(scans.c.frame_id.in_(ids)).order_by(scans.c.id.desc())
    )
    for row in rows:
        if row.picture:
            yield (
                row.frame_id,
                row.picture_sha256 or row.sha256,
                FramePicture(book.pictures / row.picture, "scan", row.name),
            )
        yield row.frame_id, row.sha256, FramePicture(original_path(book, row.sha256), "scan", row.name)
