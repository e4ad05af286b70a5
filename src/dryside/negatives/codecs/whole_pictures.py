"""JPEG, PNG and HEIF, which are decoded whole, with every bit they hold."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal

AGAIN = "Copy it again from where it came."
_KINDS = {"AVIF": "HEIF", "MPO": "JPEG"}
ORIENTATION, EXIF_FOLDER, DATE_TIME_ORIGINAL = 274, 34665, 36867


@dataclass(frozen=True, eq=False)
class WholePicture:
    """A decoded picture, not yet turned upright: shape (rows, columns) or (rows, columns, channels)."""

    kind: str
    picture: NDArray[Any]
    profile: bytes | None
    orientation: int
    taken: str


@dataclass(frozen=True, eq=False)
class _Header:
    kind: str
    mode: str
    size: tuple[int, int]
    profile: bytes | None
    orientation: int
    taken: str


def decode_whole(path: Path, check: Callable[[int, int], None]) -> WholePicture:
    """Decode JPEG, PNG or HEIF; `check` sees height and width before anything is decoded.

    Raises
    ------
    Refusal
        If the file is damaged, or holds ink colours.
    """
    header = _header(path)
    check(header.size[1], header.size[0])
    if header.mode == "CMYK":
        raise Refusal(str(path), "it holds ink colours (CMYK), not light", "Export it again as RGB.")
    decode = {"JPEG": _jpeg, "PNG": _png, "HEIF": _heif}[header.kind]
    try:
        picture = decode(path, header)
    except (ValueError, RuntimeError, OSError, SyntaxError) as error:
        raise Refusal(str(path), f"damaged: it cannot be decoded ({error})", AGAIN) from error
    orientation = 1 if header.kind == "HEIF" else header.orientation  # libheif turns the picture itself
    return WholePicture(header.kind, picture, header.profile, orientation, header.taken)


def _header(path: Path) -> _Header:
    """Size, profile and Exif by Pillow, which reads no pixel for them."""
    from PIL import Image, UnidentifiedImageError
    from pillow_heif import register_heif_opener

    register_heif_opener()
    try:
        with warnings.catch_warnings():
            # Sizes are judged by `check`; Pillow's own limit is off for this one look.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path) as image:
                exif = image.getexif()
                return _Header(
                    kind="HEIF"
                    if image.format in ("HEIF", "AVIF")
                    else "JPEG"
                    if image.format == "MPO"
                    else image.format or "",
                    mode=image.mode,
                    size=image.size,
                    profile=image.info.get("icc_profile"),
                    orientation=int(exif.get(ORIENTATION, 1) or 1),
                    taken=str(exif.get_ifd(EXIF_FOLDER).get(DATE_TIME_ORIGINAL, "")),
                )
    except Image.DecompressionBombError as error:
        raise Refusal(str(path), f"claims an impossible size ({error})") from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise Refusal(str(path), f"damaged: its header cannot be read ({error})", AGAIN) from error


def _jpeg(path: Path, header: _Header) -> NDArray[Any]:
    import simplejpeg

    colours = "GRAY" if header.mode == "L" else "RGB"
    return np.asarray(simplejpeg.decode_jpeg(path.read_bytes(), colours))


def _png(path: Path, header: _Header) -> NDArray[Any]:
    import imagecodecs

    if header.mode in ("P", "1"):
        from PIL import Image

        with Image.open(path) as image:
            return np.asarray(image.convert("RGB"))
    return np.asarray(imagecodecs.png_decode(path.read_bytes()))


def _heif(path: Path, header: _Header) -> NDArray[Any]:
    """10 and 12 bits come as 16."""
    import pillow_heif

    heif = pillow_heif.open_heif(path, convert_hdr_to_8bit=False)
    return np.asarray(heif)[..., :3]
