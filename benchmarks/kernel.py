"""The per-pixel pass against its limit and its peers.

    python benchmarks/kernel.py [--work DIR] [--size 24|61] [--rounds 7]

The yardstick is a two-thread NumPy add of two uint16 pictures into a third: the traffic of capture and flat in,
positive out. Every method takes its turn in every round. Accuracy is against the engine's own float64 statement
(`recipe.apply_reference`), on 60 rows. Peers compute the plain recipe: density, matrix, power law, matrix, encoding.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import cv2
import made_captures
import numpy as np
from benchmark_recipe import CURVED, LINEAR, PLAIN, PRINTED, TOED
from machine import Quiet, arguments, rounds

from dryside.negatives.flat import FLAT_CELL, Flat, widen_map
from dryside.negatives.kernel import develop_rows
from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.recipe import Recipe, apply_reference

THREADS = 2
STRIP_ROWS = 64
FULL = 65535
YARDSTICK = "add, two threads"
RECIPES = {
    "engine, power law": PLAIN,
    "engine, toe": TOED,
    "engine, toe and shoulder": CURVED,
    "engine, toe and shoulder, linear scene": LINEAR,
    "engine, toe and shoulder, print": PRINTED,
}
Method = Callable[[], object]


class Engine:
    """The kernel over strips of rows on two threads."""

    def __init__(self, capture: np.ndarray, flat: np.ndarray, out: np.ndarray, pool: ThreadPoolExecutor) -> None:
        self._rows, self._columns = capture.shape[:2]
        self._in, self._out, self._pool = (capture.reshape(len(capture), -1), out.reshape(len(out), -1), pool)
        cells = cv2.resize(
            flat.astype(np.float32),
            (-(-self._columns // FLAT_CELL), -(-self._rows // FLAT_CELL)),
            interpolation=cv2.INTER_AREA,
        )
        self.flat = Flat(np.log2(cells / FULL), FLAT_CELL, capture.shape[:2], "flat")
        wide = widen_map(np.log2(cells) - 16, FLAT_CELL, np.arange(self._columns))
        self._light = wide.reshape(len(wide), -1)

    def method(self, recipe: Recipe) -> Method:
        """The pass with one recipe."""
        n = kernel_numbers(recipe)

        def strip(start: int) -> None:
            rows = slice(start, start + STRIP_ROWS)
            develop_rows(
                *(self._in[rows], self._light, start, FLAT_CELL, self._out[rows]),
                *(n.constants, n.shoulder, n.prints, n.table),
            )

        return lambda: list(self._pool.map(strip, range(0, self._rows, STRIP_ROWS)))

    def errors(self, recipe: Recipe, capture: np.ndarray, out: np.ndarray) -> tuple[float, float]:
        """Largest and mean difference from float64, in 16-bit levels, over 60 rows."""
        picked = np.linspace(0, self._rows - 1, 60).astype(int)
        differences = []
        for row in picked:
            light = self.flat.rows(row, row + 1)[0].astype(float) * FULL
            exact = np.floor(apply_reference(recipe, np.maximum(capture[row], 1), light) * FULL + 0.5)
            differences.append(np.abs(out[row] - exact))
        return float(np.max(differences)), float(np.mean(differences))


def two_threads(pool: ThreadPoolExecutor, rows: int, part: Callable[[int, int], object], step: int = 0) -> Method:
    """`part(start, stop)` over all rows on the pool."""
    step = step or -(-rows // THREADS)
    return lambda: list(pool.map(lambda start: part(start, min(rows, start + step)), range(0, rows, step)))


def encoding(levels: int = FULL + 1) -> np.ndarray:
    """The peers' table: sRGB codes of squared, evenly spaced samples."""
    from dryside.negatives.rendering import encode

    return np.rint(encode("srgb", np.linspace(0, 1, levels) ** 2) * FULL).astype(np.uint16)


def folded() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The plain recipe's numbers in float32 as the peers use them; the output scale folded in."""
    colour = np.asarray(PLAIN.colour_matrix) / PLAIN.rendering.full_scale
    return tuple(np.asarray(a, np.float32) for a in (PLAIN.density_matrix, PLAIN.offset, colour))


def numpy_rows(capture: np.ndarray, flat: np.ndarray, out: np.ndarray) -> Callable[[int, int], None]:
    """NumPy in float32 over some rows."""
    matrix, offset, colour = folded()
    table = encoding()

    def part(start: int, stop: int) -> None:
        t = np.log2(np.maximum(flat[start:stop], 1).astype(np.float32) / np.maximum(capture[start:stop], 1))
        t = np.exp2(t @ matrix.T + offset) @ colour.T
        np.clip(t, 0, 1, out=t)
        np.sqrt(t, out=t)
        out[start:stop] = table[(t * np.float32(FULL) + np.float32(0.5)).astype(np.uint16)]

    return part


def opencv_rows(capture: np.ndarray, flat: np.ndarray, out: np.ndarray) -> Callable[[int, int], None]:
    """OpenCV over some rows, natural logarithms, table for the encoding."""
    matrix, offset, colour = (a.astype(float) for a in folded())
    affine = np.hstack([matrix, offset[:, None] * np.log(2)])
    table = encoding()

    def part(start: int, stop: int) -> None:
        t = cv2.divide(flat[start:stop], capture[start:stop], dtype=cv2.CV_32F)
        cv2.log(t, t)
        t = cv2.transform(t, affine)
        cv2.exp(t, t)
        t = cv2.transform(t, colour)
        cv2.max(t, 0.0, t)
        cv2.multiply(t, (float(FULL) ** 2,) * 4, t)
        cv2.sqrt(t, t)
        cv2.LUT(cv2.add(t, (0.0,) * 4, dtype=cv2.CV_16U), table, out[start:stop])

    return part


def libvips(capture: np.ndarray, flat: np.ndarray, out: np.ndarray) -> Method | None:
    """libvips over the whole picture; None where it is not installed."""
    try:
        import pyvips
    except ImportError:
        return None
    rows, columns, _ = capture.shape
    table = pyvips.Image.new_from_memory(encoding().tobytes(), FULL + 1, 1, 1, "ushort")
    matrix, offset, colour = (a.astype(float) for a in folded())

    def run() -> None:
        film = pyvips.Image.new_from_memory(capture.data, columns, rows, 3, "ushort")
        light = pyvips.Image.new_from_memory(flat.data, columns, rows, 3, "ushort")
        v = (light / film).log().recomb(pyvips.Image.new_from_array(matrix.tolist()))
        v = v.linear([1, 1, 1], (offset * np.log(2)).tolist()).exp()
        c = v.recomb(pyvips.Image.new_from_array((colour * FULL).tolist()))
        c = (c > 0).ifthenelse(c, 0)
        encoded = ((c * float(FULL)) ** 0.5).cast("ushort").maplut(table)
        out[:] = np.frombuffer(encoded.write_to_memory(), np.uint16).reshape(out.shape)

    return run


def numpy_as_written(capture: np.ndarray, flat: np.ndarray, out: np.ndarray) -> Method:
    """The steps one after another over the whole picture, nothing folded, float32."""
    matrix, offset, colour = folded()
    table = encoding()

    def run() -> None:
        transmittance = np.maximum(capture, 1).astype(np.float32) / np.maximum(flat, 1).astype(np.float32)
        density = -np.log10(transmittance)
        exposure = np.power(np.float32(10), (density @ matrix.T) + offset * np.float32(np.log10(2)))
        linear = np.clip(exposure @ colour.T, 0, 1)
        out[:] = table[(np.sqrt(linear) * np.float32(FULL) + np.float32(0.5)).astype(np.uint16)]

    return run


def main() -> None:
    """Print the table."""
    told = arguments(size="24", rounds=7, peers=1)
    capture, flat = made_captures.load(told.size, told.work)
    out = np.empty_like(capture)
    rows = len(capture)
    cv2.setNumThreads(1)
    with ThreadPoolExecutor(THREADS) as pool:
        engine = Engine(capture, flat, out, pool)
        methods: dict[str, Method] = {
            YARDSTICK: two_threads(pool, rows, lambda a, b: np.add(capture[a:b], flat[a:b], out[a:b])),
            "copy, two threads": two_threads(pool, rows, lambda a, b: np.copyto(out[a:b], capture[a:b])),
        }
        methods |= {name: engine.method(recipe) for name, recipe in RECIPES.items()}
        if told.peers:
            methods["OpenCV at its best, strips on two threads"] = two_threads(
                pool, rows, opencv_rows(capture, flat, out), 8
            )
            methods["NumPy, strips on two threads"] = two_threads(pool, rows, numpy_rows(capture, flat, out), 8)
            methods["NumPy as written"] = numpy_as_written(capture, flat, out)
            vips = libvips(capture, flat, out)
            if vips is not None:
                methods["libvips"] = vips
        accuracy = {}
        for name, recipe in RECIPES.items():
            methods[name]()
            accuracy[name] = engine.errors(recipe, capture, out)
        quiet = Quiet()
        times = rounds(methods, told.rounds, quiet)
    show(told.size, times, accuracy, quiet)


def show(size: str, times: dict[str, np.ndarray], accuracy: dict[str, tuple[float, float]], quiet: Quiet) -> None:
    """One line a method: time, ratio to the yardstick, ratio to the engine's plain pass, errors."""
    yard = times[YARDSTICK]
    plain = times["engine, power law"]
    print(f"# {size} MP, {len(yard)} rounds, {quiet}; ratios are medians over the rounds")
    print(f"{'method':44s} {'ms':>8s} {'x add':>7s} {'x engine':>9s} {'max':>5s} {'mean':>6s}  (16-bit levels)")
    for name, values in times.items():
        ratios = np.median(values / yard), np.median(values / plain)
        errors = "{:5.0f} {:6.3f}".format(*accuracy[name]) if name in accuracy else ""
        print(f"{name:44s} {np.median(values) * 1e3:8.1f} {ratios[0]:7.2f} {ratios[1]:9.2f} {errors}")


if __name__ == "__main__":
    main()
