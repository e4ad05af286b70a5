"""The ICC profile that goes with a rendering."""

from __future__ import annotations

from functools import cache

from dryside.negatives.codecs.icc_write import rgb_profile
from dryside.negatives.rendering import Rendering
from dryside.negatives.spaces import SPACES


@cache
def icc_profile(space: str, transfer: str) -> bytes:
    """Profile of a space of `spaces.SPACES` with an encoding of `rendering.encode`."""
    primaries = SPACES[space]
    return rgb_profile(space, (primaries.red, primaries.green, primaries.blue), transfer)


def profile_of(rendering: Rendering) -> bytes:
    """Profile of what a rendering writes."""
    return icc_profile(rendering.space, rendering.transfer)
