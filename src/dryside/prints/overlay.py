"""What a print keeps and loses, drawn over the picture: to be looked at before an order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dryside.prints.faces import Box, Face
from dryside.prints.fitting import PrintPlan

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]

_KEPT_LIGHT = 0.38  # of what is lost
_HATCH_PX = 14
_LINE = (255, 255, 255)
_SHADOW = (0, 0, 0)


def draw_crop(picture: Image8, plan: PrintPlan, *, subject: Box | None = None, faces: Sequence[Face] = ()) -> Image8:
    """The picture with what is cut off darkened and hatched, the crop outlined, the subject and faces boxed.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), uint8
        The picture, at any size; the plan's crop is scaled to it.
    plan : PrintPlan
        What is drawn.
    subject : Box, optional
        Drawn dashed.
    faces : sequence of Face, optional
        Drawn as plain boxes.

    Returns
    -------
    ndarray of shape (rows + caption, columns, 3), uint8
        A line under the picture says size, loss, resolution and verdict.
    """
    import numpy as np
    from PIL import Image, ImageDraw

    rows, columns = picture.shape[:2]
    box = _scaled_crop(plan, columns, rows)
    shown = Image.fromarray(_darkened(picture, box))
    draw = ImageDraw.Draw(shown)
    _outline(draw, box, 3)
    for face in faces:
        _outline(draw, _pixels(face.box, columns, rows), 2)
    if subject is not None:
        _dashed(draw, _pixels(subject, columns, rows))
    caption = Image.new("RGB", (columns, _caption_px(columns)), "white")
    _write(ImageDraw.Draw(caption), describe(plan), columns)
    return np.concatenate([np.asarray(shown), np.asarray(caption)])


def describe(plan: PrintPlan) -> str:
    """The plan in a line: '8R, filled: 16.7 % is cut off; 240 ppi, good in the hand, sharp from 40 cm'.

    Lengths of white are those of one side.
    """
    if plan.way == "fill" and plan.loss_pct < 0.05:
        how = "filled, nothing is cut off"
    elif plan.way == "fill":
        how = f"filled: {plan.loss_pct:.1f} % is cut off"
    else:
        how = f"whole: {plan.white_pct:.1f} % of the paper stays white"
        how += f", {plan.loss_pct:.1f} % left out by hand" if plan.loss_pct >= 0.05 else ""
    border = max(plan.border_mm)
    white = f" ({border:.0f} mm)" if plan.way == "fit" and border >= 0.5 else ""
    return f"{plan.size.name}, {how}{white}; {plan.ppi:.0f} ppi, {plan.verdict.words}"


def _scaled_crop(plan: PrintPlan, columns: int, rows: int) -> tuple[int, int, int, int]:
    """The crop in the drawn picture's pixels; what it is a part of follows from the plan's loss."""
    crop = plan.crop
    whole = crop.width * crop.height / (1 - plan.loss_pct / 100)
    scale = (columns * rows / whole) ** 0.5
    return round(crop.left * scale), round(crop.top * scale), round(crop.right * scale), round(crop.bottom * scale)


def _darkened(picture: Image8, box: tuple[int, int, int, int]) -> Image8:
    import numpy as np

    left, top, right, bottom = box
    rows, columns = np.indices(picture.shape[:2])
    hatch = np.less((rows + columns) % _HATCH_PX, 2)[..., None]
    out = np.where(hatch, 170, picture * _KEPT_LIGHT).astype(np.uint8)
    out[top:bottom, left:right] = picture[top:bottom, left:right]
    return out


def _pixels(box: Box, columns: int, rows: int) -> tuple[int, int, int, int]:
    return round(box.left * columns), round(box.top * rows), round(box.right * columns), round(box.bottom * rows)


def _outline(draw, box: tuple[int, int, int, int], width: int) -> None:  # type: ignore[no-untyped-def]
    """A white line on a black one: seen on any picture."""
    left, top, right, bottom = box[0], box[1], box[2] - 1, box[3] - 1
    draw.rectangle((left, top, right, bottom), outline=_SHADOW, width=width + 2)
    draw.rectangle((left + 1, top + 1, right - 1, bottom - 1), outline=_LINE, width=width)


def _dashed(draw, box: tuple[int, int, int, int]) -> None:  # type: ignore[no-untyped-def]
    left, top, right, bottom = box
    for width, colour in ((4, _SHADOW), (2, _LINE)):
        for x in range(left, right, 16):
            for y in (top, bottom):
                draw.line((x, y, min(x + 9, right), y), fill=colour, width=width)
        for y in range(top, bottom, 16):
            for x in (left, right):
                draw.line((x, y, x, min(y + 9, bottom)), fill=colour, width=width)


def _caption_px(columns: int) -> int:
    return max(18, columns // 28)


def _write(draw, text: str, columns: int) -> None:  # type: ignore[no-untyped-def]
    """The line in the largest letters that fit."""
    from PIL import ImageFont

    size = _caption_px(columns) * 0.62
    while size > 7 and draw.textlength(text, font=ImageFont.load_default(size)) > columns - 12:
        size -= 0.5
    draw.text((6, _caption_px(columns) / 2), text, fill="black", font=ImageFont.load_default(size), anchor="lm")
