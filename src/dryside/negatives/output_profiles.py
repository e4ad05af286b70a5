"""The ICC profile that goes with a rendering."""

from __future__ import annotations

from functools import cache

from dryside.negatives.codecs.icc_write import rgb_profile
from dryside.negatives.rendering import Rendering

# IEC 61966-2-1; SMPTE EG 432-1 with white D65 for Display P3; Adobe RGB (1998) Color Image Encoding, 2005-05.
_SRGB = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_PRIMARIES = {
    "linear sRGB": _SRGB,
    "sRGB": _SRGB,
    "Display P3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "Adobe RGB (1998)": ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
}


@cache
def icc_profile(space: str, transfer: str) -> bytes:
    """Profile of a space of `rendering.Rendering.space` with its encoding."""
    return rgb_profile(space, _PRIMARIES[space], transfer)


def profile_of(rendering: Rendering) -> bytes:
    """Profile of what a rendering writes."""
    return icc_profile(rendering.space, rendering.transfer)
