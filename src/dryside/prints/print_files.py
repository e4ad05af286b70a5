"""Files for a lab: exact pixels, sharpened, in the lab's colour space, bordered and named; their manifest."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from dryside.book.files import put_file
from dryside.film.refusal import Refusal
from dryside.film.units import MM_PER_INCH
from dryside.prints.colour import Intent, Profile, convert, convert_deep
from dryside.prints.fitting import Crop, PrintPlan
from dryside.prints.naming import TEMPLATE, check_template, file_name
from dryside.prints.reading import read_crop
from dryside.prints.resampling import reduction_of, resample, sharpen, sharpening_for

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.uint8] | NDArray[np.uint16]

FileKind = Literal["jpeg", "tiff", "tiff16"]
FILE_KINDS: tuple[FileKind, ...] = ("jpeg", "tiff", "tiff16")
JPEG_QUALITY = 95
MOST_PIXELS = 300_000_000
"""Of one print: 30R at 300 ppi has 108 million."""


@dataclass(frozen=True)
class FileWish:
    """How print files are made.

    Attributes
    ----------
    ppi : float
        Pixels to an inch of paper.
    target : Profile
        Colour space of the files.
    intent : str
        Rendering intent of the conversion.
    strength : float
        Of sharpening: 0 none, 1 usual.
    kind : str
        `jpeg` or `tiff` of 8 bits, or `tiff16` where the lab takes it.
    template : str
        Of the names; see `naming`.
    """

    ppi: float
    target: Profile
    intent: Intent = "relative"
    strength: float = 1.0
    kind: FileKind = "jpeg"
    template: str = TEMPLATE


@dataclass(frozen=True)
class PrintJob:
    """One picture to print: its file, how it lies on the paper, copies, and words for its name."""

    path: Path
    plan: PrintPlan
    copies: int
    name: str
    roll: str = ""
    frame: str = ""
    caption: str = ""


@dataclass(frozen=True)
class PrintFile:
    """A file that was made.

    Attributes
    ----------
    file : str
        Its name.
    sha256 : str
        Of its content.
    width_px, height_px : int
        Of the whole paper.
    reduction : float
        Picture pixels to one print pixel; below 1 the picture was enlarged.
    sharpening : float
        Amount applied.
    bits : int
        Of each colour of a pixel, 8 or 16.
    """

    file: str
    picture: str
    size: str
    copies: int
    way: str
    width_px: int
    height_px: int
    ppi: float
    profile: str
    intent: str
    loss_pct: float
    reduction: float
    sharpening: float
    verdict: str
    sha256: str
    bits: int = 8


def paper_pixels(plan: PrintPlan, ppi: float) -> tuple[int, int]:
    """Columns and rows of the paper at a resolution: 4R as sold (152 x 102 mm) at 300 ppi has 1795 x 1205.

    Raises
    ------
    Refusal
        If `ppi` is not above 0, or the print would have more pixels than are made.
    """
    if ppi <= 0:
        raise Refusal(f"{ppi:g} ppi", "a print needs pixels", "Most labs ask for 300.")
    short, long = plan.size.pixels(ppi)
    if short * long > MOST_PIXELS:
        most = ppi * (MOST_PIXELS / (short * long)) ** 0.5
        raise Refusal(
            f"{plan.size.name} at {ppi:g} ppi", f"{short} x {long} pixels are too many", f"Take {most:.0f} ppi."
        )
    return (long, short) if plan.paper_mm[0] >= plan.paper_mm[1] else (short, long)


def picture_pixels(plan: PrintPlan, ppi: float) -> tuple[int, int]:
    """Columns and rows of the picture on the paper."""
    paper = paper_pixels(plan, ppi)
    if max(plan.border_mm) < 1e-6:
        return paper
    sides = [round(side / MM_PER_INCH * ppi) for side in plan.picture_mm]
    return max(1, min(paper[0], sides[0])), max(1, min(paper[1], sides[1]))


def render(job: PrintJob, wish: FileWish) -> tuple[Image, float, float]:
    """The paper as pixels in the target's colours (uint16 for `tiff16`), the reduction, and the sharpening.

    Raises
    ------
    Refusal
        If the picture cannot be read, or is scene-linear and not meant to be looked at.
    """
    import numpy as np

    size = picture_pixels(job.plan, wish.ppi)
    crop = _shaped(job.plan.crop, size)
    pixels, source = read_crop(job.path, crop)
    reduction = reduction_of(crop, size)
    amount = sharpening_for(reduction, wish.strength)
    sharp = sharpen(resample(pixels, size), amount)
    printed: Image
    if wish.kind == "tiff16":
        printed = convert_deep(np.asarray(sharp * 65535 + 0.5, np.uint16), source, wish.target, wish.intent)
    else:
        printed = convert(np.asarray(sharp * 255 + 0.5, np.uint8), source, wish.target, wish.intent)
    paper = paper_pixels(job.plan, wish.ppi)
    if paper == size:
        return printed, reduction, amount
    white = np.full((paper[1], paper[0], 3), np.iinfo(printed.dtype).max, printed.dtype)
    left, top = (paper[0] - size[0]) // 2, (paper[1] - size[1]) // 2
    white[top : top + size[1], left : left + size[0]] = printed
    return white, reduction, amount


def make_files(
    jobs: Sequence[PrintJob], wish: FileWish, folder: Path, *, step: Callable[[], None] = lambda: None
) -> list[PrintFile]:
    """Make the files and their manifest (`manifest.csv`, `manifest.json`) in a folder.

    Parameters
    ----------
    jobs : sequence of PrintJob
        What to print.
    wish : FileWish
        How.
    folder : Path
        Made if it is not there. Files of the same names in it are replaced whole.
    step : callable, optional
        Called after each file.

    Raises
    ------
    Refusal
        If a picture cannot be read, a profile is for other than RGB pictures, or the template names an unknown field.
        Files made before stay; the manifest is written last.
    """
    check_template(wish.template)
    if wish.target.mode != "RGB":
        found = f"for {wish.target.mode} pictures; files for a lab are RGB"
        raise Refusal(f"profile {wish.target.name}", found, "Use it for a proof: dryside prints proof.")
    names: set[str] = set()
    made = []
    for number, job in enumerate(jobs, 1):
        made.append(_make(job, number, wish, folder, names))
        step()
    put_file(folder, "manifest.csv", manifest_csv(made).encode())
    put_file(folder, "manifest.json", json.dumps([vars(one) for one in made], indent=2, ensure_ascii=False).encode())
    return made


def _make(job: PrintJob, number: int, wish: FileWish, folder: Path, taken: set[str]) -> PrintFile:
    plan = job.plan
    pixels, reduction, amount = render(job, wish)
    fields = {
        "name": job.name,
        "size": plan.size.name,
        "copies": job.copies,
        "way": plan.way,
        "roll": job.roll,
        "frame": job.frame,
        "caption": job.caption,
        "number": f"{number:03}",
        "ppi": f"{wish.ppi:g}",
        "paper": f"{plan.paper_mm[0]:g}x{plan.paper_mm[1]:g}mm",
    }
    name = file_name(wish.template, fields, taken=taken, ending=".jpg" if wish.kind == "jpeg" else ".tif")
    content = encode(pixels, wish)
    put_file(folder, name, content)
    return PrintFile(
        file=name,
        picture=job.name,
        size=plan.size.name,
        copies=job.copies,
        way=plan.way,
        width_px=pixels.shape[1],
        height_px=pixels.shape[0],
        ppi=wish.ppi,
        profile=wish.target.name,
        intent=wish.intent,
        loss_pct=round(plan.loss_pct, 2),
        reduction=round(reduction, 3),
        sharpening=round(amount, 3),
        verdict=plan.verdict.words,
        sha256=hashlib.sha256(content).hexdigest(),
        bits=8 * pixels.dtype.itemsize,
    )


def encode(pixels: Image, wish: FileWish) -> bytes:
    """The file's bytes: resolution and profile in it, nothing that tells of the photographer or the place."""
    from PIL import Image

    if wish.kind == "tiff16":
        return _deep_tiff(pixels, wish)
    out = io.BytesIO()
    image = Image.fromarray(pixels)
    shared: dict[str, Any] = {"dpi": (wish.ppi, wish.ppi), "icc_profile": wish.target.data}
    if wish.kind == "jpeg":
        image.save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0, optimize=True, **shared)
    else:
        image.save(out, "TIFF", compression="tiff_lzw", **shared)
    return out.getvalue()


def _deep_tiff(pixels: Image, wish: FileWish) -> bytes:
    """16 bits a channel, deflated: LZW makes such files larger than they were."""
    import tifffile

    out = io.BytesIO()
    tifffile.imwrite(
        out,
        pixels,
        photometric="rgb",
        compression="zlib",
        predictor=True,
        iccprofile=wish.target.data,
        resolution=(wish.ppi, wish.ppi),
        resolutionunit="INCH",
        software=False,
        metadata=None,
    )
    return out.getvalue()


def manifest_csv(made: Sequence[PrintFile]) -> str:
    """A table of the files, one a line; no cell is ever taken for a formula by a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    columns = list(PrintFile.__dataclass_fields__)
    writer.writerow(columns)
    for one in made:
        writer.writerow([_plain_cell(getattr(one, column)) for column in columns])
    return out.getvalue()


def _plain_cell(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def _shaped(crop: Crop, size: tuple[int, int]) -> Crop:
    """The crop trimmed about its middle to the shape of the pixels.

    Sold millimetres are rounded: 4R is 152 x 102 mm and not quite 3:2.
    """
    aspect = size[0] / size[1]
    width, height = min(crop.width, crop.height * aspect), min(crop.height, crop.width / aspect)
    x, y = (crop.left + crop.right) / 2, (crop.top + crop.bottom) / 2
    return replace(crop, left=x - width / 2, right=x + width / 2, top=y - height / 2, bottom=y + height / 2)
