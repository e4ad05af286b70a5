"""ICC profiles of the spaces that positives are written in, made from their primaries: the same bytes everywhere."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Profile connection space white, D50 (ICC.1:2022, 6.3.4.2), and D65 by its chromaticity (IEC 61966-2-1).
D50 = np.array([0.9642, 1.0, 0.8249])
D65_XY = (0.3127, 0.3290)
# Bradford cone responses (ICC.1:2022, annex E).
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
ADOBE_GAMMA = 563 / 256


def rgb_profile(name: str, primaries_xy: ArrayLike, transfer: str) -> bytes:
    """A display profile of version 4.3 for an RGB space with white D65.

    Parameters
    ----------
    name : str
        Description shown by programs, ASCII.
    primaries_xy : array of shape (3, 2)
        CIE 1931 chromaticities of red, green and blue.
    transfer : {'linear', 'srgb', 'adobe'}
        Encoding of the samples.

    Raises
    ------
    ValueError
        If `transfer` is none of these.
    """
    colourants, adaptation = _colourants(np.asarray(primaries_xy, dtype=float))
    curve = _curve(transfer)
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text(name)),
        (b"cprt", _text("No copyright, use freely")),
        (b"wtpt", _xyz(D50)),
        (b"chad", b"sf32" + bytes(4) + _fixed(adaptation.ravel())),
        *((tag, _xyz(column)) for tag, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colourants.T, strict=True)),
        *((tag, curve) for tag in (b"rTRC", b"gTRC", b"bTRC")),
    ]
    return _assemble(tags)


def _colourants(primaries_xy: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """XYZ of the primaries adapted to D50 (columns), and the adaptation from D65."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries_xy]).T
    x, y = D65_XY
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    to_xyz = columns * np.linalg.solve(columns, white)
    gains = (BRADFORD @ D50) / (BRADFORD @ white)
    adaptation = np.linalg.solve(BRADFORD, gains[:, None] * BRADFORD)
    return adaptation @ to_xyz, adaptation


def _curve(transfer: str) -> bytes:
    if transfer == "linear":
        return b"curv" + bytes(4) + struct.pack(">I", 0)
    if transfer == "srgb":
        return b"para" + bytes(4) + struct.pack(">HH", 3, 0) + _fixed(SRGB_CURVE)
    if transfer == "adobe":
        return b"curv" + bytes(4) + struct.pack(">IH", 1, round(ADOBE_GAMMA * 256))
    raise ValueError(f"transfer is {transfer!r}; it must be 'linear', 'srgb' or 'adobe'")


def _fixed(values: Sequence[float] | NDArray[np.float64]) -> bytes:
    return b"".join(struct.pack(">i", round(float(value) * 65536)) for value in values)


def _xyz(values: NDArray[np.float64]) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _text(text: str) -> bytes:
    """multiLocalizedUnicodeType with one record, English."""
    data = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(data), 28) + data


def _assemble(tags: list[tuple[bytes, bytes]]) -> bytes:
    """Header, table and data; tags with the same data share it."""
    offset = 128 + 4 + 12 * len(tags)
    table, body, places = b"", b"", {}
    for name, data in tags:
        if data not in places:
            places[data] = offset + len(body)
            body += data + bytes(-len(data) % 4)
        table += struct.pack(">4sII", name, places[data], len(data))
    size = offset + len(body)
    # Made on a fixed day, so that the same space gives the same bytes.
    header = struct.pack(
        ">I4sI4s4s4s6H4s", size, bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ", 2026, 1, 1, 0, 0, 0, b"acsp"
    )
    header += bytes(28) + _fixed(D50) + bytes(48)
    return header + struct.pack(">I", len(tags)) + table + body
