"""Pictures for the tests of this room: real ones from the shared data, and ones drawn to a known value."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

PHOTOGRAPHS = Path(__file__).parents[2] / ".." / "shared" / "data" / "film-photographs"


def photographs():
    """Paths of the real film photographs; skips with a message where they are not (never in CI)."""
    found = sorted(PHOTOGRAPHS.glob("photo-*.png"))
    if not found:
        message = "the shared film photographs are not beside the project (../shared/data/film-photographs)"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return found


def drawn(seed=0, *, width=360, height=240):
    """A colourful picture with structure of every size: noise summed over octaves."""
    rng = np.random.default_rng(seed)
    image = np.zeros((height, width, 3))
    for octave in (4, 8, 16, 32, 64):
        small = rng.uniform(0, 1, (octave, octave * width // height + 1, 3))
        layer = Image.fromarray((small * 255).astype(np.uint8)).resize((width, height), Image.Resampling.BICUBIC)
        image += np.asarray(layer, float) / octave**0.7
    image -= image.min()
    return (image / image.max() * 235 + 10).astype(np.uint8)


def write_jpeg(path, image, *, quality=92, **more):
    """Save an array as JPEG and return the path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(image).save(path, "JPEG", quality=quality, **more)
    return path
