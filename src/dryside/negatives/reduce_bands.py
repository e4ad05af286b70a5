"""A picture made smaller while it passes by in bands: every output pixel is the mean of the area that it covers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.capture import LevelArray
from dryside.negatives.codecs.tiff_strips import ROWS_PER_STRIP


def reduced_size(size: tuple[int, int], longest: int) -> tuple[int, int]:
    """(rows, columns) with the long side at most `longest`; the same where it is 0 or not smaller."""
    if not 0 < longest < max(size):
        return size
    factor = longest / max(size)
    return max(1, round(size[0] * factor)), max(1, round(size[1] * factor))


def reduce_bands(bands: Iterable[LevelArray], size: tuple[int, int], to: tuple[int, int]) -> Iterator[LevelArray]:
    """Bands of `ROWS_PER_STRIP` rows of the reduced picture.

    Parameters
    ----------
    bands : iterable of ndarray of shape (rows, columns, 3), uint16
        The whole picture from its top.
    size, to : (rows, columns)
        Of the picture, and of what it becomes, neither side larger.
    """
    import cv2

    ratio = size[0] / to[0]
    waiting = np.zeros((0, to[1], 3), np.float32)
    first = 0  # the picture's row that waiting[0] is
    done = 0
    ready: list[NDArray[np.float32]] = []
    for band in bands:
        across = cv2.resize(band.astype(np.float32), (to[1], len(band)), interpolation=cv2.INTER_AREA)
        waiting = np.concatenate([waiting, across.reshape(len(band), to[1], 3)])
        while done < to[0] and (done + 1) * ratio <= first + len(waiting) + 1e-9:
            ready.append(_mean_rows(waiting, done * ratio - first, (done + 1) * ratio - first))
            done += 1
            if len(ready) == ROWS_PER_STRIP:
                yield _levels(ready)
                ready = []
        spent = max(0, min(len(waiting), int(done * ratio) - first))
        waiting, first = waiting[spent:], first + spent
    if ready:
        yield _levels(ready)


def _mean_rows(rows: NDArray[np.float32], start: float, stop: float) -> NDArray[np.float32]:
    """Mean of the rows from `start` to `stop`, the outermost by the part that lies inside."""
    low, high = int(start), min(int(np.ceil(stop)), len(rows))
    weights = np.ones(high - low, np.float32)
    weights[0] -= start - low
    weights[-1] -= max(0.0, high - stop)
    return np.asarray(np.tensordot(weights / weights.sum(), rows[low:high], axes=1), np.float32)


def _levels(rows: list[NDArray[np.float32]]) -> LevelArray:
    return np.asarray(np.rint(np.stack(rows)), np.uint16)
