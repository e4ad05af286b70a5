"""The straightening of a frame, compiled: rows of a near-upright projective view, with exact positions.

A row of the positive lies on a straight line in the capture, whatever the tilt and the keystone. So each row is made in
two passes over a short tile: values on that line at every column of the capture (down the columns), then values at the
positive's own pixels along the line. Both use the same eight-tap kernel, whose weights are polynomials of the position
between two pixels. The loops run over interleaved samples with no look-up, which the compiler turns into vector code.

The kernel is the least-squares interpolator for frequencies up to 3/4 of the Nyquist frequency, exact for parabolas
(`benchmarks/resample.py --design` derives the numbers). At half the Nyquist frequency it is flat to 0.1 %.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dryside.negatives.compiled import entry, inner

TAPS = 8
BEFORE = 3  # taps before the pixel that a position lies in or after
TILE_PIXELS = 512

_HALF, _ZERO, _WHITE = np.float32(0.5), np.float32(0), np.float32(65535)

# Even and odd parts of the weights of taps 0 to 3, in powers of the position from the middle between two pixels; taps
# 7 to 4 mirror them.
_A0, _B0, _C0 = map(np.float32, (-0.015775113, 0.074664360, -0.046423175))
_P0, _Q0, _R0 = map(np.float32, (0.004651939, -0.021964465, 0.013452144))
_A1, _B1, _C1 = map(np.float32, (0.067960405, -0.317465587, 0.183055852))
_P1, _Q1, _R1 = map(np.float32, (-0.024917797, 0.115946157, -0.065199947))
_A2, _B2, _C2 = map(np.float32, (-0.171730540, 0.754410597, -0.270628502))
_P2, _Q2, _R2 = map(np.float32, (0.110800883, -0.484932445, 0.167123508))
_A3, _B3, _C3 = map(np.float32, (0.619545247, -0.511609371, 0.133995826))
_P3, _Q3, _R3 = map(np.float32, (-1.240377236, 1.028817802, -0.269535799))


@entry
def straighten_rows(source: Any, top: Any, left: Any, matrix: Any, first_row: Any, reverse: Any, out: Any) -> None:
    """Rows of a straightened frame.

    Parameters
    ----------
    source : ndarray of shape (rows, 3 * columns), uint16
        A window of the capture (turned so that the frame stands nearly upright in it).
    top, left : int
        Row and column of the capture that `source[0, 0:3]` is.
    matrix : ndarray of shape (3, 3), float64
        From pixel indices (column, row, 1) of the straight frame to pixel indices of the capture; x grows with the
        column, and grows faster along a row than y.
    first_row : int
        Row of the straight frame that `out[0]` is.
    reverse : bool
        Write each row from its end (the frame is seen mirrored).
    out : ndarray of shape (rows, 3 * columns), uint16
        Filled.

    Notes
    -----
    The caller gives a window that holds `BEFORE` pixels before and `TAPS - BEFORE` after every position asked for;
    positions are held inside it in any case.
    """
    columns = out.shape[1] // 3
    line = np.empty(3 * (TILE_PIXELS * 2 + 4 * TAPS), np.float32)
    g = np.empty(3 * (TILE_PIXELS * 2 + 4 * TAPS), np.float32)
    done = np.empty(3 * TILE_PIXELS, np.uint16)
    whole = np.empty(TILE_PIXELS * 2 + 4 * TAPS, np.int32)
    widest = source.shape[1] // 3
    for n in range(out.shape[0]):
        row = np.float64(first_row + n)
        x_first, y_first = _place(matrix, 0.0, row)
        x_last, y_last = _place(matrix, np.float64(max(columns - 1, 1)), row)
        slope = (y_last - y_first) / (x_last - x_first)
        for j0 in range(0, columns, TILE_PIXELS):
            count = min(TILE_PIXELS, columns - j0)
            lowest = _positions_along(matrix, j0, row, count, left, widest, whole, g, line)
            i0 = lowest - BEFORE
            across = min(whole[count - 1] + TAPS - BEFORE, widest) - i0
            y0 = y_first + slope * (np.float64(i0 + left) - x_first) - np.float64(top)
            _down(source, i0, across, y0, slope, line)
            _along(line, whole, g, count, i0, done)
            if reverse:
                base = 3 * (columns - j0 - count)
                for j in range(count):
                    k = base + 3 * (count - 1 - j)
                    out[n, k] = done[3 * j]
                    out[n, k + 1] = done[3 * j + 1]
                    out[n, k + 2] = done[3 * j + 2]
            else:
                for k in range(3 * count):
                    out[n, 3 * j0 + k] = done[k]


@inner
def _place(matrix: Any, column: Any, row: Any) -> Any:
    """Capture position (x, y) of a pixel of the straight frame."""
    w = matrix[2, 0] * column + matrix[2, 1] * row + matrix[2, 2]
    x = matrix[0, 0] * column + matrix[0, 1] * row + matrix[0, 2]
    y = matrix[1, 0] * column + matrix[1, 1] * row + matrix[1, 2]
    return x / w, y / w


@inner
def _positions_along(
    matrix: Any, j0: Any, row: Any, count: Any, left: Any, widest: Any, whole: Any, g: Any, scratch: Any
) -> Any:
    """Whole columns (in the window) and centred fractions of `count` positions along a row; returns the lowest."""
    a, b = matrix[0, 0], matrix[0, 1] * row + matrix[0, 2]
    c, d = matrix[2, 0], matrix[2, 1] * row + matrix[2, 2]
    highest = np.float64(widest - (TAPS - BEFORE))
    shift = np.float64(left)
    for j in range(count):
        column = np.float64(j0 + j)
        x = (a * column + b) / (c * column + d) - shift
        x = min(max(x, np.float64(BEFORE)), highest)
        low = np.int32(x)
        whole[j] = low
        scratch[j] = np.float32(x - np.float64(low)) - _HALF
    for j in range(count):
        f = scratch[j]
        g[3 * j] = f
        g[3 * j + 1] = f
        g[3 * j + 2] = f
    return whole[0]


@inner
def _down(source: Any, i0: Any, across: Any, y0: Any, slope: Any, line: Any) -> None:
    """Values on the line, at columns i0 to i0 + across of the window; y0 is the line's row at i0, `slope` its rise."""
    lowest, highest = np.float64(BEFORE), np.float64(source.shape[0] - (TAPS - BEFORE))
    i = np.int64(0)  # with a plain 0 all that is called is compiled a second time, for 0 alone
    while i < across:
        y = min(max(y0 + slope * i, lowest), highest)
        low = np.int32(y)
        end = i + 1
        # How far the same eight rows serve: to where the line leaves this row of pixels.
        if slope > 1e-12:
            end = max(end, min(across, np.int64(np.ceil((np.float64(low + 1) - y0) / slope))))
        elif slope < -1e-12:
            end = max(end, min(across, np.int64(np.floor((np.float64(low) - y0) / slope)) + 1))
        else:
            end = across
        _eight_rows(source, low - BEFORE, i0, i, end, y0 - np.float64(low), slope, line)
        i = end


@inner
def _eight_rows(source: Any, row: Any, i0: Any, start: Any, end: Any, above: Any, slope: Any, line: Any) -> None:
    """line[start:end] from eight rows of the window; `above` + slope * i is the position under the fourth row."""
    s0, s1 = 3 * (i0 + start), 3 * (i0 + end)
    r0, r1, r2, r3 = source[row, s0:s1], source[row + 1, s0:s1], source[row + 2, s0:s1], source[row + 3, s0:s1]
    r4, r5, r6, r7 = source[row + 4, s0:s1], source[row + 5, s0:s1], source[row + 6, s0:s1], source[row + 7, s0:s1]
    out = line[3 * start : 3 * end]
    rise = np.float32(slope)
    first = np.float32(above + slope * start) - _HALF
    third = np.float32(1 / 3)
    for k in range(s1 - s0):
        g = first + rise * np.float32(np.int32((np.float32(np.int32(k)) + _HALF) * third))
        q = g * g
        e0, o0 = (_C0 * q + _B0) * q + _A0, ((_R0 * q + _Q0) * q + _P0) * g
        e1, o1 = (_C1 * q + _B1) * q + _A1, ((_R1 * q + _Q1) * q + _P1) * g
        e2, o2 = (_C2 * q + _B2) * q + _A2, ((_R2 * q + _Q2) * q + _P2) * g
        e3, o3 = (_C3 * q + _B3) * q + _A3, ((_R3 * q + _Q3) * q + _P3) * g
        v = (e0 + o0) * np.float32(r0[k]) + (e0 - o0) * np.float32(r7[k])
        v += (e1 + o1) * np.float32(r1[k]) + (e1 - o1) * np.float32(r6[k])
        v += (e2 + o2) * np.float32(r2[k]) + (e2 - o2) * np.float32(r5[k])
        v += (e3 + o3) * np.float32(r3[k]) + (e3 - o3) * np.float32(r4[k])
        out[k] = v


@inner
def _along(line: Any, whole: Any, g: Any, count: Any, i0: Any, done: Any) -> None:
    """Values at the positive's pixels from values on the line."""
    j = 0
    while j < count:
        lead = whole[j] - j
        end = j + 1
        while end < count and whole[end] - end == lead:
            end += 1
        _eight_columns(line[3 * (whole[j] - BEFORE - i0) :], g[3 * j : 3 * end], done[3 * j : 3 * end])
        j = end


@inner
def _eight_columns(line: Any, at: Any, done: Any) -> None:
    """done[k] from line[k], line[k + 3], ... line[k + 21]."""
    n = len(done)
    t0, t1, t2, t3 = line[:n], line[3 : n + 3], line[6 : n + 6], line[9 : n + 9]
    t4, t5, t6, t7 = line[12 : n + 12], line[15 : n + 15], line[18 : n + 18], line[21 : n + 21]
    for k in range(n):
        g = at[k]
        q = g * g
        e0, o0 = (_C0 * q + _B0) * q + _A0, ((_R0 * q + _Q0) * q + _P0) * g
        e1, o1 = (_C1 * q + _B1) * q + _A1, ((_R1 * q + _Q1) * q + _P1) * g
        e2, o2 = (_C2 * q + _B2) * q + _A2, ((_R2 * q + _Q2) * q + _P2) * g
        e3, o3 = (_C3 * q + _B3) * q + _A3, ((_R3 * q + _Q3) * q + _P3) * g
        v = (e0 + o0) * t0[k] + (e0 - o0) * t7[k]
        v += (e1 + o1) * t1[k] + (e1 - o1) * t6[k]
        v += (e2 + o2) * t2[k] + (e2 - o2) * t5[k]
        v += (e3 + o3) * t3[k] + (e3 - o3) * t4[k]
        done[k] = np.uint16(np.int32(min(max(v, _ZERO), _WHITE) + _HALF))


@entry
def straighten_steep_rows(
    source: Any, top: Any, left: Any, matrix: Any, first_row: Any, reverse: Any, out: Any
) -> None:
    """`straighten_rows` for frames tilted by more than `positive_bands.MOST_STEEP`: 64 taps around every position."""
    columns = out.shape[1] // 3
    widest, tallest = source.shape[1] // 3, source.shape[0]
    wx, wy = np.empty(TAPS, np.float32), np.empty(TAPS, np.float32)
    for n in range(out.shape[0]):
        for j in range(columns):
            x, y = _place(matrix, np.float64(j), np.float64(first_row + n))
            x = min(max(x - left, np.float64(BEFORE)), np.float64(widest - (TAPS - BEFORE)))
            y = min(max(y - top, np.float64(BEFORE)), np.float64(tallest - (TAPS - BEFORE)))
            xi, yi = np.int64(x), np.int64(y)
            _weights(np.float32(x - xi) - _HALF, wx)
            _weights(np.float32(y - yi) - _HALF, wy)
            place = 3 * (columns - 1 - j if reverse else j)
            for channel in range(3):
                v = _ZERO
                for k in range(TAPS):
                    s = _ZERO
                    for m in range(TAPS):
                        s += wx[m] * np.float32(source[yi - BEFORE + k, 3 * (xi - BEFORE + m) + channel])
                    v += wy[k] * s
                out[n, place + channel] = np.uint16(np.int32(min(max(v, _ZERO), _WHITE) + _HALF))


@inner
def _weights(g: Any, w: Any) -> None:
    """The eight weights at `g` from the middle between taps 3 and 4."""
    q = g * g
    e0, o0 = (_C0 * q + _B0) * q + _A0, ((_R0 * q + _Q0) * q + _P0) * g
    e1, o1 = (_C1 * q + _B1) * q + _A1, ((_R1 * q + _Q1) * q + _P1) * g
    e2, o2 = (_C2 * q + _B2) * q + _A2, ((_R2 * q + _Q2) * q + _P2) * g
    e3, o3 = (_C3 * q + _B3) * q + _A3, ((_R3 * q + _Q3) * q + _P3) * g
    w[0], w[1], w[2], w[3] = e0 + o0, e1 + o1, e2 + o2, e3 + o3
    w[7], w[6], w[5], w[4] = e0 - o0, e1 - o1, e2 - o2, e3 - o3
