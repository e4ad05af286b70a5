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
TABLE_BITS = 13  # table steps to an octave of (encoded input + TABLE_OFFSET)


# log2(1 + m) / m on [sqrt(1/2) - 1, sqrt(2) - 1], degree 7, and 2**(f + 1/2) on [-1/2, 1/2], degree 5: least squares on
# Chebyshev nodes, relative errors about 2e-7 and 2e-7.
_L0, _L1, _L2, _L3 = map(np.float32, (1.442694957995561, -0.7213527587652924, 0.4809240385774447, -0.36024198590654083))
_L4, _L5, _L6, _L7 = map(
    np.float32, (0.2870756111594061, -0.24882180563910625, 0.23420985115832552, -0.14620353417443907)
)
_E0, _E1, _E2 = map(np.float32, (1.4142136691396414, 0.9802581804511867, 0.3397239001939793))
_E3, _E4, _E5 = map(np.float32, (0.07849348021943238, 0.013683982893832956, 0.001895107290994776))
_ZERO, _ONE, _HALF = np.float32(0), np.float32(1), np.float32(0.5)
_MANTISSA_BITS = np.int32(23)
_SQRT_HALF_BITS = np.int32(0x3F3504F3)
_LOWEST, _HIGHEST = np.float32(-40), np.float32(40)
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
    i = _bits(x)
    e = np.int32(np.int32(i - _SQRT_HALF_BITS) >> _MANTISSA_BITS)
    m = _float(np.int32(i - np.int32(e << _MANTISSA_BITS))) - _ONE
    p = ((((((_L7 * m + _L6) * m + _L5) * m + _L4) * m + _L3) * m + _L2) * m + _L1) * m + _L0
    return np.float32(e) + m * p


@inner
def _exp2(x: Any) -> Any:
    """2**x, x held to [-40, 40]."""
    x = min(max(x, _LOWEST), _HIGHEST)
    r = np.floor(x)
    f = x - r - _HALF
    p = ((((_E5 * f + _E4) * f + _E3) * f + _E2) * f + _E1) * f + _E0
    return _float(np.int32(_bits(p) + np.int32(np.int32(r) << _MANTISSA_BITS)))


@inner
def _to_colour(a: Any, n: Any, k: Any) -> None:
    """Density of `n` samples in `a` to linear colour in place; the toe is folded into the constants."""
    a0, a1, a2, a3, a4, a5, a6, a7, a8 = k[0], k[1], k[2], k[3], k[4], k[5], k[6], k[7], k[8]
    b0, b1, b2 = k[9], k[10], k[11]
    m0, m1, m2, m3, m4, m5, m6, m7, m8 = k[12], k[13], k[14], k[15], k[16], k[17], k[18], k[19], k[20]
    c0, c1, c2 = k[21], k[22], k[23]
    for j in range(n // 3):
        x, y, z = a[3 * j], a[3 * j + 1], a[3 * j + 2]
        u = _exp2(a0 * x + a1 * y + a2 * z + b0)
        v = _exp2(a3 * x + a4 * y + a5 * z + b1)
        w = _exp2(a6 * x + a7 * y + a8 * z + b2)
        a[3 * j] = m0 * u + m1 * v + m2 * w + c0
        a[3 * j + 1] = m3 * u + m4 * v + m5 * w + c1
        a[3 * j + 2] = m6 * u + m7 * v + m8 * w + c2


@inner
def _to_colour_with_shoulder(a: Any, n: Any, k: Any) -> None:
    """The same with the curve's shoulder: three quotients by one division."""
    a0, a1, a2, a3, a4, a5, a6, a7, a8 = k[0], k[1], k[2], k[3], k[4], k[5], k[6], k[7], k[8]
    b0, b1, b2 = k[9], k[10], k[11]
    m0, m1, m2, m3, m4, m5, m6, m7, m8 = k[12], k[13], k[14], k[15], k[16], k[17], k[18], k[19], k[20]
    t0, t1, t2, s0, s1, s2, least = k[24], k[25], k[26], k[27], k[28], k[29], k[30]
    for j in range(n // 3):
        x, y, z = a[3 * j], a[3 * j + 1], a[3 * j + 2]
        u = _exp2(a0 * x + a1 * y + a2 * z + b0)
        v = _exp2(a3 * x + a4 * y + a5 * z + b1)
        w = _exp2(a6 * x + a7 * y + a8 * z + b2)
        d, e, f = max(_ONE - s0 * u, least), max(_ONE - s1 * v, least), max(_ONE - s2 * w, least)
        de = d * e
        q = _ONE / (de * f)
        qf = q * f
        u, v, w = (u - t0) * (e * qf), (v - t1) * (d * qf), (w - t2) * (de * q)
        a[3 * j] = m0 * u + m1 * v + m2 * w
        a[3 * j + 1] = m3 * u + m4 * v + m5 * w
        a[3 * j + 2] = m6 * u + m7 * v + m8 * w


@inner
def _to_print(a: Any, n: Any, k: Any) -> None:
    """Linear colour to the print's linear samples in place: tone on luminance, then drawn into the output space.

    The quotients of `rendering.Rendering` brought over common denominators, two divisions in all.
    """
    l0, l1, l2, contrast, kk, white = k[31], k[32], k[33], k[34], k[35], k[36]
    chroma, knee, knee2, slack, least_light, least_room = k[37], k[38], k[39], k[40], k[41], k[42]
    not_white = k[43]
    for j in range(n // 3):
        r, g, b = a[3 * j], a[3 * j + 1], a[3 * j + 2]
        y = max(l0 * r + l1 * g + l2 * b, least_light)
        p = _exp2(contrast * _log2(y))
        s = p + kk
        once = _ONE / (s * y)
        q = once * y
        t = white * p * q
        room = max((not_white * p + kk) * q, least_room)
        ratio = white * p * once
        r, g, b = chroma * (r * ratio - t), chroma * (g * ratio - t), chroma * (b * ratio - t)
        high, low = max(r, g, b), min(r, g, b)
        d = t * room
        m = max(high * t, -low * room, knee * d)
        kept = d * (m - knee2 * d) / (m * (m + slack * d))
        a[3 * j] = t + r * kept
        a[3 * j + 1] = t + g * kept
        a[3 * j + 2] = t + b * kept


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
        log2 of bare light in levels, widened along the row; one row a cell.
    first_row : int
        Row of the capture, counted from the top of `light`'s first cell, that `pixels[0]` is.
    cell : int
        Rows of the capture to a row of `light`.
    out : ndarray of shape (rows, 3 * columns), uint16
        The positive.
    constants : ndarray of shape (44,), float32
        By `kernel_numbers.constants`.
    shoulder, prints : bool
        Which of the stages the recipe has.
    table : ndarray, uint16
        By `kernel_numbers.encoding_table`; empty where samples stay linear.
    """
    width = pixels.shape[1]
    last = light.shape[0] - 1
    per_cell = np.float32(1) / np.float32(cell)
    a = np.empty(3 * TILE_PIXELS, np.float32)
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
                a[j] = np.float32(max(np.int32(i[j]), np.int32(1)))
            for j in range(n):
                a[j] = g0[j] + (g1[j] - g0[j]) * fy - _log2(a[j])
            if shoulder:
                _to_colour_with_shoulder(a, n, constants)
            else:
                _to_colour(a, n, constants)
            if prints:
                _to_print(a, n, constants)
            if table.size == 0:
                _encode_linear(a, out[r, s : s + n], n)
            else:
                _encode_by_table(a, index, out[r, s : s + n], n, table)
