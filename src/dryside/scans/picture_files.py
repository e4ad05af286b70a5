"""Picture files of any lab and phone: told by their content, checked to be whole, read at the size that is needed."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]

THUMBNAIL_PX = 512
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif"}
SUFFIXES = {
    "image/jpeg": ".jpg",
    "image/tiff": ".tif",
    "image/png": ".png",
    "image/heic": ".heic",
}
AGAIN = "Download it again, or ask the lab for it."


@dataclass(frozen=True)
class Probe:
    """What a picture file says of itself, read without decoding it all.

    `bits` is per sample; `ppi` is the resolution written in the file, None where it is none or a placeholder (72).
    `made_at` is the day and time in the file (of the scan, for a scan), ISO 8601 without offset.
    `channels` is 1 for grey, 3 for colour, 4 with a fourth channel.
    """

    media_type: str
    width: int
    height: int
    bits: int
    channels: int
    ppi: float | None
    orientation: int
    made_at: str | None = None


def media_type_of(head: bytes) -> str | None:
    """Media type by the first 16 bytes; None for what is no picture, film or zip that is known here."""
    if head.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if head.startswith((b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")):
        return "image/tiff"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if head[4:8] == b"ftyp":
        return "image/heic" if head[8:12] in _HEIF_BRANDS else "video/mp4"
    if head[4:8] in (b"moov", b"mdat", b"wide", b"free"):
        return "video/quicktime"
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "image/webp"
    if head.startswith((b"RIFF", b"\x1aE\xdf\xa3")):
        return "video/other"
    return "application/zip" if head.startswith(b"PK\x03\x04") else None


def media_type(path: Path) -> str | None:
    """Media type of a file by its content."""
    with path.open("rb") as file:
        return media_type_of(file.read(16))


def probe(path: Path) -> Probe:
    """Read size, depth and resolution of a picture.

    Raises
    ------
    Refusal
        If the file is no picture of a kind that is taken, or too damaged for its size to be read.
    """
    kind = media_type(path)
    if kind not in SUFFIXES:
        raise Refusal(
            path.name, f"not a picture that can be taken ({kind or 'unknown content'})", "JPEG, TIFF, PNG or HEIC are."
        )
    try:
        return _probe_tiff(path) if kind == "image/tiff" else _probe_other(path, kind)
    except Refusal:
        raise
    except Exception as problem:  # decoders raise dozens of kinds for damaged headers, and each means the same here
        raise Refusal(path.name, f"its header cannot be read ({problem})", AGAIN) from problem


def _probe_tiff(path: Path) -> Probe:
    import tifffile

    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages.first
        unit, x_resolution = page.tags.get("ResolutionUnit"), page.tags.get("XResolution")
        ppi = None
        if x_resolution is not None and x_resolution.value[1]:
            per_unit = x_resolution.value[0] / x_resolution.value[1]
            ppi = per_unit * (2.54 if unit is not None and int(unit.value) == 3 else 1.0)
        orientation = page.tags.get("Orientation")
        channels = int(page.samplesperpixel)
        return Probe(
            "image/tiff",
            int(page.imagewidth),
            int(page.imagelength),
            int(page.bitspersample),
            1 if channels == 2 else min(channels, 4),
            _meant_ppi(ppi),
            int(orientation.value) if orientation is not None else 1,
            _iso(page.tags["DateTime"].value) if "DateTime" in page.tags else None,
        )


def _probe_other(path: Path, kind: str) -> Probe:
    from PIL import Image

    _know_heif()
    with Image.open(path) as picture:
        bands = len(picture.getbands())
        bits = 16 if picture.mode in ("I;16", "I;16B", "I") else 8
        if kind == "image/png":
            bits, bands = _png_header(path)
        dpi = picture.info.get("dpi", (None,))[0]
        exif = picture.getexif()
        inner = exif.get_ifd(0x8769)
        return Probe(
            kind,
            picture.width,
            picture.height,
            bits,
            3 if bands == 3 else bands,
            _meant_ppi(float(dpi) if dpi else None),
            int(exif.get(0x0112, 1) or 1),
            _iso(inner.get(0x9004) or inner.get(0x9003) or exif.get(0x0132)),
        )


def _iso(exif_date: Any) -> str | None:
    """`YYYY:MM:DD HH:MM:SS` of Exif and TIFF as ISO 8601; None for what is no date."""
    from datetime import datetime

    try:
        moment = datetime.strptime(str(exif_date).strip("\x00 ")[:19], "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007  as written
    except ValueError:
        return None
    return moment.isoformat()


def _png_header(path: Path) -> tuple[int, int]:
    """Bit depth and channels of the IHDR chunk: Pillow reports 16-bit colour as 8-bit."""
    with path.open("rb") as file:
        head = file.read(26)
    return head[24], {0: 1, 2: 3, 3: 3, 4: 1, 6: 4}.get(head[25], 3)


def _meant_ppi(ppi: float | None) -> float | None:
    """72 and 96 are what programs write when they know nothing; 1 is the JFIF aspect ratio."""
    return None if ppi is None or round(ppi) in (0, 1, 72, 96) else ppi


def read_array(path: Path) -> NDArray[Any]:
    """Decode a whole picture, as stored: uint8 or uint16, shape (rows, columns) or (rows, columns, channels).

    Raises
    ------
    Refusal
        If the picture is truncated or damaged.
    """
    import imagecodecs
    import numpy as np

    kind = media_type(path)
    try:
        if kind == "image/jpeg":
            return _read_jpeg(path.read_bytes(), 0)
        if kind == "image/tiff":
            return _first_page(path)
        if kind == "image/png":
            return np.asarray(imagecodecs.png_decode(path.read_bytes()))
        return _read_pillow(path)
    except Refusal:
        raise
    except Exception as problem:  # as in `probe`: every decoder has its own exceptions
        raise Refusal(path.name, f"the picture is cut off or damaged ({problem})", AGAIN) from problem


def read_rgb8(path: Path, *, longest: int | None = None, upright: bool = True) -> Image8:
    """Decode a picture to 8-bit RGB, reduced as early as the format allows.

    Parameters
    ----------
    path : Path
        JPEG, TIFF, PNG or HEIC.
    longest : int, optional
        Longest side wanted, pixels; the result is never larger than the picture. None: all of it.
    upright : bool, optional
        Whether to turn the picture as its Exif orientation says. Default True.

    Returns
    -------
    ndarray of shape (rows, columns, 3), uint8
        16-bit pictures are cut to their upper 8 bits, grey ones repeated, a fourth channel dropped.

    Raises
    ------
    Refusal
        If the picture is truncated or damaged.
    """
    kind = media_type(path)
    if kind == "image/jpeg" and longest:
        try:
            array: NDArray[Any] = _read_jpeg(path.read_bytes(), longest)
        except Exception as problem:
            raise Refusal(path.name, f"the picture is cut off or damaged ({problem})", AGAIN) from problem
    else:
        array = read_array(path)
    array = _reduced(array, longest)
    return turned(_as_rgb8(array), _orientation(path, kind) if upright else 1)


def small_srgb(path: Path, longest: int) -> Image8:
    """A small picture in sRGB: `read_rgb8` and then, where the file has a colour profile of its own, through it.

    Raises
    ------
    Refusal
        If the picture is truncated or damaged.
    """
    import numpy as np
    from PIL import Image, ImageCms

    small = read_rgb8(path, longest=longest)
    profile = _profile(path)
    if profile is None:
        return small
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        made = ImageCms.profileToProfile(Image.fromarray(small), source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError):
        return small  # a small picture in slightly wrong colours is better than none
    return small if made is None else np.asarray(made)


def _profile(path: Path) -> bytes | None:
    """The embedded ICC profile; None where there is none, or none that can be read."""
    import tifffile
    from PIL import Image

    _know_heif()
    try:
        if media_type(path) == "image/tiff":
            with tifffile.TiffFile(path) as tiff:
                tag = tiff.pages.first.tags.get("InterColorProfile")
                return bytes(tag.value) if tag is not None else None
        with Image.open(path) as picture:
            profile = picture.info.get("icc_profile")
            return bytes(profile) if profile and picture.mode != "CMYK" else None
    except (OSError, ValueError, tifffile.TiffFileError):
        return None


def _orientation(path: Path, kind: str | None) -> int:
    if kind == "image/heic":
        return 1  # the decoder has already applied it
    try:
        return probe(path).orientation
    except Refusal:
        return 1


def turned(image: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Apply an Exif orientation 1 to 8 (Exif 2.32, tag 0x0112) to an array; other values change nothing."""
    import numpy as np

    if orientation in (2, 4, 5, 7):
        image = image[:, ::-1]
    quarter_turns = {3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}.get(orientation, 0)
    return np.ascontiguousarray(np.rot90(image, quarter_turns)) if orientation != 1 else image


def thumbnail_jpeg(image: Image8) -> bytes:
    """A 512 px thumbnail of a decoded picture as JPEG, quality 85."""
    import simplejpeg

    small = _reduced(image, THUMBNAIL_PX)
    import numpy as np

    return simplejpeg.encode_jpeg(np.ascontiguousarray(small), quality=85)


def _read_jpeg(data: bytes, longest: int) -> NDArray[Any]:
    """Decode at the smallest eighth that is still large enough.

    A file that ends early is an error; what else a decoder warns of (stray bytes between markers, as some phones and
    old scanners write them) is not.
    """
    import simplejpeg

    height, width, colorspace, _ = simplejpeg.decode_jpeg_header(data, strict=False)
    if colorspace in ("CMYK", "YCCK"):
        return _pillow_rgb(data)
    kind = "GRAY" if colorspace == "Gray" else "RGB"
    factor = min(1.0, longest / max(height, width)) if longest else 1.0
    size = {"min_height": int(height * factor), "min_width": int(width * factor)} if longest else {}
    try:
        array = simplejpeg.decode_jpeg(data, colorspace=kind, strict=True, min_factor=1, **size)
    except ValueError as problem:
        if "premature end" in str(problem).lower():
            raise
        array = simplejpeg.decode_jpeg(data, colorspace=kind, strict=False, min_factor=1, **size)
    return array[..., 0] if kind == "GRAY" else array


def _pillow_rgb(data: bytes) -> NDArray[Any]:
    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(picture.convert("RGB"))


def _first_page(path: Path) -> NDArray[Any]:
    """First page of a TIFF; plain uncompressed pages are mapped, so that reducing reads them only once."""
    import numpy as np
    import tifffile

    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages.first
        end = int(page.dataoffsets[-1] + page.databytecounts[-1])
        if end > path.stat().st_size:
            raise Refusal(path.name, f"the picture ends after {path.stat().st_size} of {end} bytes", AGAIN)
        array = (
            page.asarray(out="memmap" if page.is_memmappable else None, maxworkers=1)
            if False
            else page.asarray(maxworkers=1)
        )
        if page.planarconfig == 2 and array.ndim == 3 and array.shape[0] in (3, 4):
            array = np.moveaxis(array, 0, -1)
        return array


def _read_pillow(path: Path) -> NDArray[Any]:
    import numpy as np
    from PIL import Image

    _know_heif()
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"))


def _know_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _reduced(array: NDArray[Any], longest: int | None) -> NDArray[Any]:
    """Shrink to `longest` by area mean: first by a whole factor, which needs one cheap pass, then exactly."""
    import cv2
    import numpy as np

    height, width = array.shape[:2]
    if not longest or max(height, width) <= longest:
        return array
    factor = longest / max(height, width)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(array, size, interpolation=cv2.INTER_AREA))


def _as_rgb8(array: NDArray[Any]) -> Image8:
    import numpy as np

    if array.dtype == np.uint16:
        array = (array >> 8).astype(np.uint8)
    elif array.dtype != np.uint8:
        peak = float(array.max()) if array.size else 1.0
        array = np.clip(array.astype(np.float32) * (255.0 / max(peak, 1e-9)), 0, 255).astype(np.uint8)
    if array.ndim == 3 and array.shape[2] in (1, 2):
        array = array[..., 0]
    if array.ndim == 2:
        return np.repeat(array[..., None], 3, axis=2)
    return np.ascontiguousarray(array[..., :3])
