"""A film of `spectral` as the other simulators take one: scene light in, what a camera sees of the film out."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.spectral import (
    WAVELENGTHS_NM,
    Array,
    CaptureSystem,
    Emulsion,
    blackbody,
    bump,
    dye_amounts,
    exposures,
    seen,
    spectral_density,
)

_TABLE_SIDE = 25
_NO_LIGHT = -9.0


class SpectralFilm:
    """An emulsion over a light table, seen by a camera, for pictures of any size.

    Parameters
    ----------
    emulsion : Emulsion
        The stock.
    system : CaptureSystem
        Light table and camera.
    scene_light : array of shape (wavelengths,), optional
        Light that the scene lay in; 5,500 K if left out.
    """

    def __init__(self, emulsion: Emulsion, system: CaptureSystem, scene_light: Array | None = None) -> None:
        self.emulsion = emulsion
        self.system = system
        self.scene_light = blackbody(5500.0) if scene_light is None else scene_light

    @cached_property
    def from_linear_srgb(self) -> Array:
        """3 x 3: exposures of the layers by linear sRGB, from smooth reflectances that make a white together."""
        red = 1.0 / (1.0 + np.exp(-(WAVELENGTHS_NM - 590.0) / 8.0))
        blue = 1.0 / (1.0 + np.exp((WAVELENGTHS_NM - 490.0) / 8.0))
        primaries = np.stack([red, 1.0 - red - blue, blue]) + 0.02 * bump(550, 90, 90)
        primaries = primaries / primaries.sum(axis=0)
        white = exposures(self.emulsion, self.scene_light[None])[0, 1]
        return np.asarray(exposures(self.emulsion, primaries * self.scene_light).T / white)

    def by_log_exposure(self, log_exposure: Array) -> Array:
        """Transmittance, shape (..., 3), by wavelength, from log10 exposure of the layers; for few samples."""
        return seen(self.system, spectral_density(self.emulsion, dye_amounts(self.emulsion, log_exposure)))

    @cached_property
    def _most_dye(self) -> Array:
        bright, dark = (dye_amounts(self.emulsion, np.full((1, 3), level))[0] for level in (6.0, _NO_LIGHT))
        return np.asarray(np.maximum(bright, dark) * 1.05 + 0.05)

    @cached_property
    def _table(self) -> NDArray[np.float32]:
        """log2 transmittance over a cube of dye amounts, shape (3, side, side, side)."""
        axes = [np.linspace(0.0, most, _TABLE_SIDE) for most in self._most_dye]
        dye = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        through = np.log2(seen(self.system, spectral_density(self.emulsion, dye)))
        return np.asarray(through.T.reshape(3, _TABLE_SIDE, _TABLE_SIDE, _TABLE_SIDE), dtype=np.float32)

    def __call__(self, exposure: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Transmittance as the camera sees it, shape (..., 3), float32, from scene-linear sRGB (0.18 a grey card)."""
        from scipy.ndimage import map_coordinates

        light = np.maximum(np.asarray(exposure, dtype=np.float32) @ self.from_linear_srgb.T.astype(np.float32), 1e-9)
        dye = dye_amounts(self.emulsion, np.log10(light)).reshape(-1, 3)
        place = (dye / self._most_dye * (_TABLE_SIDE - 1)).T.astype(np.float32)
        through = [map_coordinates(part, place, order=1, mode="nearest") for part in self._table]
        return np.asarray(np.exp2(np.stack(through, axis=-1)).reshape(light.shape), dtype=np.float32)
