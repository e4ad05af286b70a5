"""Bare light: what the capture would have shown with no film in it, as a small smooth map.

It comes from a flat (the light table alone, captured the same way), or from what is seen of the light around the film.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.capture import FULL_LEVEL, Assume, CaptureFacts, read_capture, reduce_capture
from dryside.negatives.types import BoolArray, FilmRead, LightArray

FlatSource = Literal["flat", "around the film", "full scale"]

# A map sample covers this many pixels a side: fine enough for dust on the sensor, coarse enough to average noise away.
FLAT_CELL = 8
CLIPPED_LEVEL = 0.985
MOST_CLIPPED = 0.002
DARKEST_FLAT = 0.01
# Light tables fall off smoothly. Fine contrast (robust, log2, between cells) above this is a picture or film.
MOST_TEXTURE = 0.06
MOST_FALL_OFF = 4.0
FEWEST_LIGHT_SAMPLES = 40
HOLE_MIDDLE_MM = 0.5


@dataclass(frozen=True, eq=False)
class Flat:
    """Bare light over the capture.

    Attributes
    ----------
    log2_light : ndarray of shape (map rows, map columns, 3), float32
        log2 of linear light in the file's unit; sample (i, j) is the mean of `cell` x `cell`
        pixels from (cell i, cell j).
    cell : int
        Pixels a side of a sample.
    size : (rows, columns)
        Of the capture.
    source : {'flat', 'around the film', 'full scale'}
        Where it comes from; the last means that no bare light was seen.
    warnings : tuple of str
        One sentence each.
    """

    log2_light: NDArray[np.float32]
    cell: int
    size: tuple[int, int]
    source: FlatSource
    warnings: tuple[str, ...] = ()

    @property
    def digest(self) -> str:
        """A checksum of the map, the same for the same light."""
        return hashlib.sha256(np.ascontiguousarray(self.log2_light).tobytes()).hexdigest()

    def rows(self, start: int, stop: int, left: int = 0, right: int | None = None) -> NDArray[np.float32]:
        """Bare light itself, for a window of the capture: shape (stop - start, right - left, 3), float32."""
        right = self.size[1] if right is None else right
        return np.exp2(sample_map(self.log2_light, self.cell, np.arange(start, stop), np.arange(left, right)))

    def reduced(self, factor: int) -> LightArray:
        """Bare light of the capture reduced by `factor` (as by `reduce_capture`)."""
        rows = (np.arange(-(-self.size[0] // factor)) + 0.5) * factor - 0.5
        columns = (np.arange(-(-self.size[1] // factor)) + 0.5) * factor - 0.5
        return np.exp2(sample_map(self.log2_light, self.cell, rows, columns))


def sample_map(
    log2_light: NDArray[np.float32], cell: int, rows: NDArray[Any], columns: NDArray[Any]
) -> NDArray[np.float32]:
    """The map at pixel rows and columns, bilinear between the cells' centres, level beyond the outermost."""
    y0, fy = _between(rows, cell, log2_light.shape[0])
    y1 = np.minimum(y0 + 1, log2_light.shape[0] - 1)
    down = log2_light[y0] + (log2_light[y1] - log2_light[y0]) * fy[:, None, None]
    return widen_map(down, cell, columns)


def widen_map(log2_light: NDArray[np.float32], cell: int, columns: NDArray[Any]) -> NDArray[np.float32]:
    """The map at pixel columns, its rows as they are: shape (map rows, columns, 3)."""
    x0, fx = _between(columns, cell, log2_light.shape[1])
    x1 = np.minimum(x0 + 1, log2_light.shape[1] - 1)
    left = log2_light[:, x0]
    return np.asarray(left + (log2_light[:, x1] - left) * fx[None, :, None], np.float32)


def _between(pixels: NDArray[Any], cell: int, count: int) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    """Lower map index and the fraction to the next one."""
    place = np.clip((np.asarray(pixels, float) + 0.5) / cell - 0.5, 0.0, count - 1.0)
    low = np.minimum(place.astype(np.intp), max(count - 2, 0))
    return low, np.asarray(place - low, np.float32)


def read_flat(path: Path, *, assume: Assume = "auto") -> Flat:
    """Bare light from a capture of the light table alone.

    Raises
    ------
    Refusal
        If the file cannot be read, is clipped, too dark, or shows a picture or film.
    """
    with read_capture(path, assume=assume) as capture:
        facts = capture.facts
        light = reduce_capture(capture, FLAT_CELL)
    check_flat(light * np.float32(facts.levels_per_unit / FULL_LEVEL), str(path))
    log2_light = np.log2(np.maximum(light, 1 / facts.levels_per_unit))
    return Flat(_smooth(log2_light), FLAT_CELL, (facts.height, facts.width), "flat")


def check_flat(light: LightArray, name: str) -> None:
    """Refuse a flat (linear light, reduced) that is clipped, too dark, or no even light."""
    clipped = float((light >= CLIPPED_LEVEL).mean())
    if clipped > MOST_CLIPPED:
        found = f"the flat is clipped over {clipped:.1%} of its samples"
        raise Refusal(name, found, "Capture the bare light with a shorter exposure, and the film with the same.")
    darkest = float(np.percentile(light, 1))
    if darkest < DARKEST_FLAT:
        found = f"the flat falls to {darkest:.2%} of full scale; {DARKEST_FLAT:.0%} is the least"
        raise Refusal(name, found, "Capture the light table alone, evenly lit, over the whole picture.")
    log2_light = np.log2(np.maximum(light, 1e-6))
    fall_off = float(np.ptp(np.percentile(log2_light, (1, 99), axis=(0, 1)), axis=0).max())
    texture = _texture(log2_light)
    if texture > MOST_TEXTURE or fall_off > MOST_FALL_OFF:
        found = f"no even light: it changes by {texture:.2f} stops from place to place and by {fall_off:.1f} over all"
        raise Refusal(name, found, "Name a capture of the light table with no film on it.")


def check_flat_belongs(flat: Flat, facts: CaptureFacts, name: str) -> None:
    """Refuse a flat of another size than the capture's."""
    if flat.size != (facts.height, facts.width):
        found = (
            f"the flat is {flat.size[1]} x {flat.size[0]} pixels, the capture {facts.path.name} "
            f"{facts.width} x {facts.height}"
        )
        raise Refusal(name, found, "Name the flat of this session, captured with the same camera and settings.")


def _texture(log2_light: NDArray[np.float32]) -> float:
    """Stops between neighbouring cells after the slope is taken off, at the 98th percentile, least noisy channel."""
    dy = np.abs(np.diff(log2_light, 2, axis=0)) / 2
    dx = np.abs(np.diff(log2_light, 2, axis=1)) / 2
    if not dy.size or not dx.size:
        return 0.0
    worst = np.maximum(np.percentile(dy, 98, axis=(0, 1)), np.percentile(dx, 98, axis=(0, 1)))
    return float(worst.min())


def _smooth(log2_light: NDArray[np.float32]) -> NDArray[np.float32]:
    """A light blur: cells keep a dust spot's shadow and lose what is left of the noise."""
    import cv2

    return np.asarray(cv2.GaussianBlur(log2_light, (0, 0), 0.8, borderType=cv2.BORDER_REPLICATE), np.float32)


def light_around_film(light: LightArray, film: FilmRead, *, factor: int, size: tuple[int, int]) -> Flat:
    """Bare light where no flat is given: the middle of what is seen of the light around the film.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        The capture, linear, in [0, 1], reduced by `factor`.
    film : FilmRead
        Strips that were found in it.
    factor : int
        Reduction of `light`.
    size : (rows, columns)
        Of the full capture.

    Returns
    -------
    Flat
        With the source 'full scale' and a warning where too little bare light is seen.
    """
    outside = ~_film_mask(light.shape[:2], film, factor)
    level = np.minimum(np.minimum(light[..., 0], light[..., 1]), light[..., 2])
    bright = outside & (level > 0.5 * np.percentile(level[outside], 95) if outside.any() else outside)
    if int(bright.sum()) < FEWEST_LIGHT_SAMPLES:
        return full_scale_light(size)
    clipped = float((light[bright].max(axis=1) >= CLIPPED_LEVEL).mean())
    warnings: tuple[str, ...] = ()
    if clipped > 0.25:
        warnings = (
            f"The light around the film is clipped ({clipped:.0%} of it): base densities are too low. Use a flat.",
        )
    # One colour for the whole: a slope seen at the border alone would be a guess.
    middle = np.log2(np.maximum(np.median(light[bright], axis=0), 1 / FULL_LEVEL))
    return Flat(middle.astype(np.float32).reshape(1, 1, 3), max(size), size, "around the film", warnings)


def full_scale_light(size: tuple[int, int]) -> Flat:
    """What stands for bare light where none is seen in a capture of `size` (rows, columns)."""
    warning = "No bare light is seen around the film: densities are counted from full scale. Use a flat."
    return Flat(np.zeros((1, 1, 3), np.float32), max(size), size, "full scale", (warning,))


def _film_mask(shape: tuple[int, int], film: FilmRead, factor: int) -> BoolArray:
    """Where film lies, with a margin of 2 % of its width and without the middles of its perforations."""
    import cv2

    mask = np.zeros(shape, np.uint8)
    for read in film.strips:
        strip = read.strip
        margin = 0.02 * strip.width_mm
        x = np.linspace(strip.x_from_mm - margin, strip.x_to_mm + margin, 33)
        upper = np.stack([x, np.full_like(x, -margin)], axis=-1)
        lower = np.stack([x[::-1], np.full_like(x, strip.width_mm + margin)], axis=-1)
        outline = strip.plane.capture(np.concatenate([upper, lower])) / factor
        cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    for read in film.strips:
        # Perforations let bare light through; their middles are well away from their edges.
        radius = HOLE_MIDDLE_MM * read.strip.pixels_per_mm / factor
        for hole in read.strip.holes if radius >= 1 else ():
            centre = (round(hole.x / factor - 0.5), round(hole.y / factor - 0.5))
            cv2.circle(mask, centre, int(radius), 0, cv2.FILLED)
    return mask.astype(bool)


def transmittance(light: LightArray, flat: Flat, factor: int) -> LightArray:
    """Light over bare light, of a capture reduced by `factor`."""
    if flat.log2_light.shape[:2] == (1, 1):
        return np.asarray(light / np.exp2(flat.log2_light[0, 0]), np.float32)
    return np.asarray(light / flat.reduced(factor), np.float32)
