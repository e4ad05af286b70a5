"""A whole roll against its codec floor: 36 captures of 24 MP 16-bit TIFF to deflate TIFF, JPEG and thumbnail.

    python benchmarks/roll.py [--work DIR] [--captures 36] [--only whole,strips,tilted] [--compression deflate]

The floor is the processor time of one thread for a capture's unavoidable stages with the best codec known (read, and
for each pixel that is written the per-pixel pass, 8 bits, thumbnail, JPEG, deflate by ISA-L), over the cores. Rows:

- whole: each capture is one frame; nothing is looked for (codecs and the per-pixel pass only);
- strips: strips, frames, codes and base are looked for; the frame stands straight and is cut out;
- tilted: the same, tilted by 0.8 degrees, so that every frame is resampled.

Put --work on a tmpfs for the first figure and on a disk for the second.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import cv2
import made_captures
import numpy as np
import tifffile
from machine import Quiet, arguments, peak_mb

from dryside.film.perforations import EDGE_TO_HOLE_MM, HOLE_ACROSS_MM, HOLE_ALONG_MM, PITCH_MM
from dryside.negatives.capture import read_capture
from dryside.negatives.codecs.jpeg_file import encode_jpeg
from dryside.negatives.codecs.tiff_strips import ROWS_PER_STRIP, encode_strip
from dryside.negatives.frame_view import frame_view
from dryside.negatives.kernel import develop_rows
from dryside.negatives.kernel_numbers import kernel_numbers
from dryside.negatives.write_positive import THUMBNAIL_QUALITY, EightBit

DIFFERENT = 4  # captures that are made; the rest are links to them
SIZE = (4000, 6000)


def make_captures(work: Path, kind: str, count: int, compression: str) -> list[Path]:
    """`count` captures of a kind, made once."""
    folder = work / f"roll-{kind}-{compression}"
    folder.mkdir(exist_ok=True)
    packed = {} if compression == "none" else {"compression": "deflate", "predictor": True}
    for number in range(DIFFERENT):
        path = folder / f"made-{number}.tiff"
        if not path.exists():
            picture = np.roll(made_captures.load("24", work)[0], 97 * number, axis=1)
            if kind != "whole":
                picture = on_a_strip(picture, 0.8 if kind == "tilted" else 0.0)
            tifffile.imwrite(path, picture, photometric="rgb", rowsperstrip=ROWS_PER_STRIP, **packed)
    captures = []
    for number in range(count):
        link = folder / f"capture-{number + 1:02d}.tif"
        if not link.exists():
            os.link(folder / f"made-{number % DIFFERENT}.tiff", link)
        captures.append(link)
    return captures


def on_a_strip(picture: np.ndarray, tilt_degrees: float) -> np.ndarray:
    """The picture as the frame of a 135 strip over bare light, perforations and all, at about 110 px/mm."""
    rows, columns = SIZE
    scale = rows / 36.4
    strip = np.empty((rows + 1500, columns + 1500, 3), np.uint16)
    strip[:] = made_captures.flat_field(*strip.shape[:2])
    top = (strip.shape[0] - round(35 * scale)) // 2
    base = np.power(10.0, -np.array([0.25, 0.60, 0.85]))
    strip[top : top + round(35 * scale)] = strip[top : top + round(35 * scale)] * base
    frame = cv2.resize(picture, (round(36 * scale), round(24 * scale)), interpolation=cv2.INTER_AREA)
    left = (strip.shape[1] - frame.shape[1]) // 2
    down = top + round(5.5 * scale)
    strip[down : down + frame.shape[0], left : left + frame.shape[1]] = frame
    light = made_captures.flat_field(*strip.shape[:2])
    high, wide = round(HOLE_ACROSS_MM * scale), round(HOLE_ALONG_MM * scale)
    for k in range(int(strip.shape[1] / (PITCH_MM * scale))):
        x = round((k * PITCH_MM + 1.2) * scale)
        for y in (top + round(EDGE_TO_HOLE_MM * scale), top + round((35 - EDGE_TO_HOLE_MM) * scale) - high):
            area = np.s_[y : y + high, x : x + wide]
            strip[area] = light[area]
    if tilt_degrees:
        size = strip.shape[1], strip.shape[0]
        turn = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), tilt_degrees, 1)
        strip = cv2.warpAffine(strip, turn, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    y, x = (strip.shape[0] - rows) // 2, (strip.shape[1] - columns) // 2
    return np.ascontiguousarray(strip[y : y + rows, x : x + columns])


def stage_seconds(capture: Path, quiet: Quiet, samples: int = 5) -> dict[str, float]:
    """Processor time of one thread for each unavoidable stage of a capture of `SIZE`."""
    import benchmark_recipe

    cv2.setNumThreads(1)
    numbers = kernel_numbers(benchmark_recipe.PRINTED)
    rows, columns = SIZE
    light = np.zeros((1, 3 * columns), np.float32)
    out = np.empty((rows, 3 * columns), np.uint16)
    strips = range(0, rows, ROWS_PER_STRIP)
    with read_capture(capture) as opened:
        pixels = np.concatenate([opened.rows(s, min(s + ROWS_PER_STRIP, rows)) for s in strips])
        flat_pixels = pixels.reshape(rows, -1)
        n = numbers
        eight = EightBit(SIZE)

        def read() -> None:
            for s in strips:
                opened.rows(s, min(s + ROWS_PER_STRIP, rows))

        def develop() -> None:
            for s in strips:
                part = slice(s, s + ROWS_PER_STRIP)
                develop_rows(*(flat_pixels[part], light, s, 8, out[part], n.constants, n.shoulder, n.prints, n.table))

        def to_eight() -> None:
            eight._filled = 0
            for s in strips:
                eight.add(out.reshape(rows, columns, 3)[s : s + ROWS_PER_STRIP])

        def pack() -> None:
            for s in strips:
                encode_strip(out.reshape(rows, columns, 3)[s : s + ROWS_PER_STRIP].copy(), "deflate")

        stages = {
            "read": read,
            "per-pixel pass": develop,
            "to 8 bits": to_eight,
            "thumbnail": lambda: encode_jpeg(eight.thumbnail(), THUMBNAIL_QUALITY, b"", b""),
            "JPEG": lambda: encode_jpeg(eight.picture, 95, b"", b""),
            "deflate": pack,
        }
        times: dict[str, list[float]] = {name: [] for name in stages}
        for stage in stages.values():
            stage()
        for _ in range(samples):
            for name, stage in stages.items():
                quiet.wait()
                start = time.thread_time()
                stage()
                times[name].append(time.thread_time() - start)
    return {name: float(np.median(values)) for name, values in times.items()}


def run_child(kind: str, captures: list[Path], work: Path) -> dict[str, float]:
    """One roll by `invert` in a process of its own: seconds, processor seconds, peak memory."""
    out = work / "roll-out"
    shutil.rmtree(out, ignore_errors=True)
    words = [sys.executable, __file__, "--child", kind, "--work", str(work), "--captures", str(len(captures))]
    done = subprocess.run([*words, "--folder", str(captures[0].parent)], check=False, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(done.stderr)
    return json.loads(done.stdout.splitlines()[-1])


def child(kind: str, folder: Path, work: Path, count: int) -> None:
    """What `run_child` starts."""
    from dryside.negatives.invert import InvertOptions, invert
    from dryside.negatives.spaces import print_rendering

    captures = sorted(folder.glob("capture-*.tif"))[:count]
    options = InvertOptions("c41", "135", print_rendering(), whole=kind == "whole", workers=os.cpu_count() or 1)
    # What a first run compiles is no part of the roll's time.
    invert(captures[:1], options, work / "roll-warm")
    shutil.rmtree(work / "roll-warm")
    start, processor = time.perf_counter(), time.process_time()
    roll = invert(captures, options, work / "roll-out")
    wall, processor = time.perf_counter() - start, time.process_time() - processor
    frames = [frame for capture in roll.captures for frame in capture.frames]
    written = sum(positive_pixels(np.array(frame.corners)) for frame in frames)
    told = {"wall": wall, "processor": processor, "peak": peak_mb(), "pixels": written, "frames": len(frames)}
    print(json.dumps(told))


def positive_pixels(corners: np.ndarray) -> float:
    """How many pixels a positive has."""
    view = frame_view(corners)
    return float(view.rows * view.columns)


def main() -> None:
    """Print the table."""
    told = arguments(captures=36, only="whole,strips,tilted", compression="none", child="", folder="")
    if told.child:
        child(told.child, Path(told.folder), told.work, told.captures)
        return
    quiet = Quiet()
    cores = os.cpu_count() or 1
    whole = make_captures(told.work, "whole", told.captures, told.compression)
    stages = stage_seconds(whole[0], quiet)
    floor = sum(stages.values()) * told.captures / cores
    told_stages = ", ".join(f"{name} {seconds * 1e3:.0f}" for name, seconds in stages.items())
    print(
        f"# a capture's stages, ms of one thread: {told_stages}\n"
        f"# floor {floor:.2f} s for {told.captures} captures on {cores} cores"
    )
    print(f"{'roll':10s} {'s':>7s} {'x floor':>8s} {'cores busy':>11s} {'peak MB':>8s} {'frames':>7s}")
    for kind in told.only.split(","):
        captures = make_captures(told.work, kind, told.captures, told.compression)
        quiet.wait()
        r = run_child(kind, captures, told.work)
        busy = r["processor"] / r["wall"]
        per_pixel = sum(seconds for name, seconds in stages.items() if name != "read") / (SIZE[0] * SIZE[1])
        floor = (stages["read"] * told.captures + per_pixel * r["pixels"]) / cores
        print(f"{kind:10s} {r['wall']:7.2f} {r['wall'] / floor:8.2f} {busy:11.2f} {r['peak']:8.0f} {r['frames']:7.0f}")
    print(f"# {quiet}")
    shutil.rmtree(told.work / "roll-out", ignore_errors=True)


if __name__ == "__main__":
    main()
