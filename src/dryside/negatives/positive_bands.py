"""A frame of a capture as bands of finished rows: developed, straight, upright, in the order they are written."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.capture import Capture, LevelArray, bands
from dryside.negatives.codecs.tiff_strips import ROWS_PER_STRIP
from dryside.negatives.flat import Flat, widen_map
from dryside.negatives.frame_view import FrameView, steepness, window_of
from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.recipe import Recipe
from dryside.negatives.repairs import NOTHING, Repairs

# Pixels around a position that the resampler looks at: 3 before it, 4 after, and one for rounding.
REACH = 5
# Rows steeper than this go the slow way, pixel by pixel: values on so steep a line would be taken too far apart.
MOST_STEEP = 0.3


def positive_bands(
    capture: Capture, flat: Flat, recipe: Recipe, view: FrameView, repairs: Repairs = NOTHING
) -> Iterator[LevelArray]:
    """A frame's rows, from the top.

    Parameters
    ----------
    capture : Capture
        Open.
    flat : Flat
        Its bare light.
    recipe : Recipe
        The frame's.
    view : FrameView
        Where the frame lies.
    repairs : Repairs, optional
        Mended pixels that are laid over the capture first.

    Yields
    ------
    ndarray of shape (rows, view.columns, 3), uint16, C-contiguous
        `ROWS_PER_STRIP` rows, the last band what is left. A band is the caller's: it may be overwritten.
    """
    source = Source(capture, flat, recipe, repairs)
    make = _crop(source, view) if view.exact else _straighten(source, view)
    for start, stop in bands(view.rows, ROWS_PER_STRIP):
        first, end = (view.rows - stop, view.rows - start) if view.reverse_y else (start, stop)
        band = make(first, end)
        yield np.ascontiguousarray(band[::-1]) if view.reverse_y else band


def _crop(source: Source, view: FrameView) -> Callable[[int, int], LevelArray]:
    """Makes rows of a frame that lies on whole pixels."""
    top, left = view.exact or (0, 0)
    step = -1 if view.reverse_x else 1
    if view.turned:
        whole = _turned_window(source, (left, left + view.columns, top, top + view.rows))
        return lambda first, end: np.ascontiguousarray(whole[first:end, ::step])
    developed = DevelopedRows(source, left, left + view.columns)
    return lambda first, end: np.ascontiguousarray(developed.fresh(top + first, top + end)[:, ::step])


def _straighten(source: Source, view: FrameView) -> Callable[[int, int], LevelArray]:
    """Makes rows of a frame that has to be resampled."""
    low_y, high_y, low_x, high_x = window_of(view, 0, view.rows)
    left, right = math.floor(low_x) - REACH, math.ceil(high_x) + REACH
    top, bottom = math.floor(low_y) - REACH, math.ceil(high_y) + REACH
    rows: Callable[[int, int], LevelArray]
    if view.turned:
        whole = _turned_window(source, (left, right, top, bottom))
        rows = lambda start, stop: whole[start - top : stop - top]  # noqa: E731
    else:
        rows = DevelopedRows(source, left, right).rows
    straighten = _resampler(view)

    def make(first: int, end: int) -> LevelArray:
        out = np.empty((end - first, view.columns, 3), np.uint16)
        low, high, _, _ = window_of(view, first, end)
        start, stop = math.floor(low) - REACH, math.ceil(high) + REACH
        window = rows(start, stop)
        flat_out, flat_window = out.reshape(len(out), -1), window.reshape(len(window), -1)
        straighten(flat_window, start, left, view.matrix, first, view.reverse_x, flat_out)
        return out

    return make


def _resampler(view: FrameView) -> Callable[..., None]:
    from dryside.negatives.resample_kernel import straighten_rows, straighten_steep_rows

    return straighten_steep_rows if steepness(view) > MOST_STEEP else straighten_rows


def _turned_window(source: Source, window: tuple[int, int, int, int]) -> LevelArray:
    """A developed window (top, bottom, left, right of the capture) with rows and columns exchanged."""
    top, bottom, left, right = window
    developed = DevelopedRows(source, left, right)
    out = np.empty((right - left, bottom - top, 3), np.uint16)
    for start, stop in bands(bottom - top, ROWS_PER_STRIP):
        out[:, start:stop] = developed.fresh(top + start, top + stop).swapaxes(0, 1)
    return out


@dataclass(frozen=True, eq=False)
class Source:
    """What a frame's rows are developed from."""

    capture: Capture
    flat: Flat
    recipe: Recipe
    repairs: Repairs


class DevelopedRows:
    """Developed rows of a fixed range of columns, of which the last window is kept.

    Outside of the capture its outermost pixels are repeated.
    """

    def __init__(self, source: Source, left: int, right: int) -> None:
        flat, facts = source.flat, source.capture.facts
        self._capture, self._numbers, self._cell = source.capture, kernel_numbers(source.recipe), flat.cell
        self._repairs = source.repairs
        self._left, self._right = min(max(left, 0), facts.width - 1), max(min(right, facts.width), 1)
        self._beside = (self._left - min(left, self._left), max(right, self._right) - self._right)
        log2_light = widen_map(flat.log2_light, flat.cell, np.arange(self._left, self._right))
        log2_light += np.float32(np.log2(facts.levels_per_unit) - 16)
        self._light: NDArray[np.float32] = log2_light.reshape(len(log2_light), -1)
        self._top = 0
        self._held: LevelArray = np.empty((0, right - left, 3), np.uint16)

    def rows(self, top: int, bottom: int) -> LevelArray:
        """Rows `top` to `bottom` of the capture, shape (bottom - top, columns, 3), developed where not yet held."""
        low, high = max(top, self._top), min(bottom, self._top + len(self._held))
        if low >= high:
            out = self.fresh(top, bottom)
        else:
            parts = [self._held[low - self._top : high - self._top]]
            if top < low:
                parts.insert(0, self.fresh(top, low))
            if high < bottom:
                parts.append(self.fresh(high, bottom))
            out = np.concatenate(parts) if len(parts) > 1 else parts[0]
        self._top, self._held = top, out
        return out

    def fresh(self, top: int, bottom: int) -> LevelArray:
        """The same rows, developed now."""
        from dryside.negatives.kernel import develop_rows

        height = self._capture.facts.height
        first, stop = min(max(top, 0), height - 1), max(min(bottom, height), 1)
        pixels = self._capture.rows(first, stop, self._left, self._right)
        if len(self._repairs.rows):
            pixels = pixels.copy()  # the capture's own may be kept for other frames
            self._repairs.lay_over(pixels, first, self._left)
        out = np.empty_like(pixels)
        numbers = self._numbers
        develop_rows(
            pixels.reshape(len(pixels), -1),
            self._light,
            first,
            self._cell,
            out.reshape(len(out), -1),
            numbers.constants,
            numbers.shoulder,
            numbers.prints,
            numbers.table,
        )
        above = max(0, first - top)
        below = bottom - top - above - len(out)
        if above or below or any(self._beside):
            out = np.pad(out, ((above, below), self._beside, (0, 0)), mode="edge")
        return out
