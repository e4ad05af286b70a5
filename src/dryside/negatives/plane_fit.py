"""Fitting how the film lies in the capture to measured holes: similarity, homography, lens distortion."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.types import FilmPlane, FloatArray

Floats = NDArray[np.floating[Any]]

# More freedom must buy a clearly better fit, or it only follows the noise.
_WORTH_A_PARAMETER = 0.85
_HOLES_FOR_A_LENS = 28


def fit_similarity(film_mm: Floats, pixels: Floats, capture_size: tuple[int, int], *, mirrored: bool) -> FilmPlane:
    """Scale, turn and place alone: what one row of holes can tell.

    Parameters
    ----------
    film_mm, pixels : ndarray of shape (points, 2)
        The same points on the film and in the capture; 2 at least.
    capture_size : (rows, columns)
        Of the capture.
    mirrored : bool
        Whether film y runs against the picture's sense.
    """
    film = np.array(film_mm, dtype=np.float64)
    if mirrored:
        film[:, 1] *= -1
    keep = np.ones(len(film), bool)
    for _ in range(4):
        source = film[keep, 0] + 1j * film[keep, 1]
        target = pixels[keep, 0] + 1j * pixels[keep, 1]
        off_source, off_target = source - source.mean(), target - target.mean()
        turn = (off_source.conj() @ off_target) / (off_source.conj() @ off_source)
        shift = target.mean() - turn * source.mean()
        wrong = np.abs(turn * (film[:, 0] + 1j * film[:, 1]) + shift - (pixels[:, 0] + 1j * pixels[:, 1]))
        keep = wrong <= max(4 * float(np.median(wrong)), 0.05)
    a, b = turn.real, turn.imag
    matrix = np.array([[a, -b, shift.real], [b, a, shift.imag], [0, 0, 1.0]])
    if mirrored:
        matrix = matrix @ np.diag([1.0, -1.0, 1.0])
    return FilmPlane(matrix, capture_size)


def fit_plane(film_mm: Floats, pixels: Floats, start: FilmPlane) -> tuple[FilmPlane, FloatArray]:
    """Homography, with lens distortion where the points show it, robust to points that are wrong.

    Parameters
    ----------
    film_mm, pixels : ndarray of shape (points, 2)
        The same points on the film and in the capture, from both rows; 6 at least.
    start : FilmPlane
        Near the answer.

    Returns
    -------
    plane : FilmPlane
    residuals : ndarray of shape (points,)
        Distances in capture pixels.
    """
    scale = start.pixels_per_mm(np.median(film_mm, axis=0))
    straight = _least_squares(film_mm, pixels, start, scale, bend=False)
    wrong = _residuals(straight, film_mm, pixels)
    if len(film_mm) < _HOLES_FOR_A_LENS:
        return straight, wrong
    bent = _least_squares(film_mm, pixels, straight, scale, bend=True)
    wrong_bent = _residuals(bent, film_mm, pixels)
    better = np.median(wrong_bent) < _WORTH_A_PARAMETER * np.median(wrong) and abs(bent.distortion) < 0.15
    return (bent, wrong_bent) if better else (straight, wrong)


def _residuals(plane: FilmPlane, film_mm: Floats, pixels: Floats) -> FloatArray:
    off = plane.capture(film_mm) - pixels
    return np.asarray(np.hypot(off[:, 0], off[:, 1]))


def _least_squares(film_mm: Floats, pixels: Floats, start: FilmPlane, scale: float, *, bend: bool) -> FilmPlane:
    from scipy.optimize import least_squares

    # Film points in units of about 1 around their middle, so that all parameters weigh alike.
    middle, spread = film_mm.mean(axis=0), max(float(np.ptp(film_mm[:, 0])) / 2, 10.0)
    unit = np.array([[spread, 0, middle[0]], [0, spread, middle[1]], [0, 0, 1.0]])
    matrix = start.to_pixels @ unit
    matrix = matrix / matrix[2, 2]
    first = np.r_[matrix.ravel()[:8], [start.distortion] if bend else []]
    into = np.linalg.inv(unit)

    def plane_of(numbers: FloatArray) -> FilmPlane:
        full = np.append(numbers[:8], 1.0).reshape(3, 3) @ into
        return FilmPlane(full, start.capture_size, float(numbers[8]) if bend else 0.0)

    def misfit(numbers: FloatArray) -> FloatArray:
        return np.asarray((plane_of(numbers).capture(film_mm) - pixels).ravel())

    sure = 0.02 * scale  # 0.02 mm: what a good hole is off
    fitted = least_squares(
        misfit, first, loss="soft_l1", f_scale=max(sure, 1e-3), x_scale=np.maximum(np.abs(first), 1e-3), max_nfev=40
    )
    return plane_of(fitted.x)
