"""A grey wedge in a frame: steps of known exposure side by side along the frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.calibrate import most_likely
from dryside.negatives.layers import LUMINANCE, balanced_exposures, scene
from dryside.negatives.prior import ColourPrior

Array = NDArray[np.float64]

_FEWEST_STEPS = 6
_LEAST_STEP = 0.04  # powers of two of density, mean of the channels

# A step's misfit, in stops, that counts like one standard deviation from the prior.
_NEUTRAL_SIGMA = 0.03
_EXPOSURE_SIGMA = 0.06


@dataclass(frozen=True, eq=False)
class WedgeFound:
    """Densities of a wedge's steps, shape (steps, 3), in order along the frame, as given to `find_wedge`."""

    density: Array


@dataclass(frozen=True)
class NoWedge:
    """No wedge was found; false, and `why` says what was missing."""

    why: str

    def __bool__(self) -> bool:
        return False


def find_wedge(density: NDArray[np.floating]) -> WedgeFound | NoWedge:
    """Find the steps of a grey wedge that lies along one side of the frame.

    Parameters
    ----------
    density : array of shape (rows, columns, 3)
        Of a frame, in powers of two. The wedge covers its middle, from side to side or from top to bottom.

    Returns
    -------
    WedgeFound or NoWedge
        Steps in falling or rising order, at least 6.
    """
    best: list[Array] = []
    picture = np.asarray(density, dtype=float)
    for turned in (picture, np.swapaxes(picture, 0, 1)):
        rows = turned.shape[0]
        band = turned[rows * 2 // 5 : rows * 3 // 5 + 1]
        steps = _longest_stair(_plateaus(np.median(band, axis=0)))
        if len(steps) > len(best):
            best = steps
    if len(best) < _FEWEST_STEPS:
        return NoWedge(f"{len(best)} steps of a wedge, {_FEWEST_STEPS} are needed")
    return WedgeFound(np.array(best))


def _plateaus(line: Array) -> list[Array]:
    """Median densities of the flat stretches of a line of shape (samples, 3), in order."""
    mean = line.mean(axis=1)
    slope = np.abs(np.gradient(mean))
    flat = slope < max(float(np.quantile(slope, 0.5)) * 2.0, 0.004)
    found, start = [], 0
    shortest = max(3, len(mean) // 60)
    for index in range(1, len(flat) + 1):
        if index < len(flat) and flat[index] == flat[start]:
            continue
        if flat[start] and index - start >= shortest:
            inner = line[start + (index - start) // 5 : index - (index - start) // 5]
            found.append(np.median(inner, axis=0))
        start = index
    return found


def _longest_stair(steps: list[Array]) -> list[Array]:
    """The longest run of plateaus that only rise, or only fall."""
    best: list[Array] = []
    for sign in (1.0, -1.0):
        run: list[Array] = []
        for step in steps:
            if run and sign * (step.mean() - run[-1].mean()) < _LEAST_STEP:
                run = []
            run.append(step)
            if len(run) > len(best):
                best = list(run)
    return best


def fit_wedge(prior: ColourPrior, mean: Array, density: Array, step_stops: float) -> tuple[Array, Array]:
    """The vector that renders a wedge neutral and its steps even.

    Parameters
    ----------
    prior : ColourPrior
        Of the process.
    mean : array of shape (23,)
        Its mean for this film base.
    density : array of shape (steps, 3)
        Above film base, in powers of two.
    step_stops : float
        Exposure between neighbouring steps, above 0.

    Returns
    -------
    vector : ndarray of shape (23,)
    off : ndarray of shape (steps,)
        Largest misfit of each step, in stops.
    """
    whiten = prior.whitening()
    order = np.argsort(density.mean(axis=1) * (1.0 if prior.process != "e6" else -1.0))
    known = np.empty(len(density))
    known[order] = np.arange(len(density)) * step_stops

    def parts(vector: Array) -> tuple[Array, Array]:
        stops = np.log2(np.maximum(balanced_exposures(vector, density), 1e-3))
        light = np.log2(np.maximum(scene(vector, density) @ LUMINANCE, 1e-3)) - known
        return np.stack([stops[:, 0] - stops[:, 1], stops[:, 2] - stops[:, 1]], axis=1), light - np.median(light)

    def residuals(vector: Array) -> Array:
        ratios, light = parts(vector)
        return np.concatenate(
            [ratios.ravel() / _NEUTRAL_SIGMA, np.tanh(light) / _EXPOSURE_SIGMA, whiten @ (vector - mean)]
        )

    vector = most_likely(residuals, mean, whiten)
    ratios, light = parts(vector)
    return vector, np.maximum(np.abs(ratios).max(axis=1), np.abs(light))
