"""What speaks for frames on film laid flat: density above the film base beside it, and edges that run right across.

A frame is told from the film around it by two things: light has darkened it (lightened it, on slides) against the base
beside the perforations, and at its sides the density steps in one sense along the whole side. Both are taken relative
to the film's own base near by and to its own noise, so that unevenness, fog, base colour and contrast drop out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import film_format
from dryside.film.perforations import EDGE_TO_HOLE_MM, HOLE_ACROSS_MM, HOLE_CENTRE_FROM_EDGE_MM
from dryside.negatives.film_view import FilmView
from dryside.negatives.types import FloatArray, Strip

Floats = NDArray[np.floating[Any]]

# A step or a density below this is taken as nothing, whatever the noise: 0.02 is 5 % of light.
_LEAST_DENSITY = 0.025
_DARKEST = 1e-4
_RIM_MM = 0.6
_CUT_MM = 0.9
FAINT, FAINT_ACROSS = 0.5, 0.7
"""What a faint step is worth beside others along a strip: anything that is surely seen goes before it."""
_ROWS_OF_A_COLUMN = 150
_LINES_OF_A_MEDIAN = 400
_STRONGEST = 12.0
_NEAR_MM = 1.5
_FAINT_SURE = 30.0  # usual changes that make a faint step worth 1


@dataclass(frozen=True, eq=False)
class Evidence:
    """Density above base on a grid over the film.

    Attributes
    ----------
    above : ndarray of shape (rows, columns), float32
        Density above (on slides: below) the local base, in units of what is surely something; NaN outside the capture.
    shine : ndarray of shape (rows, columns), float32
        Linear light, each channel against its base: only light itself tells what is half way between two levels.
    x_mm, y_mm : ndarray
        Middles of the grid's columns and rows.
    step_mm : float
        Of the grid.
    hole_columns : ndarray of shape (columns,), bool
        Columns that run through a perforation.
    trust : ndarray of shape (columns,)
        In [0, 1]: low where light has leaked in.
    base : ndarray of shape (3,)
        Light through the film base, median.
    """

    above: NDArray[np.float32]
    shine: NDArray[np.float32]
    x_mm: FloatArray
    y_mm: FloatArray
    step_mm: float
    hole_columns: NDArray[np.bool_]
    trust: FloatArray
    base: Floats

    def rows(self, y0: float, y1: float) -> slice:
        """The rows whose middles lie between two film y."""
        first, last = np.searchsorted(self.y_mm, [y0, y1])
        return slice(int(first), int(max(last, first)))

    def columns(self, x0: float, x1: float) -> slice:
        """The columns whose middles lie between two film x."""
        first, last = np.searchsorted(self.x_mm, [x0, x1])
        return slice(int(first), int(max(last, first)))


def gather(view: FilmView, strip: Strip) -> Evidence:
    """Evidence on a strip that was laid flat with its whole width."""
    density = -np.log10(np.maximum(view.light, _DARKEST * float(view.light.max())))
    if strip.holes:
        level, noise, trust = _base_level(view, _base_patches(view, density, strip))
    else:
        level, noise, trust = _base_by_columns(view, density, strip)
    weight = 1 / noise**2
    weight /= weight.sum()
    above = (density - level) @ weight.astype(np.float32)
    if not strip.clear_is_light:
        above = -above
    unit = max(_LEAST_DENSITY, 2.5 * float(np.sqrt(1 / (1 / noise**2).sum())))
    above = (above / np.float32(unit)).astype(np.float32)
    above[~view.inside] = np.nan
    x = view.x_mm
    # At a cut the film itself ends; that is no frame's side.
    for end, seen in zip((strip.x_from_mm, strip.x_to_mm), strip.ends_seen, strict=True):
        if seen:
            trust = np.where(np.abs(x - end) < _CUT_MM, 0.0, trust)
    away = np.abs((x / strip.pitch_mm + 0.5) % 1 - 0.5) * strip.pitch_mm
    holes = away < 1.3 if strip.holes else np.zeros(len(x), bool)
    base = 10.0 ** -np.median(level.reshape(-1, 3), axis=0)
    shine = np.asarray(view.light @ (weight / base).astype(np.float32))
    return Evidence(above, shine, x, view.y_mm, 1 / view.pixels_per_mm, holes, trust, base)


@dataclass(frozen=True, eq=False)
class _Patches:
    """Density between neighbouring holes and its noise, both (row, site, 3); which were seen; where the sites are."""

    density: Floats
    noise: Floats
    seen: NDArray[np.bool_]
    x_mm: Floats


def _base_patches(view: FilmView, density: Floats, strip: Strip) -> _Patches:
    first = int(np.floor(view.x_mm[0] / strip.pitch_mm - 0.5))
    last = int(np.ceil(view.x_mm[-1] / strip.pitch_mm - 0.5))
    sites = (np.arange(first, last + 1) + 0.5) * strip.pitch_mm
    medians, noises, seen = [], [], []
    for centre in (HOLE_CENTRE_FROM_EDGE_MM, strip.width_mm - HOLE_CENTRE_FROM_EDGE_MM):
        rows = view.rows(centre - 1.1, centre + 1.1)
        for x in sites:
            columns = view.columns(x - 0.9, x + 0.9)
            part = density[rows, columns].reshape(-1, 3)
            inside = view.inside[rows, columns]
            good = inside.size > 0 and bool(inside.all()) and strip.x_from_mm <= x <= strip.x_to_mm
            seen.append(good)
            low, middle, high = np.percentile(part if good else np.zeros((1, 3), np.float32), [15, 50, 85], axis=0)
            medians.append(middle)
            noises.append((high - low) / 2.07)
    shape = (2, len(sites), 3)
    return _Patches(np.reshape(medians, shape), np.reshape(noises, shape), np.reshape(seen, shape[:2]), sites)


def _base_level(view: FilmView, patches: _Patches) -> tuple[Floats, Floats, FloatArray]:
    """Base density of every pixel, from both rows of patches; its noise per channel; how far to trust each column.

    Where the base itself changes fast (light leaked in) or is dense, edges and pictures are not told from the leak.
    """
    noise = (
        np.maximum(np.median(patches.noise[patches.seen], axis=0), 0.004) if patches.seen.any() else np.full(3, 0.02)
    )
    lines, trust = [], np.ones(len(view.x_mm))
    for row in range(2):
        good = patches.seen[row]
        if good.sum() >= 2:
            smooth = _running_median(patches.density[row][good], 3)
            at = patches.x_mm[good]
            lines.append(np.stack([np.interp(view.x_mm, at, smooth[:, c]) for c in range(3)], axis=-1))
            mean = smooth.mean(axis=1)
            change = np.abs(np.diff(mean, append=mean[-1:])) + np.abs(np.diff(mean, prepend=mean[:1]))
            odd = np.maximum(change, 0.6 * np.abs(mean - np.median(mean)))
            trust = np.minimum(trust, np.interp(view.x_mm, at, 1 / (1 + (odd / 0.15) ** 2)))
    if not lines:
        raise ValueError("strip has no place beside its holes where film base is seen")
    upper, lower = lines[0], lines[-1]
    part = np.clip((view.y_mm - 3.4) / max(float(view.y_mm[-1]) - 6.8, 1.0), 0, 1)[:, None, None]
    return (upper[None] * (1 - part) + lower[None] * part).astype(np.float32), noise, trust


def _base_by_columns(view: FilmView, density: Floats, strip: Strip) -> tuple[Floats, Floats, FloatArray]:
    """The same where there are no holes: every column shows some film beside the frame, and nothing is clearer."""
    # Bare light in holes that were not told as such is no film base.
    rim = EDGE_TO_HOLE_MM + HOLE_ACROSS_MM if film_format(strip.format).is_perforated else _RIM_MM
    rows = view.rows(rim, strip.width_mm - rim)
    part = np.where(view.inside[rows][..., None], density[rows], np.nan)
    usable = (~np.isnan(part[..., 0])).mean(axis=0) > 0.3
    share = 4 if strip.clear_is_light else 96
    at = view.x_mm[usable]
    if len(at) < 2:
        raise ValueError("strip has no column in which film is seen")
    level = _percentile_of_columns(part[:: max(1, len(part) // _ROWS_OF_A_COLUMN), usable], share)
    width = min(2 * int(4 / (view.x_mm[1] - view.x_mm[0])) + 1, 2 * (len(level) // 2) - 1)
    smooth = _running_median(level, max(1, width))
    line = np.stack([np.interp(view.x_mm, at, smooth[:, c]) for c in range(3)], axis=-1)
    grain = np.diff(density[rows][:, usable], axis=1)
    noise = np.maximum(1.05 * np.median(np.abs(grain), axis=(0, 1)), 0.004)
    return np.broadcast_to(line[None], density.shape).astype(np.float32), noise, np.ones(len(view.x_mm))


def _percentile_of_columns(values: Floats, share: float) -> Floats:
    """`numpy.nanpercentile` over the first axis, to the nearest value: many times faster."""
    count = (~np.isnan(values)).sum(axis=0)
    place = np.clip(np.rint((count - 1) * share / 100).astype(np.int64), 0, len(values) - 1)
    return np.asarray(np.take_along_axis(np.sort(values, axis=0), place[None], axis=0)[0])


def _running_median(values: Floats, width: int) -> Floats:
    half = width // 2
    padded = np.concatenate([values[:1].repeat(half, 0), values, values[-1:].repeat(half, 0)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, width, axis=0)
    return np.asarray(np.median(windows, axis=-1))


def steps_along(evidence: Evidence, rows: slice, reach_mm: float) -> FloatArray:
    """At each edge between columns: on how much of the side density steps up (towards 1) or down (towards -1)."""
    difference = steps_of_rows(evidence.above[rows], max(1, round(reach_mm / evidence.step_mm)))
    trust = np.append(evidence.trust, evidence.trust[-1:])
    return sharpened(agreement(difference), difference, evidence.step_mm) * np.minimum(trust, np.roll(trust, 1))


def steps_across(evidence: Evidence, columns: slice, reach_mm: float = 0.35) -> FloatArray:
    """The same at each edge between rows, from the upper film edge down, over the columns between the holes."""
    part = evidence.above[:, columns][:, ~evidence.hole_columns[columns]]
    if part.shape[1] == 0:
        return np.zeros(len(evidence.y_mm) + 1)
    reach = max(1, round(reach_mm / evidence.step_mm))
    difference = steps_of_rows(part.T, reach)
    agreed = sharpened(agreement(difference), difference, evidence.step_mm)
    return (
        agreed if evidence.hole_columns.any() else stronger(agreed, FAINT_ACROSS * faint_steps(part.T, max(2, reach)))
    )


def steps_of_rows(rows: Floats, reach: int) -> Floats:
    """Mean of the `reach` pixels after each pixel edge less that of those before; edge k lies before pixel k."""
    filled = np.where(np.isnan(rows), 0, rows)
    total = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(filled, axis=1, dtype=np.float64)], axis=1)
    size = rows.shape[1]
    edges = np.arange(size + 1)
    after = (total[:, np.minimum(edges + reach, size)] - total) / reach
    before = (total - total[:, np.maximum(edges - reach, 0)]) / reach
    step = after - before
    unseen = np.isnan(rows)
    count = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(unseen, axis=1)], axis=1)
    blind = (count[:, np.minimum(edges + reach, size)] - count[:, np.maximum(edges - reach, 0)]) > 0
    step[blind] = 0
    step[:, :reach] = 0
    step[:, size + 1 - reach :] = 0
    return np.asarray(step)


def agreement(steps: Floats) -> FloatArray:
    """Mean over lines of their steps, each counted by its sign as far as it stands out.

    Half of the weight asks for a step that is surely something, half only for one that stands out of the grain: a faint
    step along a whole side counts more than a strong one along a part of it.
    """
    some = steps[:: max(1, len(steps) // 120)]
    spread = 1.48 * np.median(np.abs(some - np.median(some, axis=0)), axis=0)
    grain = max(float(np.percentile(spread, 20)), 0.1)
    return np.asarray((np.clip(steps, -1, 1).mean(axis=0) + np.clip(steps / (2 * grain), -1, 1).mean(axis=0)) / 2)


def sharpened(agreed: FloatArray, steps: Floats, step_mm: float) -> FloatArray:
    """Agreement, a quarter of it only where the step is as large as any near by.

    Beside the soft edge of a smooth picture all lines agree on a slope; its steepest place is the edge.
    """
    from scipy.ndimage import maximum_filter1d

    strength = np.clip(steps, -_STRONGEST, _STRONGEST).mean(axis=0)
    strength = np.maximum(strength * np.sign(agreed), 0)
    near = maximum_filter1d(strength, 2 * max(1, round(_NEAR_MM / step_mm)) + 1)
    return np.asarray(agreed * (0.75 + 0.25 * strength / np.maximum(near, 1e-9)))


def faint_steps(rows: Floats, reach: int, *, near: bool = False) -> FloatArray:
    """Steps of the lines' median, against how much that median changes elsewhere; in [-0.6, 0.6].

    A frame that hardly any light reached is told from the film around it by a hundredth of density that steps along its
    whole side, where nothing else does; in a picture everything changes, and nothing is left of this. What is usual is
    told over the whole line, or `near` by.
    """
    from scipy.ndimage import median_filter

    seen = ~np.isnan(rows).any(axis=0) if rows.size else np.zeros(rows.shape[1], bool)
    if seen.sum() < 8 * reach:
        return np.zeros(rows.shape[1] + 1)
    line = np.where(seen, np.median(rows[:: max(1, len(rows) // _LINES_OF_A_MEDIAN)], axis=0), np.nan)
    steps = steps_of_rows(line[None], reach)[0]
    steps -= median_filter(steps, size=min(8 * reach, len(steps) // 2) | 1, mode="nearest")
    change = np.abs(steps)
    usual: Any = max(1.48 * float(np.median(change[:-1][seen])), 1e-6)
    if near:  # beside a frame full of detail another may be empty
        least = max(float(np.percentile(change[:-1][seen], 5)), 1e-6)
        size = min(60 * reach, len(steps) // 2) | 1
        usual = 1.48 * np.maximum(median_filter(change, size=size, mode="nearest"), least)
    return np.asarray(np.clip(steps / usual / _FAINT_SURE, -0.6, 0.6))


def stronger(one: FloatArray, other: FloatArray) -> FloatArray:
    """Of two kinds of evidence the larger, place by place."""
    return np.where(np.abs(one) >= np.abs(other), one, other)


def crossing(shine: Floats, rough: float, origin: float, step: float, *, reach_mm: float = 0.5) -> float | None:
    """Where the mean of many lines of light crosses half way between its levels on both sides of a rough edge.

    Parameters
    ----------
    shine : ndarray of shape (lines, n)
        Linear light along lines that cross the edge.
    rough : float
        About where, in mm.
    origin, step : float
        Middle of the first sample and distance of samples, in mm.
    reach_mm : float, optional
        How far to either side the levels are taken.

    Returns
    -------
    float or None
        In mm; None where the two levels cannot be told apart.
    """
    profile = shine.mean(axis=0)
    place = (rough - origin) / step
    reach = reach_mm / step
    at = np.arange(len(profile))
    before = profile[(at >= place - reach) & (at <= place - 0.5 * reach)]
    after = profile[(at >= place + 0.5 * reach) & (at <= place + reach)]
    if not len(before) or not len(after):
        return None
    low, high = float(before.mean()), float(after.mean())
    if abs(high - low) < 0.01 * max(abs(low), abs(high)):
        return None
    near = np.flatnonzero(np.abs(at - place) <= 0.8 * reach)
    part = (profile[near] - low) / (high - low)
    steps = np.flatnonzero((part[:-1] < 0.5) & (part[1:] >= 0.5))
    if not len(steps):
        return None
    k = int(steps[np.argmin(np.abs(near[steps] + 0.5 - place))])
    exact = near[k] + (0.5 - part[k]) / (part[k + 1] - part[k])
    return float(origin + exact * step)
