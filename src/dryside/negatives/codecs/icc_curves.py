"""The tone curves of an ICC profile, as tables that undo them."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatTable = NDArray[np.float64]

# Header and tag table: ICC.1:2022 (profile version 4.4), clauses 7.2 and 7.3; curve types: 10.6 and 10.18.
HEADER_BYTES = 128
CHANNEL_TAGS = {1: (b"kTRC",), 3: (b"rTRC", b"gTRC", b"bTRC")}
COLOURANT_TAGS = (b"rXYZ", b"gXYZ", b"bXYZ")


@dataclass(frozen=True)
class CurveProfile:
    """A profile of curves and, for colour, a matrix.

    Attributes
    ----------
    curves : tuple of ndarray of shape (levels,)
        Linear light in [0, 1] of each evenly spaced code from 0 to 1; one for grey, three for colour.
    to_xyz : ndarray of shape (3, 3) or None
        Columns are the colourants (CIE XYZ, D50). None for grey.
    """

    curves: tuple[FloatTable, ...]
    to_xyz: FloatTable | None


def read_curves(profile: bytes, *, levels: int) -> CurveProfile | None:
    """Curves of a matrix or grey profile, sampled at every code of a file.

    Parameters
    ----------
    profile : bytes
        The whole profile.
    levels : int
        Codes of the file: 256 or 65,536.

    Returns
    -------
    CurveProfile or None
        None where the profile has no curves but colour tables (or none that this edition of ICC.1 knows).

    Raises
    ------
    ValueError
        If the bytes are no ICC profile, or it is cut short.
    """
    tags = _tags(profile)
    channels = 3 if profile[16:20] == b"RGB " else 1
    names = CHANNEL_TAGS[channels]
    if any(name not in tags for name in names) or b"A2B0" in tags:
        return None
    x = np.linspace(0.0, 1.0, levels)
    curves = tuple(np.clip(_curve(_part(profile, tags[name]), x), 0.0, 1.0) for name in names)
    if channels == 1:
        return CurveProfile(curves, None)
    if any(name not in tags for name in COLOURANT_TAGS):
        return None
    columns = [_fixed(_part(profile, tags[name])[8:20]) for name in COLOURANT_TAGS]
    return CurveProfile(curves, np.array(columns).T)


def is_linear(profile: CurveProfile) -> bool:
    """Whether every curve is the straight line to half a code."""
    half_code = 0.5 / (len(profile.curves[0]) - 1)
    line = np.linspace(0.0, 1.0, len(profile.curves[0]))
    return all(float(np.abs(curve - line).max()) <= half_code for curve in profile.curves)


def _tags(profile: bytes) -> dict[bytes, tuple[int, int]]:
    """Offset and length of every tag."""
    if len(profile) < HEADER_BYTES + 4 or profile[36:40] != b"acsp":
        raise ValueError(f"the colour profile is no ICC profile ({len(profile)} bytes)")
    (count,) = struct.unpack_from(">I", profile, HEADER_BYTES)
    if count > 1000 or HEADER_BYTES + 4 + 12 * count > len(profile):
        raise ValueError("the colour profile is cut short")
    entries = struct.iter_unpack(">4sII", profile[HEADER_BYTES + 4 : HEADER_BYTES + 4 + 12 * count])
    return {name: (offset, length) for name, offset, length in entries}


def _part(profile: bytes, place: tuple[int, int]) -> bytes:
    offset, length = place
    if offset + length > len(profile) or length < 12:
        raise ValueError("the colour profile is cut short")
    return profile[offset : offset + length]


def _fixed(data: bytes) -> FloatTable:
    """s15Fixed16Number values."""
    return np.frombuffer(data[: len(data) // 4 * 4], ">i4").astype(float) / 65536.0


def _curve(part: bytes, x: FloatTable) -> FloatTable:
    """Linear light of codes `x` by a curve tag."""
    if part[:4] == b"para":
        return _parametric(part, x)
    if part[:4] != b"curv":
        raise ValueError(f"the colour profile has a curve of unknown type {part[:4]!r}")
    (count,) = struct.unpack_from(">I", part, 8)
    if count == 0:
        return x
    if len(part) < 12 + 2 * count:
        raise ValueError("the colour profile is cut short")
    table = np.frombuffer(part, ">u2", count, 12).astype(float)
    if count == 1:
        return np.asarray(x ** (table[0] / 256.0))
    return np.interp(x, np.linspace(0.0, 1.0, count), table / 65535.0)


def _parametric(part: bytes, x: FloatTable) -> FloatTable:
    """parametricCurveType, function types 0 to 4 (ICC.1:2022, table 68)."""
    (kind,) = struct.unpack_from(">H", part, 8)
    if kind > 4:
        raise ValueError(f"the colour profile has a parametric curve of unknown kind {kind}")
    needed = (1, 3, 4, 5, 7)[kind]
    values = _fixed(part[12 : 12 + 4 * needed])
    if len(values) < needed:
        raise ValueError("the colour profile is cut short")
    g, a, b, c, d, e, f = np.append(values, np.zeros(7 - needed)).tolist()
    if kind == 0:
        return np.asarray(x**g)
    power = np.maximum(a * x + b, 0.0) ** g
    if kind in (1, 2):
        return np.where(x >= -b / a, power + (c if kind == 2 else 0.0), c if kind == 2 else 0.0)
    return np.where(x >= d, power + e, c * x + f)
