"""Output spaces: from linear sRGB to the primaries of the file, and the renderings that end there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.recipe import Triple, as_triple
from dryside.negatives.rendering import PRINT, SCENE, Rendering

Array = NDArray[np.float64]
Chromaticity = tuple[float, float]

D65 = (0.3127, 0.3290)


@dataclass(frozen=True)
class RgbSpace:
    """An RGB space with white D65: chromaticities of its primaries, and its encoding (`rendering.encode`)."""

    name: str
    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    transfer: str

    def to_xyz(self) -> Array:
        """3 x 3 from linear RGB to XYZ, Y of white 1."""
        columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in (self.red, self.green, self.blue)]).T
        white = np.array([D65[0] / D65[1], 1.0, (1 - D65[0] - D65[1]) / D65[1]])
        return np.asarray(columns * np.linalg.solve(columns, white))

    def from_linear_srgb(self) -> Array:
        """3 x 3 from linear sRGB to linear RGB of this space."""
        return np.asarray(np.linalg.solve(self.to_xyz(), SRGB.to_xyz()))

    def luminance(self) -> Triple:
        """Relative luminance of the primaries."""
        return as_triple(self.to_xyz()[1])


# IEC 61966-2-1; SMPTE EG 432-1 with white D65 and sRGB's encoding; Adobe RGB (1998) Color Image Encoding, 2005-05.
SRGB = RgbSpace("sRGB", (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), "srgb")
DISPLAY_P3 = RgbSpace("Display P3", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), "srgb")
ADOBE_RGB = RgbSpace("Adobe RGB (1998)", (0.64, 0.33), (0.21, 0.71), (0.15, 0.06), "adobe")
LINEAR_SRGB = replace(SRGB, name="linear sRGB", transfer="linear")
SPACES = {space.name: space for space in (SRGB, DISPLAY_P3, ADOBE_RGB, LINEAR_SRGB)}


def print_rendering(space: RgbSpace = SRGB) -> Rendering:
    """A print for this space."""
    return replace(PRINT, space=space.name, luminance=space.luminance(), transfer=space.transfer)


def scene_rendering(full_scale: float = SCENE.full_scale) -> Rendering:
    """Scene-linear light in linear sRGB; `full_scale` is the light of the largest sample."""
    return replace(SCENE, full_scale=full_scale)
