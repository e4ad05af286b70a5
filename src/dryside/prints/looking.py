"""Look at a picture once: its size, a small copy, its faces and what stands out. Read once, used for every size."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.frame_pictures import small_rgb8
from dryside.film.printsizes import PRINT_SIZES, PrintSize
from dryside.prints.faces import LOOKED_AT_PX, Box, Face, find_faces
from dryside.prints.fitting import CropWish, PrintPlan, Way, plan_print
from dryside.prints.subject import salience, subject_box

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class LookedAt:
    """A picture that was looked at.

    Attributes
    ----------
    path : Path
        The file.
    width_px, height_px : int
        Upright size of the whole picture.
    small : ndarray of shape (rows, columns, 3), uint8
        The picture in sRGB, its longer side 960 pixels at most.
    """

    path: Path
    width_px: int
    height_px: int
    small: NDArray[np.uint8]

    @cached_property
    def faces(self) -> tuple[Face, ...]:
        """Faces found."""
        return find_faces(self.small)

    @cached_property
    def salience(self) -> NDArray[np.float64]:
        """What stands out."""
        return salience(self.small)

    @cached_property
    def subject(self) -> Box:
        """The box around most of what stands out."""
        return subject_box(self.salience)

    def wish(self, at: float | None = None, part: Box | None = None) -> CropWish:
        """Where a crop shall lie: by hand at `at` or in `part`, else around faces and subject."""
        by_hand = at is not None or part is not None
        return CropWish(at, None if by_hand else self.salience, self.faces, part)


def look_at(path: Path) -> LookedAt:
    """Read a picture.

    Raises
    ------
    Refusal
        If it is no picture, or a damaged one.
    """
    from dryside.negatives.codecs.open_picture import open_picture

    opened = open_picture(path)
    width, height = opened.width, opened.height
    opened.close()
    return LookedAt(path, width, height, small_rgb8(path, LOOKED_AT_PX))


def plans_for(
    picture: LookedAt,
    sizes: list[PrintSize] | None = None,
    *,
    way: Way = "fill",
    border_mm: float = 0.0,
    at: float | None = None,
    part: Box | None = None,
) -> list[PrintPlan]:
    """A plan for each size; without sizes, for all that the trade sells, the smallest paper first."""
    chosen = sizes if sizes is not None else sorted(PRINT_SIZES.values(), key=lambda size: (size.area_mm2, size.name))
    wish = picture.wish(at, part)
    return [
        plan_print(picture.width_px, picture.height_px, size, way=way, border_mm=border_mm, wish=wish)
        for size in chosen
    ]
