"""Write facts into a picture file without touching its image data, or into an XMP sidecar beside it.

The file is copied, the copy tagged, read back, and renamed over the target: a killed run leaves the old file or the
new one. exiv2 keeps global state (its XMP toolkit and namespaces), so all use of it here is behind one lock.
"""

from __future__ import annotations

import os
import shutil
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from dryside.film.refusal import Refusal
from dryside.scans.facts import PictureFacts
from dryside.scans.metadata import exif_properties, iptc_properties, xmp_properties
from dryside.scans.picture_files import media_type
from dryside.scans.xmp_packet import OURS, set_properties

_LOCK = threading.RLock()
_READY: list[bool] = []
_DATES = ("photoshop:DateCreated", "exif:DateTimeOriginal")  # the scan's, unless a fact says otherwise
_SCAN_DAY = ("Exif.Photo.DateTimeOriginal", "Exif.Photo.OffsetTimeOriginal", "Exif.Photo.SubSecTimeOriginal")
_LEAST_BIG_TIFF = 43  # version number in the header, 42 for classic TIFF


def can_hold_tags(path: Path) -> bool:
    """Whether metadata can be written inside the file: JPEG, PNG and classic TIFF; HEIC and BigTIFF need a sidecar."""
    kind = media_type(path)
    if kind == "image/tiff":
        with path.open("rb") as file:
            head = file.read(4)
        return struct.unpack("<H" if head[:2] == b"II" else ">H", head[2:4])[0] < _LEAST_BIG_TIFF
    return kind in ("image/jpeg", "image/png")


def tag_file(source: Path, target: Path, facts: PictureFacts) -> list[Path]:
    """Write a tagged copy of `source` to `target` (which may be `source` itself), or a copy and a sidecar.

    What the file already says is kept unless a fact replaces it, with one exception: an original date that the scanner
    wrote is the day of the scan. It is moved to the date of digitising, and goes.

    Parameters
    ----------
    source : Path
        Any picture that `picture_files` reads.
    target : Path
        Where the tagged copy goes; replaced in one step.
    facts : PictureFacts
        What is known.

    Returns
    -------
    list of Path
        The files written: the picture, and for HEIC and BigTIFF the sidecar.

    Raises
    ------
    Refusal
        If the file's metadata cannot be read or written.
    """
    if not can_hold_tags(source):
        if source != target:
            with _replacing(target) as made:
                shutil.copyfile(source, made)
        return [target, write_sidecar(target, facts)]
    with _replacing(target) as made:
        shutil.copyfile(source, made)
        with _LOCK:
            _write_inside(made, source.name, facts)
    return [target]


def write_sidecar(picture: Path, facts: PictureFacts) -> Path:
    """Write `NAME.xmp` beside a picture, with everything: for sets that must not be written to.

    An XMP file that is there already keeps its other properties.
    """
    sidecar = picture.with_name(picture.name + ".xmp")
    old = sidecar.read_text("utf-8", errors="replace") if sidecar.exists() else ""
    with _replacing(sidecar) as made:
        made.write_text(set_properties(old, xmp_properties(facts, alone=True), also_remove=_DATES), "utf-8")
    return sidecar


def read_tags(path: Path) -> dict[str, Any]:
    """All Exif, IPTC and XMP of a file by exiv2's key names; empty for a file that has none."""
    with _LOCK, _opened(path, path.name) as image:
        return {**image.read_exif(), **image.read_iptc(), **image.read_xmp()}


def _write_inside(path: Path, name: str, facts: PictureFacts) -> None:
    with _opened(path, name) as image:
        old = image.read_exif()
        exif: dict[str, Any] = dict(exif_properties(facts))
        for key in _SCAN_DAY:
            if key in old and key not in exif:
                exif[key] = None  # taken out: it is the scan's, or a part of a date that is replaced
        is_ours = "Xmp.dryside.roll" in image.read_xmp()  # tagged before: its date is the picture's
        if "Exif.Photo.DateTimeOriginal" in old and "Exif.Photo.DateTimeDigitized" not in old and not is_ours:
            exif["Exif.Photo.DateTimeDigitized"] = old["Exif.Photo.DateTimeOriginal"]
        image.modify_exif(exif)
        if media_type(path) != "image/png":  # PNG has no standard place for IIM
            image.modify_iptc(iptc_properties(facts))
        packet = set_properties(image.read_raw_xmp(), xmp_properties(facts, alone=False), also_remove=_DATES)
        image.modify_raw_xmp(packet)


@contextmanager
def _opened(path: Path, name: str) -> Iterator[Any]:
    """An exiv2 image; its errors become refusals that name the file."""
    import pyexiv2

    if not _READY:
        pyexiv2.set_log_level(4)
        pyexiv2.registerNs(OURS, "dryside")
        _READY.append(True)
    try:
        image = pyexiv2.Image(str(path))
    except RuntimeError as problem:
        raise Refusal(
            name, f"its metadata cannot be read ({problem})", "Write sidecars instead: --sidecars."
        ) from problem
    try:
        yield image
    except RuntimeError as problem:
        raise Refusal(
            name, f"its metadata cannot be written ({problem})", "Write sidecars instead: --sidecars."
        ) from problem
    finally:
        image.close()


@contextmanager
def _replacing(target: Path) -> Iterator[Path]:
    """A temporary file beside `target` that takes its place once it is complete and on the disk."""
    target.parent.mkdir(parents=True, exist_ok=True)
    made = target.with_name(f".{target.name}.{os.getpid()}.{threading.get_ident()}{target.suffix}")
    try:
        yield made
        with made.open("rb") as file:
            os.fsync(file.fileno())
        made.replace(target)
    finally:
        made.unlink(missing_ok=True)
