"""A picture and a paper: filled or whole, what the crop takes off and where, and how many pixels fall on an inch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from dryside.film.printsizes import PrintSize
from dryside.film.refusal import Refusal
from dryside.film.units import MM_PER_INCH
from dryside.prints.acuity import Verdict, judge
from dryside.prints.faces import Box, Face

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Way = Literal["fill", "fit"]
FACE_MARGIN = 0.25
"""Added around a face on each side, as a share of it: the detector's box ends at brow and chin."""
_SAME_SHAPE = 1e-9


@dataclass(frozen=True)
class Crop:
    """What is kept of a picture, in its pixels, continuous: (0, 0) is the outer corner of the top left pixel.

    `placed` says how: 'whole', 'middle', 'by hand', 'around the subject' or 'around the faces'.
    """

    left: float
    top: float
    right: float
    bottom: float
    placed: str

    @property
    def width(self) -> float:
        """Pixels across."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Pixels down."""
        return self.bottom - self.top


@dataclass(frozen=True)
class PrintPlan:
    """One picture on one paper.

    Attributes
    ----------
    size : PrintSize
        The paper.
    way : {'fill', 'fit'}
        Filled and cropped, or whole with white around it.
    paper_mm : tuple of float
        Width and height of the paper as it is turned.
    picture_mm : tuple of float
        Width and height of the picture on it.
    border_mm : tuple of float
        White at the left and right, and at the top and bottom.
    crop : Crop
        What is kept.
    loss_pct : float
        Share of the picture's area that is cut off, 0 to 100.
    white_pct : float
        Share of the paper that stays white.
    ppi : float
        Picture pixels to an inch of paper.
    verdict : Verdict
        How sharp that is.
    remarks : tuple of str
        What a person should know.
    """

    size: PrintSize
    way: Way
    paper_mm: tuple[float, float]
    picture_mm: tuple[float, float]
    border_mm: tuple[float, float]
    crop: Crop
    loss_pct: float
    white_pct: float
    ppi: float
    verdict: Verdict
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class CropWish:
    """Where a crop shall lie.

    Attributes
    ----------
    at : float or None
        By hand: 0 keeps the left or top end, 1 the right or bottom, 0.5 the middle.
    salience : ndarray or None
        Map of what stands out (`subject.salience`); the crop keeps as much of it as it can.
    faces : sequence of Face
        None of them is cropped; where all cannot be kept the picture is printed whole.
    part : Box or None
        By hand: the part of the picture that is wanted. Filling takes the largest crop of the paper's shape from its
        middle, printing whole takes all of it.
    """

    at: float | None = None
    salience: NDArray[np.float64] | None = None
    faces: Sequence[Face] = ()
    part: Box | None = None


def plan_print(
    width_px: int,
    height_px: int,
    size: PrintSize,
    *,
    way: Way = "fill",
    border_mm: float = 0.0,
    wish: CropWish | None = None,
) -> PrintPlan:
    """Lay a picture on a paper, which is turned as the picture lies.

    Parameters
    ----------
    width_px, height_px : int
        The picture, upright.
    size : PrintSize
        The paper.
    way : {'fill', 'fit'}, optional
        Whether the paper, less its border, is filled, or the picture printed whole.
    border_mm : float, optional
        White wanted on all sides.
    wish : CropWish, optional
        Where the crop shall lie; left out: in the middle.

    Raises
    ------
    Refusal
        If the border leaves no paper, or a crop by hand lies outside 0 to 1.
    ValueError
        If the picture has no pixels.
    """
    if width_px < 1 or height_px < 1:
        raise ValueError(f"picture is {width_px} x {height_px} px; it needs at least one pixel")
    wish = wish or CropWish()
    part = _part(wish.part, width_px, height_px)
    paper = _turned(size, part.width, part.height)
    room = (paper[0] - 2 * border_mm, paper[1] - 2 * border_mm)
    if border_mm < 0 or min(room) <= 0:
        raise Refusal(f"border {border_mm:g} mm", f"it leaves no paper on {size.name}", "Make it smaller.")
    aspect = _room_aspect(size, room, border_mm, part.width >= part.height)
    if wish.part is not None:
        chosen = _middle(part, aspect) if way == "fill" else part
        remarks = _cut_faces(wish.faces, chosen, (width_px, height_px))
        return _plan(size, way, paper, _shown(room, chosen, aspect, border_mm), chosen, (width_px, height_px), remarks)
    if way == "fill":
        crop, remarks = _place_crop(width_px, height_px, aspect, wish)
        if crop is not None:
            return _plan(size, "fill", paper, room, crop, (width_px, height_px), remarks)
    else:
        remarks = ()
    return _plan(size, "fit", paper, _shown(room, part, aspect, border_mm), part, (width_px, height_px), remarks)


def _part(part: Box | None, width_px: int, height_px: int) -> Crop:
    """What of the picture is wanted at all, in its pixels."""
    if part is None:
        return Crop(0, 0, width_px, height_px, "whole")
    if not (0 <= part.left < part.right <= 1 and 0 <= part.top < part.bottom <= 1):
        found = f"{part.left:g},{part.top:g},{part.right:g},{part.bottom:g} is no part of a picture"
        raise Refusal("crop by hand", found, "Give left, top, right, bottom from 0 to 1: 0.1,0,0.9,1.")
    sides = (part.left * width_px, part.top * height_px, part.right * width_px, part.bottom * height_px)
    return Crop(*sides, "by hand")


def _middle(part: Crop, aspect: float) -> Crop:
    """The largest crop of that aspect in the middle of a part."""
    width, height = min(part.width, part.height * aspect), min(part.height, part.width / aspect)
    x, y = (part.left + part.right) / 2, (part.top + part.bottom) / 2
    return Crop(x - width / 2, y - height / 2, x + width / 2, y + height / 2, "by hand")


def _shown(room: tuple[float, float], crop: Crop, aspect: float, border_mm: float) -> tuple[float, float]:
    """Width and height in mm of what is printed, as large as the room bears.

    A picture of the paper's own shape has no border, though sold millimetres are rounded.
    """
    if abs(crop.width / crop.height / aspect - 1) < _SAME_SHAPE and border_mm == 0:
        return room
    scale = min(room[0] / crop.width, room[1] / crop.height)
    return crop.width * scale, crop.height * scale


def _cut_faces(faces: Sequence[Face], crop: Crop, picture: tuple[int, int]) -> tuple[str, ...]:
    """What a crop by hand does to faces, in words."""
    cut = 0
    for face in faces:
        across = _span(face.box.grown(FACE_MARGIN), True, picture[0])
        down = _span(face.box.grown(FACE_MARGIN), False, picture[1])
        outside = across[1] <= crop.left or across[0] >= crop.right or down[1] <= crop.top or down[0] >= crop.bottom
        within = across[0] >= crop.left - 0.5 and across[1] <= crop.right + 0.5
        within &= down[0] >= crop.top - 0.5 and down[1] <= crop.bottom + 0.5
        cut += not outside and not within
    return (_cut_words(cut),) if cut else ()


def _cut_words(cut: int) -> str:
    return f"{cut} {'face is' if cut == 1 else 'faces are'} cut into, as placed by hand"


def _turned(size: PrintSize, width_px: float, height_px: float) -> tuple[float, float]:
    """Paper sides in mm, across and down, turned as the picture lies."""
    return (size.long_mm, size.short_mm) if width_px >= height_px else (size.short_mm, size.long_mm)


def _room_aspect(size: PrintSize, room: tuple[float, float], border_mm: float, lying: bool) -> float:
    """Width over height of what is printed on. Without a border by the nominal size: 4R is 3:2, its 102 x 152 mm are
    rounded.
    """
    if border_mm == 0:
        return size.aspect if lying else 1 / size.aspect
    return room[0] / room[1]


def _place_crop(width: int, height: int, aspect: float, wish: CropWish) -> tuple[Crop | None, tuple[str, ...]]:
    """The crop of that aspect; None where it would cut a face."""
    picture = width / height
    if abs(picture / aspect - 1) < _SAME_SHAPE:
        return Crop(0, 0, width, height, "whole"), ()
    across = picture > aspect  # the crop slides from left to right
    length, kept = (width, height * aspect) if across else (height, width / aspect)
    slack = length - kept
    start, placed, remark = _slide(slack, kept, length, across, wish)
    if start is None:
        return None, (remark,)
    box = (start, 0.0, start + kept, float(height)) if across else (0.0, start, float(width), start + kept)
    return Crop(*box, placed), (remark,) if remark else ()


def _slide(slack: float, kept: float, length: float, across: bool, wish: CropWish) -> tuple[float | None, str, str]:
    """Where the crop begins along the side it slides on, how it was placed, and a remark."""
    spans = [_span(face.box.grown(FACE_MARGIN), across, length) for face in wish.faces]
    if wish.at is not None:
        if not 0 <= wish.at <= 1:
            raise Refusal(
                f"crop at {wish.at:g}", "it lies outside 0 to 1", "0 keeps one end, 1 the other, 0.5 the middle."
            )
        start = wish.at * slack
        cut = sum(first < start - 0.5 or last > start + kept + 0.5 for first, last in spans)
        return start, "by hand", _cut_words(cut) if cut else ""
    low, high = 0.0, slack
    if spans:
        low = max(0.0, max(last for _, last in spans) - kept)
        high = min(slack, *(first for first, _ in spans))
        if low > high + 1e-6:
            apart = "a face is larger than" if len(spans) == 1 else f"{len(spans)} faces lie farther apart than"
            return None, "", f"printed whole: {apart} the crop; place the crop by hand to fill the paper all the same"
    if wish.salience is not None:
        return _keep_most(wish.salience, across, kept / length, (low / length, high / length)) * length, _how(spans), ""
    return min(max(slack / 2, low), high), "around the faces" if spans else "middle", ""


def _how(spans: Sequence[tuple[float, float]]) -> str:
    return "around the faces" if spans else "around the subject"


def _span(box: Box, across: bool, length: float) -> tuple[float, float]:
    return (box.left * length, box.right * length) if across else (box.top * length, box.bottom * length)


def _keep_most(salience: NDArray[np.float64], across: bool, kept: float, allowed: tuple[float, float]) -> float:
    """Start of the window, as a fraction, that holds the most salience; of equals the one nearest the middle."""
    import numpy as np

    along = salience.sum(axis=0 if across else 1)
    edges = np.concatenate([[0.0], np.cumsum(along)])
    places = np.linspace(0, 1, len(edges))
    starts = np.linspace(*allowed, 201)
    held = np.interp(starts + kept, places, edges) - np.interp(starts, places, edges)
    best = held >= held.max() - 1e-3
    middle = (1 - kept) / 2
    return float(starts[best][np.argmin(np.abs(starts[best] - middle))])


def _plan(
    size: PrintSize,
    way: Way,
    paper: tuple[float, float],
    shown: tuple[float, float],
    crop: Crop,
    picture: tuple[int, int],
    remarks: tuple[str, ...],
) -> PrintPlan:
    ppi = MM_PER_INCH * crop.width / shown[0]
    return PrintPlan(
        size=size,
        way=way,
        paper_mm=paper,
        picture_mm=shown,
        border_mm=((paper[0] - shown[0]) / 2, (paper[1] - shown[1]) / 2),
        crop=crop,
        loss_pct=100 * (1 - crop.width * crop.height / (picture[0] * picture[1])),
        white_pct=100 * max(0.0, 1 - shown[0] * shown[1] / (paper[0] * paper[1])),
        ppi=ppi,
        verdict=judge(ppi, size),
        remarks=remarks,
    )
