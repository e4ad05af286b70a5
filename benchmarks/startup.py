"""From the command typed to the first positive on disk: compiled before, and the first time ever.

    python benchmarks/startup.py [--work DIR] [--rounds 3]

A 24 MP capture of a tilted strip. Every run is a process of its own with an output folder of its own; for 'the
first time ever' the compiled kernels are kept in a new, empty folder.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from machine import Quiet, arguments
from roll import make_captures


def run(capture: Path, out: Path, cache: Path | None) -> tuple[float, float, str]:
    """Seconds to the first TIFF in its place, to the end, and what was said."""
    shutil.rmtree(out, ignore_errors=True)
    words = [sys.executable, "-m", "dryside.cli.main", "invert", str(capture), "--process", "c41", "--out", str(out)]
    environment = dict(os.environ, **({"NUMBA_CACHE_DIR": str(cache)} if cache else {}))
    start = time.perf_counter()
    running = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment)
    first = 0.0
    while running.poll() is None:
        if not first and list(out.glob("*.tif")):
            first = time.perf_counter() - start
        time.sleep(0.002)
    whole = time.perf_counter() - start
    said = running.stderr.read() if running.stderr else ""
    if running.returncode:
        raise SystemExit(said)
    return first or whole, whole, said.strip()


def main() -> None:
    """Print the table."""
    told = arguments(rounds=3)
    (capture,) = make_captures(told.work, "tilted", 1, "none")
    quiet = Quiet()
    print(f"{'run':34s} {'first positive, s':>18s} {'all, s':>8s}")
    cache = told.work / "kernels"
    firsts = []
    for _ in range(told.rounds):
        shutil.rmtree(cache, ignore_errors=True)
        quiet.wait()
        firsts.append(run(capture, told.work / "startup-out", cache))
    show("first ever (compiles)", firsts)
    run(capture, told.work / "startup-out", None)
    cached = []
    for _ in range(told.rounds):
        quiet.wait()
        cached.append(run(capture, told.work / "startup-out", None))
    show("compiled before", cached)
    print(f"# said the first time: {firsts[0][2]!r}; {quiet}")


def show(name: str, runs: list[tuple[float, float, str]]) -> None:
    """Medians of some runs."""
    first, whole = np.median([one[:2] for one in runs], axis=0)
    print(f"{name:34s} {first:18.2f} {whole:8.2f}")


if __name__ == "__main__":
    main()
