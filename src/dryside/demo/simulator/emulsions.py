"""Plain emulsions for the simulator: exposure in, transmittance as a camera sees it out.

An emulsion is any callable that takes scene-linear exposure (ndarray of shape (..., 3), 0.18 = a grey card at the rated
speed, 0 = no light) and returns transmittance (same shape, 1 = bare light). The numbers here are invented inside usual
ranges; `spectral` has emulsions that are built from dye and light spectra.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.shapes import f32

Emulsion = Callable[[NDArray[np.floating[Any]]], NDArray[np.floating[Any]]]
Triple = tuple[float, float, float]

_NO_MIXING = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class PlainEmulsion:
    """Three layers with toe and shoulder, mixed by a density matrix over a film base.

    Parameters
    ----------
    base : 3 floats
        Density of the unexposed, developed film per channel; for slides the density of clear film.
    gamma : 3 floats
        Slope of each layer's straight part.
    mixing : 3 rows of 3 floats, optional
        What density each channel sees of each layer's dye.
    latitude : float, optional
        Length of the straight part, in log10 exposure.
    speed_point : float, optional
        Exposure where the toe begins; a grey card (0.18) lies about 2.5 stops above it.
    reversal : bool, optional
        A slide: the densest where there was no light.
    silver : bool, optional
        Black and white: one layer, which sees all three channels.
    """

    base: Triple
    gamma: Triple
    mixing: tuple[Triple, Triple, Triple] = _NO_MIXING
    latitude: float = 3.0
    speed_point: float = 0.031
    reversal: bool = False
    silver: bool = False

    def __call__(self, exposure: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Transmittance of developed film, shape as `exposure`."""
        light = np.maximum(np.asarray(exposure, dtype=np.float32), 0)
        if self.silver:
            light = np.repeat((light @ f32([0.3, 0.5, 0.2]))[..., None], 3, axis=-1)
        low = light / np.float32(self.speed_point)
        above_toe = np.log10((1 + low) / (1 + low * np.float32(10**-self.latitude)))
        if self.reversal:
            above_toe = self.latitude - above_toe
        dyes = above_toe * f32(self.gamma)
        density = dyes @ f32(self.mixing).T + f32(self.base)
        return np.asarray(np.power(np.float32(10), -density))


COLOUR_NEGATIVE = PlainEmulsion(
    base=(0.24, 0.60, 0.90),
    gamma=(0.58, 0.60, 0.64),
    mixing=((1.00, 0.10, 0.02), (0.12, 1.00, 0.08), (0.04, 0.20, 1.00)),
)
CINE_NEGATIVE = PlainEmulsion(
    base=(0.18, 0.52, 0.86),
    gamma=(0.48, 0.50, 0.53),
    mixing=((1.00, 0.10, 0.02), (0.12, 1.00, 0.08), (0.04, 0.20, 1.00)),
)
SILVER_NEGATIVE = PlainEmulsion(base=(0.27, 0.28, 0.30), gamma=(0.62, 0.62, 0.62), silver=True)
SLIDE = PlainEmulsion(
    base=(0.12, 0.12, 0.14),
    gamma=(1.75, 1.75, 1.75),
    mixing=((1.00, 0.06, 0.01), (0.08, 1.00, 0.06), (0.02, 0.12, 1.00)),
    latitude=1.75,
    speed_point=0.018,
    reversal=True,
)

BY_PROCESS: dict[str, PlainEmulsion] = {
    "c41": COLOUR_NEGATIVE,
    "ecn2": CINE_NEGATIVE,
    "bw": SILVER_NEGATIVE,
    "e6": SLIDE,
}
"""A plain emulsion for each process."""
