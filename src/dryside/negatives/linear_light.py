"""From a file's samples to 16-bit levels proportional to light."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.codecs.icc_curves import CurveProfile, is_linear, read_curves
from dryside.negatives.codecs.open_picture import OpenedPicture

Encoding = Literal["linear", "srgb", "profile"]
Linearise = Callable[[NDArray[Any]], NDArray[np.uint16]]
FULL_LEVEL = 65535


def srgb_to_linear(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light in [0, 1] of sRGB samples in [0, 1] (IEC 61966-2-1)."""
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def choose_encoding(picture: OpenedPicture, assume: str) -> tuple[Encoding, CurveProfile | None]:
    """How a picture is encoded: its profile rules, then what was told, then its depth.

    Raises
    ------
    Refusal
        If the profile cannot be read, or holds colour tables instead of curves.
    """
    if picture.linear:
        return "linear", None
    if picture.profile:
        levels = 256 if picture.dtype == np.uint8 else FULL_LEVEL + 1
        remedy = "Export it with a plain RGB profile, or none."
        try:
            curves = read_curves(picture.profile, levels=levels)
        except ValueError as error:
            raise Refusal(str(picture.path), str(error), remedy) from error
        if curves is None:
            raise Refusal(str(picture.path), "its colour profile holds tables instead of curves", remedy)
        return ("linear", None) if is_linear(curves) else ("profile", curves)
    if assume == "auto":
        return ("srgb" if picture.dtype == np.uint8 else "linear"), None
    return ("srgb" if assume == "srgb" else "linear"), None


def lineariser(dtype: np.dtype[Any], encoding: Encoding, curves: CurveProfile | None, scale: float) -> Linearise:
    """A function from stored samples of shape (..., channels) to levels of light, uint16.

    Parameters
    ----------
    dtype : numpy.dtype
        Of the stored samples: uint8, uint16, uint32 or a float.
    encoding : {'linear', 'srgb', 'profile'}
        What is to be undone.
    curves : CurveProfile or None
        For 'profile': sampled at 256 codes for uint8, else at 65,536.
    scale : float
        Levels to one unit of linear light, for floats.
    """
    tables = _tables(dtype, encoding, curves)

    def linearise(stored: NDArray[Any]) -> NDArray[np.uint16]:
        codes = stored if dtype.itemsize <= 2 and dtype.kind == "u" else _to_codes(stored, dtype, encoding, scale)
        if tables is None:
            return np.asarray(codes, np.uint16)
        if len(tables) == 1:
            return np.asarray(np.take(tables[0], codes))
        out = np.empty(codes.shape, np.uint16)
        for channel in range(codes.shape[-1]):
            np.take(tables[min(channel, len(tables) - 1)], codes[..., channel], out=out[..., channel])
        return out

    return linearise


def _to_codes(stored: NDArray[Any], dtype: np.dtype[Any], encoding: Encoding, scale: float) -> NDArray[np.uint16]:
    """16-bit codes of wider samples. Encoded floats run from 0 to 1."""
    if dtype.kind == "u":
        return np.asarray(stored >> (dtype.itemsize * 8 - 16), np.uint16)
    factor = scale if encoding == "linear" else float(FULL_LEVEL)
    scaled = np.nan_to_num(stored.astype(np.float32), nan=0.0, posinf=np.inf) * np.float32(factor)
    return np.asarray(np.rint(np.clip(scaled, 0, FULL_LEVEL)), np.uint16)


def _tables(dtype: np.dtype[Any], encoding: Encoding, curves: CurveProfile | None) -> list[NDArray[np.uint16]] | None:
    """Levels of light by code, one table or one for each channel; None where codes are levels."""
    levels = 256 if dtype == np.uint8 else FULL_LEVEL + 1
    codes = np.linspace(0.0, 1.0, levels)
    if encoding == "profile" and curves is not None:
        light = list(curves.curves)
    elif encoding == "srgb":
        light = [srgb_to_linear(codes)]
    elif dtype == np.uint8:
        light = [codes]
    else:
        return None
    tables = [np.asarray(np.rint(one * FULL_LEVEL), np.uint16) for one in light]
    return tables[:1] if all(np.array_equal(one, tables[0]) for one in tables) else tables
