"""The compiled loops made ready beside other work: loaded from disk, or compiled on a first run."""

from __future__ import annotations

import threading

import numpy as np

from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.recipe import IDENTITY, Recipe
from dryside.negatives.rendering import Rendering


def warm_up(rendering: Rendering) -> threading.Thread:
    """Begin to make the per-pixel pass and the resampler ready; the thread need not be waited for.

    Whoever needs one of them before it is ready waits for it by the compiler's own lock.

    Parameters
    ----------
    rendering : Rendering
        What will be made: the pass is compiled for this kind of positive only.
    """
    thread = threading.Thread(target=_make_ready, args=(rendering,), name="dryside-warm-up", daemon=True)
    thread.start()
    return thread


def _make_ready(rendering: Rendering) -> None:
    """Call both once with the types that they are used with."""
    from dryside.negatives.kernel import develop_rows
    from dryside.negatives.resample_kernel import straighten_rows

    numbers = kernel_numbers(Recipe(IDENTITY, (0.0, 0.0, 0.0), rendering=rendering))
    pixels = np.ones((1, 3), np.uint16)
    develop_rows(
        *(pixels, np.zeros((1, 3), np.float32), 0, 8, np.empty_like(pixels)),
        *(numbers.constants, numbers.shoulder, numbers.prints, numbers.table),
    )
    window = np.ones((16, 48), np.uint16)
    straighten_rows(window, 0, 0, np.eye(3), 0, False, np.empty((1, 24), np.uint16))
