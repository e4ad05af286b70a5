"""Camera raw to linear camera colours: no white balance, no tone, no guess."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.spaces import SRGB


@dataclass(frozen=True, eq=False)
class RawPicture:
    """A developed raw: `picture` of shape (rows, columns, 3), uint16, upright; `camera_matrix` from XYZ, or None."""

    picture: NDArray[np.uint16]
    camera_matrix: tuple[tuple[float, ...], ...] | None
    taken: str


def decode_raw(path: Path, check: Callable[[int, int], None]) -> RawPicture:
    """Demosaic a raw file, black taken off, 65,535 at the sensor's white level; `check` sees the size first.

    Raises
    ------
    Refusal
        If LibRaw cannot read the file.
    """
    import rawpy

    try:
        with rawpy.imread(str(path)) as raw:
            check(raw.sizes.height, raw.sizes.width)
            picture = raw.postprocess(
                demosaic_algorithm=rawpy.DemosaicAlgorithm.PPG,
                use_camera_wb=False,
                use_auto_wb=False,
                user_wb=[1.0, 1.0, 1.0, 1.0],
                output_color=rawpy.ColorSpace.raw,
                output_bps=16,
                gamma=(1.0, 1.0),
                no_auto_bright=True,
                # By default the white level follows the brightest pixel, and no two captures would share a scale.
                adjust_maximum_thr=0.0,
            )
            matrix = _matrix(raw)
    except rawpy.LibRawError as error:
        reason = error.args[0] if error.args else error
        text = reason.decode(errors="replace") if isinstance(reason, bytes) else str(reason)
        raise Refusal(str(path), f"not a readable camera raw file ({text})", "Copy it again from the card.") from error
    return RawPicture(np.asarray(picture, np.uint16), matrix, _taken(path))


def _matrix(raw: Any) -> tuple[tuple[float, ...], ...] | None:
    """XYZ to camera of the first three colours; None where LibRaw knows none.

    A matrix that only the file holds comes as camera (balanced to white) to sRGB, and is turned round.
    """
    rows = np.asarray(raw.rgb_xyz_matrix, dtype=float)[:3]
    if not rows.any():
        to_srgb = np.asarray(raw.color_matrix, dtype=float)[:3, :3]
        if not np.linalg.det(to_srgb):
            return None
        rows = np.linalg.solve(to_srgb, np.linalg.inv(SRGB.to_xyz()))
    return tuple(tuple(row.tolist()) for row in rows)


def _taken(path: Path) -> str:
    """DateTimeOriginal, '' where the file tells none."""
    import pyexiv2

    try:
        image = pyexiv2.Image(str(path))
    except RuntimeError:
        return ""
    try:
        return str(image.read_exif().get("Exif.Photo.DateTimeOriginal", ""))
    except RuntimeError:
        return ""
    finally:
        image.close()
