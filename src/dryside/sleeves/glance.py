"""A picture at a glance: a grid of light and dark, to choose from thousands of pictures the few worth comparing."""

from __future__ import annotations

import io
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

from dryside.book.files import put_file

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

GRID = 24
_SHIFTS = (-2, -1, 0, 1, 2)
log = logging.getLogger(__name__)


@dataclass(frozen=True, eq=False)
class Glance:
    """A grid of shape (24, 24), float32: lightness with its mean taken off, of length 1; zeros for an even picture."""

    grid: Floats


def glance_at(picture: NDArray[Any]) -> Glance:
    """Take in an 8-bit RGB picture of shape (rows, columns, 3)."""
    import cv2
    import numpy as np

    grey = cv2.cvtColor(cv2.resize(picture, (4 * GRID, 4 * GRID), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    # Evened, since a lab's print and a positive made here differ in tone far more than in what is where.
    evened = cv2.equalizeHist(grey)
    small = cv2.resize(evened, (GRID, GRID), interpolation=cv2.INTER_AREA).astype(np.float32)
    small -= small.mean()
    length = float(np.linalg.norm(small))
    return Glance(np.asarray(small / length if length > GRID else np.zeros_like(small), np.float32))


class GlanceCache:
    """Glances that were taken before, in one file beside the book's database; it can be thrown away.

    A picture is known by its path, size and time of change, so that one that was made anew is looked at anew.

    Parameters
    ----------
    path : Path
        The file; read if it is there and whole.
    """

    def __init__(self, path: Path) -> None:
        import numpy as np

        self._path = path
        self._known: dict[str, Floats] = {}
        self._changed = False
        try:
            with np.load(path, allow_pickle=False) as kept:
                self._known = dict(zip(kept["names"].tolist(), kept["grids"].astype(np.float32), strict=True))
        except (OSError, ValueError, KeyError, EOFError, BadZipFile):
            log.info("no glances kept in %s yet", path)

    def get(self, picture: Path, take: Callable[[Path], Glance | None]) -> Glance | None:
        """The glance at a picture, taken now by `take` if it is not known; None where `take` has none."""
        import numpy as np

        try:
            facts = picture.stat()
        except OSError:
            return None
        name = f"{picture}|{facts.st_size}|{facts.st_mtime_ns}"
        if name not in self._known:
            glance = take(picture)
            if glance is None:
                return None
            self._known[name] = glance.grid
            self._changed = True
        grid = self._known[name]
        length = float(np.linalg.norm(grid))
        return Glance(grid / length if length else grid)

    def save(self) -> None:
        """Keep what was taken, whole or not at all."""
        import numpy as np

        if not self._changed:
            return
        out = io.BytesIO()
        grids = np.stack(list(self._known.values())).astype(np.float16)
        np.savez(out, names=np.array(list(self._known), dtype=np.str_), grids=grids)
        put_file(self._path.parent, self._path.name, out.getvalue())
        self._changed = False


def likeliest(own: Glance, others: Sequence[Glance], *, most: int) -> list[int]:
    """Places of the pictures most like `own`, the likest first: as it is, turned round, or mirrored, shifted a little.

    Parameters
    ----------
    own : Glance
        What is looked for.
    others : sequence of Glance
        Where.
    most : int
        How many to give at most.
    """
    import numpy as np

    if not others:
        return []
    stack = np.stack([other.grid.ravel() for other in others])
    best = np.full(len(others), -1.0, np.float32)
    for grid in (own.grid, own.grid[::-1, ::-1], own.grid[:, ::-1], own.grid[::-1]):
        for down in _SHIFTS:
            for right in _SHIFTS:
                moved = np.roll(grid, (down, right), (0, 1)).ravel()
                best = np.maximum(best, stack @ moved)
    return [int(place) for place in np.argsort(-best, kind="stable")[:most]]
