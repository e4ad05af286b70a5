"""Dust, hairs and scratches by infrared: what stops light where dyes let infrared through, found and taken out.

Dyes are nearly clear in infrared, dust is not. What an infrared picture shows beside its smooth light is therefore,
but for a little leak of the dyes, what lies on the film. Where that takes only part of the light, it is given back and
the picture beneath stays; where it takes nearly all, the hole is filled from around it. No other pixel is changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal

FloatImage = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Detection: this many standard deviations of the infrared's own noise make a seed, half as many belong to it.
_SEED_SIGMAS = 6.0
_GROW_SIGMAS = 3.0
_LEAST_LOSS = 0.08  # in powers of two; less than this does not show
_LEAST_CHANGE = 0.015  # nor does a smaller change of a pixel

# More loss than this (powers of two) is not given back, for what comes through is mostly noise: the hole is filled.
_MOST_GIVEN_BACK = 3.5
_ROUGHER = 5.0
_SOFTNESS_PX = (0.0, 0.3, 0.45, 0.6, 0.75, 0.9, 1.1, 1.4, 1.8)
_STRENGTHS = (0.7, 0.8, 0.85, 0.9, 0.95, 1.0, 1.05, 1.1)

# Infrared that follows the dyes more than this is no infrared for finding dust: silver, or dyes that block it.
_MOST_LEAK = 0.45


@dataclass(frozen=True, eq=False)
class DustFound:
    """What lies on the film.

    Attributes
    ----------
    mask : ndarray of shape (rows, columns), bool
        Pixels to be mended.
    through : ndarray of shape (rows, columns), float32
        Part of the light that gets through, in (0, 1]; 1 outside of the mask.
    leak : 3 floats
        How much of the red, green and blue density the infrared shows.
    shift : (x, y)
        By how many pixels the infrared lay off the picture.
    sigma : float
        Noise of the infrared in powers of two.
    fill : bool
        Whether every marked pixel is filled from around it, for want of knowing what gets through.
    """

    mask: Mask
    through: FloatImage
    leak: tuple[float, float, float]
    shift: tuple[float, float]
    sigma: float
    fill: bool = False


def refuse_silver(process: str, thing: str) -> None:
    """Say that infrared cannot tell dust from silver.

    Raises
    ------
    Refusal
        If `process` is 'bw'.
    """
    if process == "bw":
        found = "silver stops infrared as dust does, so dust cannot be told from the picture"
        raise Refusal(thing, found, "Leave --ir out; clean the film, or use --specks.")


@dataclass(frozen=True)
class Bearing:
    """How the infrared stands to the picture: shift in pixels (x, y), the dyes' leak, and how sure the shift is."""

    shift: tuple[float, float]
    leak: tuple[float, float, float]
    sureness: float


def bearing_of(light: FloatImage, infrared: FloatImage, *, thing: str = "infrared") -> Bearing:
    """Where the infrared lies and what the dyes leak into it.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Transmittance of the capture, above 0.
    infrared : ndarray of shape (rows, columns), float32
        Infrared of the same film, any unit, above 0 but for noise.
    thing : str
        The infrared as the person named it, for a refusal.

    Raises
    ------
    Refusal
        If the infrared follows the picture: silver, or dyes that block infrared.
    ValueError
        If the shapes differ.
    """
    if light.shape[:2] != infrared.shape:
        raise ValueError(f"infrared has shape {infrared.shape}, the picture {light.shape[:2]}")
    density, loss = _density(light), _loss(infrared)
    shift, sureness = _shift_between(density[..., 1], loss)
    leak, share = _dye_leak(density, _shifted(loss, shift))
    if share > _MOST_LEAK:
        found = f"this infrared follows the picture ({100 * share:.0f} % of its variation): film that blocks infrared"
        raise Refusal(thing, found, "Leave --ir out for this film.")
    return Bearing(shift, leak, sureness)


def find_dust(light: FloatImage, infrared: FloatImage, bearing: Bearing | None = None) -> DustFound:
    """Find what lies on the film.

    Parameters
    ----------
    light, infrared : ndarray
        As in `bearing_of`.
    bearing : Bearing, optional
        Of the whole frame; measured here if left out.

    Returns
    -------
    DustFound
    """
    stand = bearing or bearing_of(light, infrared)
    density = _density(light)
    left = _shifted(_loss(infrared), stand.shift) - density @ np.asarray(stand.leak, dtype=np.float32)
    left -= _background(left)
    sigma = float(np.median(np.abs(left - np.median(left)))) * 1.4826 + 1e-6
    mask = _grown(left, max(_SEED_SIGMAS * sigma, _LEAST_LOSS), max(_GROW_SIGMAS * sigma, 0.5 * _LEAST_LOSS))
    through = np.where(mask, np.exp2(-np.maximum(left, 0.0)), 1.0).astype(np.float32)
    return DustFound(mask, through, stand.leak, stand.shift, sigma)


def _density(light: FloatImage) -> FloatImage:
    return np.asarray(-np.log2(np.maximum(light, 1e-5)), dtype=np.float32)


def _loss(infrared: FloatImage) -> FloatImage:
    floor = max(float(np.median(infrared)), 1e-6) * 1e-4
    return np.asarray(-np.log2(np.maximum(infrared, floor)), dtype=np.float32)


def mend(light: FloatImage, dust: DustFound) -> FloatImage:
    """The picture without what lies on the film.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        As given to `find_dust`.
    dust : DustFound
        What was found in it.

    Returns
    -------
    ndarray of shape (rows, columns, 3), float32
        Equal to `light` outside of `dust.mask`.
    """
    if not dust.mask.any():
        return light.copy()
    density = _density(light)
    if dust.fill:
        return np.where(dust.mask[..., None], np.exp2(-_filled(density, dust.mask)), light).astype(np.float32)
    lost = _matched_loss(density, dust)
    given = np.asarray(density - lost[..., None], dtype=np.float32)
    hole = dust.mask & ((lost > _MOST_GIVEN_BACK) | _rough(given, dust.mask))
    mended = _filled(given, hole) if hole.any() else given
    changed = dust.mask & (np.abs(mended - density).max(axis=-1) > _LEAST_CHANGE)
    return np.where(changed[..., None], np.exp2(-mended), light).astype(np.float32)


def _matched_loss(density: FloatImage, dust: DustFound) -> FloatImage:
    """What the picture lost, in powers of two: the infrared's loss, as soft and as strong as the picture shows it.

    The two are focused differently and dust is not equally dark in both, so softness and strength are chosen such that
    the picture given back is as smooth as can be (least total variation over the marked pixels).
    """
    import cv2

    grey = density.mean(axis=-1)
    best, least = -np.log2(dust.through), np.inf
    for sigma in _SOFTNESS_PX:
        soft = cv2.GaussianBlur(dust.through, (0, 0), sigma) if sigma else dust.through
        lost = -np.log2(np.maximum(soft, 1e-4))
        for strength in _STRENGTHS:
            rest = grey - strength * lost
            across = np.abs(np.diff(rest, axis=1))[dust.mask[:, 1:]]
            down = np.abs(np.diff(rest, axis=0))[dust.mask[1:]]
            variation = float(np.minimum(across, 1.0).mean() + np.minimum(down, 1.0).mean())
            if variation < least:
                best, least = strength * lost, variation
    return np.asarray(np.where(dust.mask, best, 0.0), dtype=np.float32)


def _rough(given: FloatImage, mask: Mask) -> Mask:
    """Marked pixels where the picture given back is much rougher than the picture around: there it is not believed."""
    import cv2

    second = np.abs(cv2.Laplacian(given.mean(axis=-1), cv2.CV_32F))
    clean = np.where(mask, 0.0, second).astype(np.float32)
    known = cv2.blur((~mask).astype(np.float32), (31, 31))
    usual = cv2.blur(clean, (31, 31)) / np.maximum(known, 0.05)
    rough = (second > _ROUGHER * usual + 0.05) & mask
    return np.asarray(cv2.dilate(rough.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0) & mask


def _shift_between(density: FloatImage, loss: FloatImage) -> tuple[tuple[float, float], float]:
    """By how much the infrared lies off the picture, from the fine dark things that both show, and how sure it is."""
    import cv2

    fine = [np.clip(one - cv2.GaussianBlur(one, (0, 0), 6.0), 0.0, 1.5).astype(np.float64) for one in (density, loss)]
    picture, infrared = (np.where(one > 4.0 * _spread(one), one, 0.0) for one in fine)
    if np.count_nonzero(infrared) < 20 or np.count_nonzero(picture) < 20:
        return (0.0, 0.0), 0.0
    window = cv2.createHanningWindow(picture.shape[::-1], cv2.CV_64F)
    (x, y), response = cv2.phaseCorrelate(infrared, picture, window)
    limit = 0.02 * max(picture.shape)
    if response < 0.05 or max(abs(x), abs(y)) > limit:
        return (0.0, 0.0), 0.0
    return (float(x), float(y)), float(response)


def _spread(values: NDArray[Any]) -> float:
    positive = values[values > 0]
    return float(np.median(positive)) * 1.4826 if positive.size else 0.0


def _shifted(image: FloatImage, shift: tuple[float, float]) -> FloatImage:
    import cv2

    if max(abs(shift[0]), abs(shift[1])) < 0.02:
        return image
    move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float64)
    size = (image.shape[1], image.shape[0])
    moved = cv2.warpAffine(image, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, dtype=np.float32)


def _dye_leak(density: FloatImage, loss: FloatImage) -> tuple[tuple[float, float, float], float]:
    """How much of each density the infrared shows, and what share of its variation that explains.

    A robust straight fit over smoothed samples: dust is left out by weight, slow unevenness of the light by a plane.
    """
    import cv2

    step = max(1, min(loss.shape) // 150)
    smooth = [cv2.medianBlur(np.ascontiguousarray(part), 5)[::step, ::step] for part in (*cv2.split(density), loss)]
    rows, columns = np.mgrid[0.0 : 1.0 : smooth[0].shape[0] * 1j, 0.0 : 1.0 : smooth[0].shape[1] * 1j]
    known = np.stack([*smooth[:3], np.ones_like(rows), rows, columns], axis=-1).reshape(-1, 6).astype(float)
    seen = smooth[3].reshape(-1).astype(float)
    weight = np.ones(len(seen))
    ridge = np.diag([1e-2, 1e-2, 1e-2, 0, 0, 0]) * len(seen)
    solved = np.zeros(6)
    for _ in range(8):
        solved = np.linalg.solve(known.T @ (known * weight[:, None]) + ridge, known.T @ (seen * weight))
        off = seen - known @ solved
        scale = 1.4826 * float(np.median(np.abs(off))) + 1e-6
        weight = 1.0 / (1.0 + (off / (2.0 * scale)) ** 2)
    leaked = known[:, :3] @ solved[:3]
    share = float(np.std(leaked) / max(float(np.median(np.std(known[:, :3], axis=0))), 1e-3))
    return (float(solved[0]), float(solved[1]), float(solved[2])), share if np.std(leaked) > 0.05 else 0.0


def _background(left: FloatImage) -> FloatImage:
    """The slow part of the infrared: medians of blocks, smoothed."""
    import cv2

    block = 24
    rows, columns = (max(1, -(-side // block)) for side in left.shape)
    padded = np.pad(left, ((0, rows * block - left.shape[0]), (0, columns * block - left.shape[1])), mode="edge")
    medians: FloatImage = np.median(padded.reshape(rows, block, columns, block), axis=(1, 3)).astype(np.float32)
    if min(medians.shape) >= 3:
        medians = np.asarray(cv2.medianBlur(medians, 3), dtype=np.float32)
    wide = cv2.resize(medians, (columns * block, rows * block), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide[: left.shape[0], : left.shape[1]], dtype=np.float32)


def _grown(left: FloatImage, seed: float, grow: float) -> Mask:
    """Pixels above `grow` that hang together with one above `seed`, and a rim of one pixel."""
    import cv2

    low = (left > grow).astype(np.uint8)
    count, labels = cv2.connectedComponents(low, connectivity=8)
    keep = np.zeros(count, bool)
    keep[np.unique(labels[(left > seed) & (low > 0)])] = True
    keep[0] = False
    grown = cv2.dilate(keep[labels].astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(grown > 0)


def _filled(density: FloatImage, hole: Mask) -> FloatImage:
    """Holes filled smoothly from around them, level and slope kept (the biharmonic equation), hole by hole."""
    import cv2
    from skimage.restoration import inpaint_biharmonic

    filled = density.copy()
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(hole.astype(np.uint8), connectivity=8)
    for index in range(1, count):
        x, y, w, h, area = (int(value) for value in boxes[index])
        pad = 6
        window = np.s_[max(y - pad, 0) : y + h + pad, max(x - pad, 0) : x + w + pad]
        here = hole[window]
        part = filled[window]
        if area > 4000:
            filled[window] = _diffused(part, here)
            continue
        low, high = part[~here].min(), part[~here].max()
        made = inpaint_biharmonic(part.astype(np.float64), here, channel_axis=-1)
        filled[window] = np.where((labels[window] == index)[..., None], np.clip(made, low, high), part)
    return filled


def _diffused(part: FloatImage, here: Mask) -> FloatImage:
    """Large holes by repeated smoothing: cheaper, and as good where nothing is known any more."""
    import cv2

    made: FloatImage = part.copy()
    made[here] = part[~here].mean(axis=0)
    for sigma in (16.0, 8.0, 4.0, 2.0, 1.0, 1.0, 1.0):
        for _ in range(8):
            made[here] = np.asarray(cv2.GaussianBlur(made, (0, 0), sigma), dtype=np.float32)[here]
    return made
