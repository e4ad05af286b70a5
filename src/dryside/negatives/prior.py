"""What is believed of a process before a chart was seen: the mean and spread of a roll's colour numbers, as data."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.negatives.camera_kind import CameraKind
from dryside.negatives.layers import SIZE

Array = NDArray[np.float64]

PROCESSES = ("c41", "ecn2", "e6", "bw")


@dataclass(frozen=True, eq=False)
class ColourPrior:
    """Distribution of the vector of `layers` over stocks, lights and cameras.

    Attributes
    ----------
    process : str
        'c41', 'ecn2' or 'e6'.
    mean_by_base : ndarray of shape (4, 23)
        The mean is ``(1, red, green, blue) @ mean_by_base`` of the film base's density.
    covariance : ndarray of shape (23, 23)
        Around that mean.
    """

    process: str
    mean_by_base: Array
    covariance: Array

    def mean(self, base_density: ArrayLike) -> Array:
        """Shape (23,), for a film base of this density (log10, shape (3,)); kept inside the bases that were fitted."""
        low, high = np.array([0.02, 0.10, 0.15]), np.array([0.40, 0.75, 1.15])
        base = np.clip(np.asarray(base_density, dtype=float), low, high)
        return np.asarray(np.concatenate([[1.0], base]) @ self.mean_by_base)

    def whitening(self) -> Array:
        """The covariance's `whitening`."""
        return whitening(self.covariance)


def whitening(covariance: Array) -> Array:
    """Shape (23, 23): takes a distance from the mean to independent numbers of spread 1."""
    spread = np.sqrt(np.diag(covariance))
    # Numbers that go together almost wholly lose definiteness to the data file's rounding.
    together = covariance / np.outer(spread, spread) + _LEAST_OWN * np.eye(len(spread))
    return np.asarray(np.linalg.cholesky(np.linalg.inv(together)).T / spread)


_LEAST_OWN = 1e-4  # part of its variance that each number has of its own


@dataclass(frozen=True, eq=False)
class PicturePrior:
    """How far the pictures of a roll move the vector from a process's mean, and how far it still spreads.

    Attributes
    ----------
    middle, spread : ndarrays of shape (features,)
        Of `picture_features` over many rolls.
    weights : ndarray of shape (1 + features, 23)
        From 1 and the features, less their middle and over their spread, to the shift.
    covariance : ndarray of shape (23, 23)
        Around the shifted mean.
    """

    middle: Array
    spread: Array
    weights: Array
    covariance: Array

    def design(self, features: Array) -> Array:
        """1 and the features in units of their spread, held within what was seen; shape (..., 1 + features)."""
        away = np.clip((features - self.middle) / self.spread, -_FARTHEST, _FARTHEST)
        return np.concatenate([np.ones((*away.shape[:-1], 1)), away], axis=-1)

    def shift(self, features: Array) -> Array:
        """What is added to the mean, shape (..., 23)."""
        return np.asarray(self.design(features) @ self.weights)


# Features this many spreads away are taken as if they lay there: a line says nothing of what was never seen.
_FARTHEST = 3.0

_FILES: dict[CameraKind, str] = {"filtered": "colour_priors.json", "layered": "colour_priors_layered.json"}


@cache
def colour_prior(process: str, kind: CameraKind = "filtered") -> ColourPrior:
    """The prior of a colour process as one kind of sensor sees it, from the package's data files.

    Raises
    ------
    ValueError
        If `process` is none of 'c41', 'ecn2', 'e6'.
    """
    mean, covariance = _numbers(_FILES[kind], process, "mean_by_base", "covariance")
    if mean.shape != (4, SIZE) or covariance.shape != (SIZE, SIZE):
        raise ValueError(f"{_FILES[kind]}: {process} has shapes {mean.shape} and {covariance.shape}")
    return ColourPrior(process, mean, covariance)


def _numbers(file: str, process: str, *names: str) -> list[Array]:
    """Arrays of a process, by name, from one of the package's data files."""
    found = json.loads(resources.files("dryside.negatives").joinpath("data", file).read_text(encoding="utf-8"))
    if process not in found:
        raise ValueError(f"process is {process!r}; a colour process is one of {', '.join(map(repr, found))}")
    return [np.array(found[process][name], dtype=float) for name in names]


_PICTURE_FILES: dict[CameraKind, str] = {
    "filtered": "colour_from_pictures.json",
    "layered": "colour_from_pictures_layered.json",
}


@cache
def picture_prior(process: str, kind: CameraKind = "filtered") -> PicturePrior:
    """What pictures tell of a colour process as one kind of sensor sees it, from the package's data files.

    Raises
    ------
    ValueError
        If `process` is none of 'c41', 'ecn2', 'e6'.
    """
    names = ("middle", "spread", "weights", "covariance")
    middle, spread, weights, covariance = _numbers(_PICTURE_FILES[kind], process, *names)
    if weights.shape != (1 + len(middle), SIZE) or covariance.shape != (SIZE, SIZE):
        raise ValueError(f"{_PICTURE_FILES[kind]}: {process} has shapes {weights.shape} and {covariance.shape}")
    return PicturePrior(middle, spread, weights, covariance)
