"""The per-pixel pass, compiled: linear capture in, finished positive out, one pass over memory.

Everything of `recipe` and `rendering` happens on a tile of 256 pixels that stays in the first-level cache. The loops
keep to the forms that the compiler turns into vector code: interleaved float32 samples, table look-ups in a loop of
their own, every int32 step cast.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from llvmlite import ir
from numba import types

from dryside.negatives.compiled import bit_level, entry, inner

TILE_PIXELS = 256
HELD = 2
_HELD = np.float32(60)
TABLE_BITS = 13  # table steps to an octave of (encoded input + TABLE_OFFSET)


# log2(1 + m) / m on [sqrt(1/2) - 1, sqrt(2) - 1], degree 7, and 2**f on [-1/2, 1/2], degree 5: least squares on
# Chebyshev nodes, relative errors about 2e-7 and 2e-7.
_L0, _L1, _L2, _L3 = map(np.float32, (1.442694957995561, -0.7213527587652924, 0.4809240385774447, -0.36024198590654083))
_L4, _L5, _L6, _L7 = map(
    np.float32, (0.2870756111594061, -0.24882180563910625, 0.23420985115832552, -0.14620353417443907)
)
_E0, _E1, _E2 = map(np.float32, (1.0000000754953489, 0.6931472067106204, 0.24022107355830596))
_E3, _E4, _E5 = map(np.float32, (0.05550327214209104, 0.009676037097864609, 0.001340043216540429))
_ZERO, _ONE, _HALF = np.float32(0), np.float32(1), np.float32(0.5)
_MANTISSA_BITS = np.int32(23)
_SQRT_HALF_BITS = np.int32(0x3F3504F3)
_SIXTEEN_BITS = np.int32(16 << 23)
_ROUNDER = np.float32(1.5 * 2**23)
_TABLE_OFFSET = np.float32(1 / 64)
_TABLE_SHIFT = np.int32(23 - TABLE_BITS)
_TABLE_FIRST = np.int32(121 << TABLE_BITS)  # 121 is the biased exponent of 1/64
_WHITE_LEVEL = np.float32(65535)


@bit_level
def _bits(context: Any, x: Any) -> Any:
    """The bits of a float32 as int32."""

    def generate(_: Any, builder: Any, __: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.IntType(32))

    return types.int32(types.float32), generate


@bit_level
def _float(context: Any, x: Any) -> Any:
    """The float32 that has these bits."""

    def generate(_: Any, builder: Any, __: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.FloatType())

    return types.float32(types.int32), generate


@inner
def _log2(x: Any) -> Any:
    """log2 of a positive normal float32."""
    return _log2_of_bits(_bits(x))


@inner
def _log2_of_part(level: Any) -> Any:
    """log2 of (level / 2**16): near 0, where float32 is finest."""
    return _log2_of_bits(np.int32(_bits(level) - _SIXTEEN_BITS))


@inner
def _log2_of_bits(i: Any) -> Any:
    e = np.int32(np.int32(i - _SQRT_HALF_BITS) >> _MANTISSA_BITS)
    m = _float(np.int32(i - np.int32(e << _MANTISSA_BITS))) - _ONE
    m2 = m * m
    m4 = m2 * m2
    p = ((_L7 * m + _L6) * m2 + (_L5 * m + _L4)) * m4 + ((_L3 * m + _L2) * m2 + (_L1 * m + _L0))
    return np.float32(e) + m * p


@inner
def _exp2(x: Any) -> Any:
    """2**x for x between -126 and 127 (`kernel_numbers` sees to that)."""
    shifted = x + _ROUNDER  # its low bits are x rounded to a whole number
    f = x - (shifted - _ROUNDER)
    f2 = f * f
    p = ((_E5 * f + _E4) * f2 + (_E3 * f + _E2)) * f2 + (_E1 * f + _E0)
    return _float(np.int32(_bits(p) + np.int32(_bits(shifted) << _MANTISSA_BITS)))


@inner
def _layers(x: Any, y: Any, z: Any, k: Any) -> Any:
    """Density of one pixel to the three powers of two that layer exposures are made of."""
    u = _exp2(k[0] * x + k[1] * y + k[2] * z + k[9])
    v = _exp2(k[3] * x + k[4] * y + k[5] * z + k[10])
    w = _exp2(k[6] * x + k[7] * y + k[8] * z + k[11])
    return u, v, w


@inner
def _held_layers(x: Any, y: Any, z: Any, k: Any) -> Any:
    """The same where a recipe may take a density beyond what float32 holds: kept within `_HELD` stops."""
    u = _exp2(min(max(k[0] * x + k[1] * y + k[2] * z + k[9], -_HELD), _HELD))
    v = _exp2(min(max(k[3] * x + k[4] * y + k[5] * z + k[10], -_HELD), _HELD))
    w = _exp2(min(max(k[6] * x + k[7] * y + k[8] * z + k[11], -_HELD), _HELD))
    return u, v, w


@inner
def _colour(u: Any, v: Any, w: Any, k: Any) -> Any:
    """Linear colour of one pixel without a shoulder; the toe is folded into the constants."""
    r = k[12] * u + k[13] * v + k[14] * w + k[21]
    g = k[15] * u + k[16] * v + k[17] * w + k[22]
    b = k[18] * u + k[19] * v + k[20] * w + k[23]
    return r, g, b


@inner
def _colour_with_shoulder(u: Any, v: Any, w: Any, k: Any) -> Any:
    """The same with the curve's shoulder: three quotients by one division."""
    d, e, f = max(_ONE - k[27] * u, k[30]), max(_ONE - k[28] * v, k[30]), max(_ONE - k[29] * w, k[30])
    de = d * e
    q = _ONE / (de * f)
    qf = q * f
    u, v, w = (u - k[24]) * (e * qf), (v - k[25]) * (d * qf), (w - k[26]) * (de * q)
    r = k[12] * u + k[13] * v + k[14] * w
    g = k[15] * u + k[16] * v + k[17] * w
    b = k[18] * u + k[19] * v + k[20] * w
    return r, g, b


@inner
def _paper(r: Any, g: Any, b: Any, k: Any) -> Any:
    """Linear colour of one pixel to the print's: tone on luminance, then drawn into the output space.

    The quotients of `rendering.Rendering` brought over common denominators, two divisions in all.
    """
    y = max(k[31] * r + k[32] * g + k[33] * b, k[41])
    p = _exp2(k[34] * _log2(y))
    once = _ONE / ((p + k[35]) * y)
    q = once * y
    t = k[36] * p * q
    room = max((k[43] * p + k[35]) * q, k[42])
    ratio = k[37] * k[36] * p * once
    grey = k[37] * t
    r, g, b = r * ratio - grey, g * ratio - grey, b * ratio - grey
    d = t * room
    m = max(max(r, g, b) * t, -min(r, g, b) * room, k[38] * d)
    kept = d * (m - k[39] * d) / (m * (m + k[40] * d))
    return t + r * kept, t + g * kept, t + b * kept


@inner
def _develop_scene(a: Any, n: Any, k: Any, shoulder: Any) -> None:
    """Density of `n` interleaved pixels to linear output samples, in place."""
    if shoulder == HELD:
        for j in range(n):
            u, v, w = _held_layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            a[3 * j], a[3 * j + 1], a[3 * j + 2] = _colour_with_shoulder(u, v, w, k)
    elif shoulder:
        for j in range(n):
            u, v, w = _layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            a[3 * j], a[3 * j + 1], a[3 * j + 2] = _colour_with_shoulder(u, v, w, k)
    else:
        for j in range(n):
            u, v, w = _layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            a[3 * j], a[3 * j + 1], a[3 * j + 2] = _colour(u, v, w, k)


@inner
def _develop_print(a: Any, n: Any, planes: Any, k: Any, shoulder: Any) -> None:
    """The same for a print, by way of a row for each colour.

    Paper has a loop of its own: in one loop with the layers the constants no longer fit the registers.
    """
    red, green, blue = planes[0], planes[1], planes[2]
    if shoulder == HELD:
        for j in range(n):
            u, v, w = _held_layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            red[j], green[j], blue[j] = _colour_with_shoulder(u, v, w, k)
    elif shoulder:
        for j in range(n):
            u, v, w = _layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            red[j], green[j], blue[j] = _colour_with_shoulder(u, v, w, k)
    else:
        for j in range(n):
            u, v, w = _layers(a[3 * j], a[3 * j + 1], a[3 * j + 2], k)
            red[j], green[j], blue[j] = _colour(u, v, w, k)
    for j in range(n):
        a[3 * j], a[3 * j + 1], a[3 * j + 2] = _paper(red[j], green[j], blue[j], k)


@inner
def _encode_linear(a: Any, out: Any, n: Any) -> None:
    for j in range(n):
        out[j] = np.uint16(np.int32(min(max(a[j], _ZERO), _ONE) * _WHITE_LEVEL + _HALF))


@inner
def _encode_by_table(a: Any, index: Any, out: Any, n: Any, table: Any) -> None:
    """Encoding and rounding in one look-up by the top bits of (sample + 1/64)."""
    for j in range(n):
        x = min(max(a[j], _ZERO), _ONE) + _TABLE_OFFSET
        index[j] = np.int32(np.int32(_bits(x) >> _TABLE_SHIFT) - _TABLE_FIRST)
    for j in range(n):
        out[j] = table[np.uint32(index[j])]


@entry
def develop_rows(
    pixels: Any, light: Any, first_row: Any, cell: Any, out: Any, constants: Any, shoulder: Any, prints: Any, table: Any
) -> None:
    """Rows of a capture to rows of its positive.

    Parameters
    ----------
    pixels : ndarray of shape (rows, 3 * columns), uint16
        Linear light.
    light : ndarray of shape (map rows, 3 * columns), float32
        log2 of (bare light in levels / 2**16), widened along the row; one row a cell.
    first_row : int
        Row of the capture, counted from the top of `light`'s first cell, that `pixels[0]` is.
    cell : int
        Rows of the capture to a row of `light`.
    out : ndarray of shape (rows, 3 * columns), uint16
        The positive.
    constants : tuple of 44 float32
        By `kernel_numbers.constants`.
    shoulder : int
        0 without a shoulder, 1 with one, `HELD` where densities must be held (then with one too).
    prints : int or None
        None for a scene, 1 for a print.
    table : ndarray, uint16, or None
        By `kernel_numbers.encoding_table`; None where samples stay linear.

    Notes
    -----
    None is a type to the compiler: what a scene or linear samples do not need is not compiled for them.
    """
    width = pixels.shape[1]
    last = light.shape[0] - 1
    per_cell = np.float32(1) / np.float32(cell)
    a = np.empty(3 * TILE_PIXELS, np.float32)
    planes = np.empty((3, TILE_PIXELS), np.float32)
    index = np.empty(3 * TILE_PIXELS, np.int32)
    for r in range(pixels.shape[0]):
        y = min(max((np.float32(first_row + r) + _HALF) * per_cell - _HALF, _ZERO), np.float32(last))
        y0 = min(np.int32(y), np.int32(max(last - 1, 0)))
        y1 = min(y0 + 1, last)
        fy = np.float32(y - np.float32(y0))
        for s in range(0, width, 3 * TILE_PIXELS):
            n = min(3 * TILE_PIXELS, width - s)
            i = pixels[r, s : s + n]
            g0 = light[y0, s : s + n]
            g1 = light[y1, s : s + n]
            for j in range(n):
                a[j] = g0[j] + (g1[j] - g0[j]) * fy - _log2_of_part(np.float32(max(np.int32(i[j]), np.int32(1))))
            if prints is None:
                _develop_scene(a, n // 3, constants, shoulder)
            else:
                _develop_print(a, n // 3, planes, constants, shoulder)
            if table is None:
                _encode_linear(a, out[r, s : s + n], n)
            else:
                _encode_by_table(a, index, out[r, s : s + n], n, table)
