"""Straightening a frame: speed against copies, positions against a sinusoid, sharpness against a slanted edge.

    python benchmarks/resample.py [--work DIR] [--rounds 5] [--design 1]

The yardstick is a two-thread NumPy copy of the same 24 MP picture. `--design 1` derives the kernel's numbers again and
prints them beside those in the code.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import made_captures
import numpy as np
from kernel import two_threads
from machine import Quiet, arguments, rounds

from dryside.negatives import resample_kernel
from dryside.negatives.resample_kernel import straighten_rows

THREADS = 2
TILT_DEGREES = 1.2
PERIOD_PX = 24
BAND = 64


def rotation(degrees: float, width: int, height: int, shift: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Pixel indices of a picture turned about its middle, to those of the capture."""
    t = np.radians(degrees)
    c, s = np.cos(t), np.sin(t)
    x, y = width / 2, height / 2
    return np.array([[c, -s, x - c * x + s * y + shift[0]], [s, c, y - s * x - c * y + shift[1]], [0, 0, 1]])


def speed(told) -> None:
    """A 24 MP rotation by the engine and by OpenCV, in copies."""
    capture, _ = made_captures.load("24", told.work)
    height, width, _ = capture.shape
    out = np.empty_like(capture)
    flat_capture, flat_out = capture.reshape(height, -1), out.reshape(height, -1)
    matrix = rotation(TILT_DEGREES, width, height)
    turn = cv2.invertAffineTransform(matrix[:2])
    cv2.setNumThreads(THREADS)

    def band(start: int, stop: int) -> None:
        straighten_rows(flat_capture, 0, 0, matrix, start, False, flat_out[start:stop])

    def opencv(flags: int):
        return lambda: cv2.warpAffine(capture, turn, (width, height), dst=out, flags=flags)

    with ThreadPoolExecutor(THREADS) as pool:
        methods = {
            "copy, two threads": two_threads(pool, height, lambda a, b: np.copyto(out[a:b], capture[a:b])),
            "engine, 8 x 8 taps, exact positions": two_threads(pool, height, band, BAND),
            "OpenCV, cubic": opencv(cv2.INTER_CUBIC),
            "OpenCV, Lanczos 8 x 8": opencv(cv2.INTER_LANCZOS4),
        }
        quiet = Quiet()
        times = rounds(methods, told.rounds, quiet)
    print(f"# 24 MP turned by {TILT_DEGREES} degrees, {told.rounds} rounds, {quiet}")
    for name, values in times.items():
        ratio = np.median(values / times["copy, two threads"])
        print(f"{name:38s} {np.median(values) * 1e3:8.1f} ms {ratio:7.1f} copies")


def wave(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A sinusoid of the given period, in levels."""
    return 32768 + 24000 * np.sin(2 * np.pi * (x * np.cos(0.3) + y * np.sin(0.3)) / PERIOD_PX)


def positions() -> None:
    """Largest error on a sinusoid, in 16-bit levels, at sub-pixel shifts and small turns."""
    size, inside = 512, 60
    y, x = np.mgrid[0:size, 0:size].astype(float)
    drawn = np.repeat(np.rint(wave(x, y)).astype(np.uint16)[..., None], 3, axis=2)
    print("# largest error on a sinusoid of 24 px, 16-bit levels")
    for degrees in (0.0, 1.3, -2.5):
        found = {}
        for shift in (0.013, 0.26, 0.5):
            matrix = rotation(degrees, size, size, (shift, 0.6 * shift))
            out = np.empty_like(drawn)
            straighten_rows(drawn.reshape(size, -1), 0, 0, matrix, 0, False, out.reshape(size, -1))
            u = matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]
            v = matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]
            error = np.abs(out[..., 0] - wave(u, v))[inside:-inside, inside:-inside]
            turned = cv2.warpAffine(
                drawn, cv2.invertAffineTransform(matrix[:2]), (size, size), flags=cv2.INTER_LANCZOS4
            )
            other = np.abs(turned[..., 0] - wave(u, v))[inside:-inside, inside:-inside]
            found[shift] = (error.max(), other.max())
        told = ", ".join(f"shift {shift}: {ours:.0f} (OpenCV Lanczos {cv:.0f})" for shift, (ours, cv) in found.items())
        print(f"turned by {degrees:5.1f}: {told}")


def weights(position: float) -> np.ndarray:
    """The engine's eight weights at a position between two pixels."""
    w = np.empty(resample_kernel.TAPS, np.float32)
    resample_kernel._weights(np.float32(position - 0.5), w)
    return w.astype(float)


def sharpness() -> None:
    """Response of the kernel by frequency: least, mean and most over all positions between two pixels."""
    taps = np.arange(resample_kernel.TAPS) - resample_kernel.BEFORE
    between = np.linspace(0, 1, 101)
    lanczos_taps = np.arange(6) - 2
    print("# response at parts of the Nyquist frequency, over all positions: least, mean, most")
    for part in (0.25, 0.5, 0.75):
        turns = np.pi * part
        ours = [abs(np.sum(weights(f) * np.exp(1j * turns * (taps - f)))) for f in between]
        lanczos = []
        for f in between:
            w = np.sinc(f - lanczos_taps) * np.sinc((f - lanczos_taps) / 3)
            lanczos.append(abs(np.sum(w / w.sum() * np.exp(1j * turns * (lanczos_taps - f)))))
        told = "  ".join(
            f"{name} {min(v):.3f} {np.mean(v):.3f} {max(v):.3f}"
            for name, v in (("engine", ours), ("Lanczos 3", lanczos))
        )
        print(f"{part:.2f}: {told}")


def design(taps: int = 8, passband: float = 0.75, moments: int = 3, degree: int = 5) -> np.ndarray:
    """Weights by least squares over frequencies up to `passband`, exact for powers below `moments`, as polynomials.

    Returns
    -------
    ndarray of shape (taps, degree + 1)
        Powers of (position - 1/2), the lowest first.
    """
    k = np.arange(taps) - (taps // 2 - 1)
    turns = np.linspace(0, passband * np.pi, 400)
    between = np.linspace(0, 1, 201)
    basis = np.exp(1j * np.outer(turns, k))
    stacked = np.vstack([basis.real, basis.imag])
    exact = np.array([k**m for m in range(moments)], float)
    system = np.block([[stacked.T @ stacked, exact.T], [exact, np.zeros((moments, moments))]])
    found = []
    for f in between:
        wanted = np.exp(1j * turns * f)
        right = stacked.T @ np.concatenate([wanted.real, wanted.imag])
        found.append(np.linalg.solve(system, np.concatenate([right, [f**m for m in range(moments)]]))[:taps])
    return np.array([np.polynomial.polynomial.polyfit(between - 0.5, column, degree) for column in np.array(found).T])


def main() -> None:
    """Print the tables."""
    told = arguments(rounds=5, design=0)
    if told.design:
        print("# powers of (position - 1/2) of taps 0 to 3, as derived now; the code's weights differ by at most")
        polynomials = design()
        print(polynomials[:4])
        between = np.linspace(0, 1, 101)
        derived = np.array([np.polynomial.polynomial.polyval(f - 0.5, polynomials.T) for f in between])
        print(np.abs(derived - np.array([weights(f) for f in between])).max())
        return
    positions()
    sharpness()
    speed(told)


if __name__ == "__main__":
    main()
