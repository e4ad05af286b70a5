"""Film, light and camera by wavelength: what a scene leaves in the dyes, and what a camera sees of the dyes.

The way of the light, all on one grid of wavelengths (`WAVELENGTHS_NM`):

1. a scene's radiance meets the three layers' sensitivities: exposures;
2. each layer's characteristic curve and what its neighbours hold back in development: amounts of dye;
3. the dyes, the coloured couplers that are used up where dye forms, and the base: spectral density;
4. the light table through that density into the camera: three readings.

Every shape is a smooth closed form with invented numbers inside published ranges (dye peaks, masks, slopes and base
densities: `docs/engine.md`); no product's curves are copied.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

WAVELENGTHS_NM: Array = np.arange(380.0, 735.0, 5.0)

# A grey card lies this far above the speed point of a colour negative at its rated speed: log10(8.125 / sqrt 2),
# from ISO 5800's speed formula and a meter's 8/S lux seconds.
GREY_ABOVE_SPEED_POINT = 0.759


def bump(peak_nm: float, short_nm: float, long_nm: float) -> Array:
    """A bell of height 1 on the grid with a standard deviation of its own on either side."""
    away = WAVELENGTHS_NM - peak_nm
    return np.asarray(np.exp(-0.5 * (away / np.where(away < 0, short_nm, long_nm)) ** 2))


@dataclass(frozen=True)
class Curve:
    """Characteristic curve of one layer: dye (in density at its peak) against log10 exposure.

    Parameters
    ----------
    gamma : float
        Slope of the straight part; negative in reversal film.
    speed_point : float
        log10 exposure where the toe's two asymptotes meet.
    latitude : float
        Length of the straight part in log10 exposure.
    sharpness : float
        1 is the soft toe of ``log10(1 + E)``; 3 is a hard corner.
    """

    gamma: float
    speed_point: float
    latitude: float
    sharpness: float = 1.0

    def __call__(self, log_exposure: ArrayLike) -> Array:
        """Dye density, 0 to ``|gamma| * latitude``, from log10 exposure."""
        x = np.asarray(log_exposure, dtype=float) - self.speed_point
        p = self.sharpness * np.log(10.0)
        rising = (np.logaddexp(0.0, p * x) - np.logaddexp(0.0, p * (x - self.latitude))) / p
        full = abs(self.gamma) * rising
        return full if self.gamma > 0 else abs(self.gamma) * self.latitude - full


@dataclass(frozen=True)
class Emulsion:
    """One film stock, by wavelength.

    Parameters
    ----------
    name, process : str
        An invented name; 'c41', 'ecn2', 'bw' or 'e6'.
    sensitivity : array of shape (3, wavelengths)
        Of the red-, green- and blue-recording layers, scaled so that a neutral in `balanced_for` exposes all alike.
    curves : 3 curves
        In the same order.
    held_back : array of shape (3, 3)
        Part of its dye that a layer loses for each unit that another forms; zero on the diagonal.
    dyes : array of shape (3, wavelengths)
        Density of one unit of cyan, magenta and yellow dye (or of silver, three times).
    masks : array of shape (3, wavelengths)
        Density of each layer's coloured coupler for the coupler of one unit of dye.
    coupler : array of shape (3,)
        Units of dye that each layer's coupler can make.
    base : array of shape (wavelengths,)
        Density of base and fog.
    """

    name: str
    process: str
    sensitivity: Array
    curves: tuple[Curve, Curve, Curve]
    held_back: Array
    dyes: Array
    masks: Array
    coupler: Array
    base: Array


@dataclass(frozen=True)
class CaptureSystem:
    """A light table and a camera: spectra on `WAVELENGTHS_NM`, shapes (wavelengths,) and (3, wavelengths)."""

    name: str
    light: Array
    camera: Array


def exposures(emulsion: Emulsion, radiance: ArrayLike) -> Array:
    """Exposure of the three layers, shape (..., 3), from spectral radiance of shape (..., wavelengths)."""
    return np.asarray(np.asarray(radiance, dtype=float) @ emulsion.sensitivity.T)


def dye_amounts(emulsion: Emulsion, log_exposure: ArrayLike) -> Array:
    """Units of cyan, magenta and yellow dye from log10 exposure of the layers, shape (..., 3).

    A neighbour's development holds a layer's own back (interlayer effect); a neutral keeps the curve's own slope.
    """
    x = np.asarray(log_exposure, dtype=float)
    alone = np.stack([curve(x[..., i]) for i, curve in enumerate(emulsion.curves)], axis=-1)
    share = np.eye(3) * (1.0 + emulsion.held_back.sum(axis=1)) - emulsion.held_back
    return np.clip(alone @ share.T, 0.0, emulsion.coupler)


def spectral_density(emulsion: Emulsion, dye: ArrayLike) -> Array:
    """Density by wavelength, shape (..., wavelengths), from units of dye of shape (..., 3)."""
    amount = np.asarray(dye, dtype=float)
    return np.asarray(emulsion.base + amount @ emulsion.dyes + (emulsion.coupler - amount) @ emulsion.masks)


def seen(system: CaptureSystem, density: ArrayLike) -> Array:
    """The camera's readings over those of the bare light, shape (..., 3), through spectral density."""
    weight = system.camera * system.light
    through = 10.0 ** -np.asarray(density, dtype=float)
    return np.asarray(through @ (weight / weight.sum(axis=1, keepdims=True)).T)


def sensitometric_density(density: ArrayLike, products: ArrayLike) -> Array:
    """Density by an instrument's spectral products, shape (..., 3); `products` has shape (3, wavelengths)."""
    weight = np.asarray(products, dtype=float)
    through = 10.0 ** -np.asarray(density, dtype=float)
    return np.asarray(-np.log10(through @ (weight / weight.sum(axis=1, keepdims=True)).T))


def balanced(sensitivity: Array, light: Array) -> Array:
    """Sensitivities scaled so that a perfect white in `light` exposes each layer by 1."""
    return np.asarray(sensitivity / (sensitivity * light).sum(axis=1, keepdims=True))


def blackbody(kelvin: float) -> Array:
    """Relative spectral power of a black body, 1 at 560 nm (Planck; second constant 0.014388 m K)."""
    metres = WAVELENGTHS_NM * 1e-9
    power = metres**-5 / np.expm1(0.014388 / (metres * kelvin))
    return np.asarray(power / np.interp(560.0, WAVELENGTHS_NM, power))
