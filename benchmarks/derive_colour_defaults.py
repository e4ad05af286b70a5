"""Derive what the engine believes of a colour process before it has seen a chart; write it where the engine reads it.

    python benchmarks/derive_colour_defaults.py [--process c41] [--cases 300] [--layered] [--write]

Many invented stocks, lights and cameras (`colour_cases.py`) photograph the chart at three exposures and a grey wedge.
For each, the vector of `dryside.negatives.layers` is fitted under the mean and covariance of all others (empirical
Bayes, some rounds). What is kept is that distribution: its mean as a straight line of the measured film base, and the
covariance around it. The default matrix is the mean; the balance moves along the covariance; a calibration starts
from it.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from colour_cases import (
    GREYS,
    REFLECTANCES,
    TABLE_HEAD,
    cases,
    density_above_base,
    difference,
    layered_systems,
    table_row,
)
from scipy.optimize import least_squares

from dryside.negatives.calibrate import chart_misfit, difference_units
from dryside.negatives.chart_values import LINEAR_SRGB, lab_of_srgb
from dryside.negatives.layers import (
    COLOUR,
    MATRIX,
    NEUTRAL,
    SHOULDER,
    SIZE,
    TOE,
    balanced_exposures,
    grain_bias_stops,
    scene,
    to_vector,
)

WEDGE_STOPS = {"c41": np.linspace(-3, 3, 13), "ecn2": np.linspace(-3, 3, 13), "e6": np.linspace(-2.5, 2, 10)}
NEUTRAL_SIGMA = 0.12  # stops of layer ratio in a wedge that count like one patch off by a common amount
GRAIN_SIGMA_STOPS = 0.03  # lightening by grain that counts like one standard deviation
STOPS = {"c41": (-0.8, 0.2, 1.6), "ecn2": (-0.8, 0.2, 1.6), "e6": (-0.6, 0.0, 0.6)}
START = {
    "c41": to_vector(np.eye(3) * 1.9, np.zeros(2), np.full(3, 0.9), np.full(3, 1e-3), np.eye(3)),
    "ecn2": to_vector(np.eye(3) * 2.3, np.zeros(2), np.full(3, 0.9), np.full(3, 1e-3), np.eye(3)),
    "e6": to_vector(np.eye(3) * -0.62, np.zeros(2), np.full(3, 0.01), np.full(3, 0.6), np.eye(3)),
}
# How firmly each number is held near the common one in the first round, before its own spread is known.
FIRST_SPREAD = np.empty(SIZE)
FIRST_SPREAD[MATRIX], FIRST_SPREAD[NEUTRAL], FIRST_SPREAD[TOE] = 0.25, 0.4, 0.15
FIRST_SPREAD[SHOULDER], FIRST_SPREAD[COLOUR] = 0.006, 0.12
SLIDE_SHOULDER_SPREAD = 0.12
DATA = Path(__file__).parents[1] / "src" / "dryside" / "negatives" / "data" / "colour_priors.json"
LAYERED_DATA = DATA.with_name("colour_priors_layered.json")
LAYERED_MATRIX_SPREAD = 2.0  # unmixing a sensor whose layers overlap takes far larger numbers
AIM, UNITS = lab_of_srgb(LINEAR_SRGB), difference_units(LINEAR_SRGB)
BASE_CONTEXT = {"c41": True, "ecn2": True, "e6": False}


def chart_densities(process: str, made) -> np.ndarray:
    """Shape (cases, 72, 3): the chart at three exposures."""
    return np.array(
        [np.concatenate([density_above_base(c, c.chart_log_exposure(s)) for s in STOPS[process]]) for c in made]
    )


def wedge_densities(process: str, made) -> np.ndarray:
    """Shape (cases, steps, 3): a grey of 18 % exposed over six stops."""
    grey = np.full((1, REFLECTANCES.shape[1]), 0.18)
    steps = 0.30103 * WEDGE_STOPS[process][:, None]
    return np.array([density_above_base(c, c.reflectance_log_exposure(grey) + steps) for c in made])


def off_neutral(vectors: np.ndarray, wedge: np.ndarray) -> np.ndarray:
    """log2 of red and blue over green in a wedge, in units of `NEUTRAL_SIGMA`; shape (..., steps, 2)."""
    stops = np.log2(np.maximum(balanced_exposures(vectors, wedge), 1e-3))
    return (stops[..., [0, 2]] - stops[..., [1]]) / NEUTRAL_SIGMA


def with_known_balance(vector: np.ndarray, density: np.ndarray) -> np.ndarray:
    """The vector for each case with `NEUTRAL` from the chart's own greys, but the black one."""
    vectors = np.broadcast_to(vector, (len(density), SIZE)).copy()
    vectors[:, NEUTRAL] = 0.0
    exposed = balanced_exposures(vectors, density).reshape(len(density), -1, 24, 3)[:, :, GREYS][:, :, :5]
    stops = np.log2(np.maximum(exposed, 1e-3)).mean(axis=(1, 2))
    vectors[:, 9], vectors[:, 10] = stops[:, 0] - stops[:, 1], stops[:, 2] - stops[:, 1]
    return vectors


def bounds() -> tuple[np.ndarray, np.ndarray]:
    low, high = np.full(SIZE, -np.inf), np.full(SIZE, np.inf)
    low[TOE], high[TOE], low[SHOULDER], high[SHOULDER] = 0.0, 1.0, 0.0, 0.95
    return low, high


def regressed_matrix(process: str, made, density: np.ndarray) -> np.ndarray:
    """The 3 x 3 that takes densities to log2 exposures of the layers by least squares, the mean of each case aside."""
    exposed = np.array(
        [np.concatenate([case.chart_log_exposure(s) for s in STOPS[process]]) / 0.30103 for case in made]
    )
    seen, wanted = (part - part.mean(axis=1, keepdims=True) for part in (density, exposed))
    return np.linalg.lstsq(seen.reshape(-1, 3), wanted.reshape(-1, 3), rcond=None)[0].T


def misfit(rgb: np.ndarray) -> np.ndarray:
    """Signed steps by CIEDE2000 of chart renderings (..., 24 n, 3), one free exposure a chart; (..., n, 24, 3)."""
    charts = rgb.reshape(*rgb.shape[:-2], -1, 24, 3)
    return chart_misfit(charts, LINEAR_SRGB, AIM, UNITS)


def fit_common(process: str, density: np.ndarray, wedge: np.ndarray, matrix: np.ndarray | None = None) -> np.ndarray:
    """One vector for all cases, the balance of each known; `matrix` is where its density matrix starts."""
    low, high = bounds()
    free = np.r_[np.arange(9), np.arange(11, SIZE)]
    start = START[process].copy()
    if matrix is not None:
        start[MATRIX] = matrix.ravel()
    if process == "e6":
        high[SHOULDER] = 0.9

    def residuals(part: np.ndarray) -> np.ndarray:
        vector = start.copy()
        vector[free] = part
        vectors = with_known_balance(vector, density)
        found = misfit(scene(vectors, density)).ravel() / np.sqrt(density.shape[0] * 3)
        grey = np.tanh(off_neutral(vectors, wedge) / 4.0).ravel() * 4.0 / np.sqrt(len(wedge))
        grain = grain_bias_stops(vector) / GRAIN_SIGMA_STOPS
        return np.r_[0.3 * found, 0.3 * grey, grain, 0.01 * (part - start[free])]

    found = least_squares(residuals, start[free], bounds=(low[free], high[free]), x_scale="jac", max_nfev=40)
    vector = start.copy()
    vector[free] = found.x
    return vector


def fit_one(density: np.ndarray, wedge: np.ndarray, mean: np.ndarray, whiten: np.ndarray) -> np.ndarray:
    """The vector of one case: chart differences and a wedge's neutrality against the distance from `mean`."""
    charts = len(density) / 24

    def residuals(vector: np.ndarray) -> np.ndarray:
        found = misfit(scene(vector, density)).ravel()
        grey = np.tanh(off_neutral(vector, wedge) / 4.0).ravel() * 4.0
        grain = grain_bias_stops(vector) / GRAIN_SIGMA_STOPS
        return np.r_[found / np.sqrt(charts), grey, grain, whiten @ (vector - mean)]

    low, high = bounds()
    return least_squares(residuals, np.clip(mean, low + 1e-9, high - 1e-9), x_scale="jac", max_nfev=30).x


def whitening(covariance: np.ndarray) -> np.ndarray:
    return np.linalg.cholesky(np.linalg.inv(covariance)).T


def contexts(process: str, bases: np.ndarray) -> np.ndarray:
    """Rows of (1, base red, base green, base blue), or of (1, 0, 0, 0) where the base tells nothing."""
    return np.c_[np.ones(len(bases)), bases * float(BASE_CONTEXT[process])]


def derive(process: str, count: int, seed: int, rounds: int = 3, *, layered: bool = False):
    """Line of the mean on the film base (4, 23), covariance (23, 23) and the fitted vectors."""
    systems = layered_systems(np.random.default_rng(seed), count) if layered else None
    made = cases(process, count, seed, systems, dense_part=0.5)
    density = chart_densities(process, made)
    context = contexts(process, np.array([case.base for case in made]))
    wedge = wedge_densities(process, made)
    matrix = regressed_matrix(process, made[:120], density[:120]) if layered else None
    common = fit_common(process, density[:120], wedge[:120], matrix)
    print(
        table_row(
            f"{process}: one vector, balance known", difference(scene(with_known_balance(common, density), density))
        )
    )
    means = with_known_balance(common, density)
    spread = FIRST_SPREAD.copy()
    if layered:
        spread[MATRIX] = LAYERED_MATRIX_SPREAD
    if process == "e6":
        spread[SHOULDER] = SLIDE_SHOULDER_SPREAD
    covariance = np.diag(spread**2)
    for _ in range(rounds):
        whiten = whitening(covariance)
        vectors = np.array([fit_one(d, w, m, whiten) for d, w, m in zip(density, wedge, means, strict=True)])
        print(table_row(f"{process}: own fit under the prior", difference(scene(vectors, density))), flush=True)
        stops = NEUTRAL_SIGMA * np.abs(off_neutral(vectors, wedge)).max(axis=-1)
        print(f"{process}: stops off neutral by step", np.quantile(stops, 0.5, axis=0).round(2), flush=True)
        line = np.linalg.lstsq(context, vectors, rcond=None)[0]
        means = context @ line
        left = vectors - means
        covariance = left.T @ left / (count - 4) + np.diag((0.05 * spread) ** 2)
    return line, covariance, vectors


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--process", nargs="*", default=["c41", "ecn2", "e6"])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--write", action="store_true", help="write the engine's data file")
    parser.add_argument("--layered", action="store_true", help="for sensors whose three layers lie in depth")
    given = parser.parse_args()
    data = LAYERED_DATA if given.layered else DATA
    print(TABLE_HEAD)
    kept = json.loads(data.read_text()) if data.exists() else {}
    for process in given.process:
        line, covariance, vectors = derive(process, given.cases, given.seed, layered=given.layered)
        np.set_printoptions(precision=3, suppress=True, linewidth=160)
        print("mean", vectors.mean(axis=0), "\nspread", np.sqrt(np.diag(covariance)), flush=True)
        kept[process] = {
            "source": f"benchmarks/derive_colour_defaults.py, {given.cases} invented cases, seed {given.seed}",
            "mean_by_base": np.round(line, 5).tolist(),
            "covariance": np.round(covariance, 8).tolist(),
        }
        if given.write:
            data.parent.mkdir(exist_ok=True)
            data.write_text(json.dumps(kept) + "\n")


if __name__ == "__main__":
    main()
