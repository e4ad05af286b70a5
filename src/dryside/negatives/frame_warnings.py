"""What a person should know about a frame's exposure and its film before printing it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Usual densities of unexposed film as cameras and densitometers see them, log10, with room on either side (published
# Status M values lie at 0.15-0.35, 0.5-0.7, 0.7-1.0; broad camera channels see less of the mask).
_USUAL_BASE = {
    "c41": ((0.03, 0.45), (0.12, 0.95), (0.20, 1.45)),
    "ecn2": ((0.03, 0.45), (0.12, 0.95), (0.20, 1.45)),
    "bw": ((0.02, 0.60), (0.02, 0.60), (0.02, 0.65)),
}

# A grey card exposed as metered lies this many stops above the curve's toe (E = E0): log2(8.125 / sqrt 2) by the ISO
# 5800 formula, as in the speed tables.
_GREY_ABOVE_TOE_STOPS = 2.5
_UNDER_STOPS = -2.2
_OVER_STOPS = 2.8

# Nothing in the frame is clearer than this above film base, log10.
_FOG_DENSITY = 0.22


def exposure_warning(exposure: Array, process: str) -> tuple[str, ...]:
    """One sentence, or none, about a negative's exposure.

    Parameters
    ----------
    exposure : array of shape (samples, 3)
        Layer exposures in units of the curve's toe (E0), a grey's made equal.
    process : str
        Slides are left out: their own density shows it.
    """
    if process == "e6" or not len(exposure):
        return ()
    stops = float(np.median(np.log2(np.maximum(exposure.mean(axis=1), 2.0**-6)))) - _GREY_ABOVE_TOE_STOPS
    if stops < _UNDER_STOPS:
        return (f"Under-exposed by about {-stops:.0f} stops: shadows hold little.",)
    if stops > _OVER_STOPS:
        return (f"Over-exposed by about {stops:.0f} stops: highlights may be flat.",)
    return ()


def fog_warning(density_above_base: Array, process: str) -> tuple[str, ...]:
    """One sentence, or none, where no part of a negative's frame is nearly as clear as its film base (log10)."""
    if process == "e6" or not len(density_above_base):
        return ()
    clearest = float(np.quantile(density_above_base.min(axis=1), 0.005))
    if clearest < _FOG_DENSITY:
        return ()
    return (f"Nothing in the frame is clearer than {clearest:.2f} above film base: fog, or a scene without shadows.",)


def base_warning(base_density: Array, process: str) -> tuple[str, ...]:
    """One sentence, or none, where the film base is unlike this process's usual (log10, shape (3,))."""
    usual = _USUAL_BASE.get(process)
    if usual is None:
        return ()
    read = ", ".join(f"{value:.2f}" for value in base_density)
    if any(not low <= value <= high for value, (low, high) in zip(base_density, usual, strict=True)):
        return (f"Film base ({read}) is unlike this process's usual: another process, old film, or a wrong flat.",)
    if process in ("c41", "ecn2") and base_density[2] - base_density[0] < 0.06:
        return (f"Film base ({read}) has no orange mask: is it a colour negative?",)
    return ()
