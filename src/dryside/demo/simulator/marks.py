"""What the factory prints on the rebate by light: frame numbers, the two-track edge code, lines and words.

Everything is coverage on the film's canvas: 0 no light, 1 full light. The code is about 14.5 mm long (31 modules) and
fills the space between the printed numbers of two half frames, as measured on a photograph of real film.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.shapes import Canvas

Array = NDArray[Any]

MODULE_MM = 0.468
CODE_AFTER_NUMBER_MM = 2.3
HALF_PITCH_MM = 19.0


@dataclass(frozen=True)
class CodeStyle:
    """Where the two tracks lie, in mm from the film edge; they differ a little between makers."""

    clock_mm: tuple[float, float] = (1.00, 1.70)
    data_mm: tuple[float, float] = (0.22, 1.00)
    module_mm: float = MODULE_MM


def clock_bits(modules: int) -> str:
    """The clock track: 5 dark, alternating, 3 dark."""
    return "11111" + "01" * ((modules - 9) // 2) + "0111"


def data_bits(stock_number: str, half_frame: int | None) -> str:
    """The data track of `36-2` and a half-frame number (twice the number, plus 1 for A), as a string of 0 and 1."""
    product, generation = (int(part) for part in stock_number.split("-"))
    body = f"0{product:07b}0{generation:04b}"
    if half_frame is None:
        return f"10101{body}{body.count('1') % 2}0101"
    body += f"{half_frame // 2:06b}{half_frame % 2}0"
    return f"10101{body}{body.count('1') % 2}0101"


def print_code(canvas: Canvas, x_mm: float, bits: str, style: CodeStyle) -> None:
    """Draw one code that begins at film x; along the lower edge of the film."""
    for track, (near, far) in ((clock_bits(len(bits)), style.clock_mm), (bits, style.data_mm)):
        start = 0
        while start < len(track):
            stop = start
            while stop < len(track) and track[stop] == "1":
                stop += 1
            if stop > start:
                x0, x1 = x_mm + start * style.module_mm, x_mm + stop * style.module_mm
                canvas.add_rectangle(x0, canvas.height_mm - far, x1, canvas.height_mm - near)
            start = stop + 1


def print_words(canvas: Canvas, x_mm: float, y_mm: float, text: str, *, height_mm: float = 1.2) -> None:
    """Draw words centred on a film point."""
    import cv2

    font, thickness = cv2.FONT_HERSHEY_SIMPLEX, max(1, round(canvas.pixels_per_mm * height_mm * 0.16))
    scale = cv2.getFontScaleFromHeight(font, max(3, round(height_mm * canvas.pixels_per_mm)), thickness)
    (width, height), _ = cv2.getTextSize(text, font, scale, thickness)
    patch = np.zeros((height + 4 * thickness, width + 4 * thickness), np.uint8)
    cv2.putText(patch, text, (2 * thickness, height + 2 * thickness), font, scale, 255, thickness, cv2.LINE_AA)
    canvas.add_patch(x_mm, y_mm, patch.astype(np.float32) / 255)


def frame_number(half_frame: int) -> str:
    """How a number is printed: `20`, `20A`."""
    return f"{half_frame // 2}{'A' if half_frame % 2 else ''}"
