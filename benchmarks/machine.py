"""What the benchmarks share: a quiet machine, rounds in turn, ratios, memory, and where the work lies."""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np


def arguments(**more: object) -> argparse.Namespace:
    """`--work DIR` and one option for each keyword, with its default and type."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "dryside-benchmarks")
    for name, default in more.items():
        parser.add_argument(f"--{name.replace('_', '-')}", default=default, type=type(default))
    told = parser.parse_args()
    told.work.mkdir(parents=True, exist_ok=True)
    return told


def busy(seconds: float) -> float:
    """Share of all cores busy over the next seconds (this process sleeps); 0 where the system does not tell."""

    def ticks() -> tuple[int, int]:
        with Path("/proc/stat").open() as file:
            values = [int(word) for word in file.readline().split()[1:9]]
        return sum(values), values[3] + values[4]

    try:
        before = ticks()
        time.sleep(seconds)
        after = ticks()
    except OSError:
        return 0.0
    return 1 - (after[1] - before[1]) / max(1, after[0] - before[0])


@dataclass
class Quiet:
    """Waits for the rest of the machine to be idle: with one busy neighbour, figures of two threads are worthless."""

    samples: int = 0
    quiet: int = 0

    def wait(self, patience_s: float = float(os.environ.get("BENCHMARK_PATIENCE_S", "15"))) -> None:
        """Until less than an eighth of the machine is busy, or patience ends."""
        self.samples += 1
        end = time.monotonic() + patience_s
        while time.monotonic() < end:
            if busy(0.06) <= 0.12:
                self.quiet += 1
                return
            time.sleep(0.05)

    def __str__(self) -> str:
        return f"{self.quiet} of {self.samples} samples on a quiet machine"


def rounds(methods: Mapping[str, Callable[[], object]], count: int, quiet: Quiet) -> dict[str, np.ndarray]:
    """Seconds of each method in each round; the methods take turns, so that a slow spell hits all alike."""
    times: dict[str, list[float]] = {name: [] for name in methods}
    for method in methods.values():
        method()
    for _ in range(count):
        for name, method in methods.items():
            quiet.wait()
            start = time.perf_counter()
            method()
            times[name].append(time.perf_counter() - start)
    return {name: np.array(values) for name, values in times.items()}


def peak_mb(process: str = "self") -> float:
    """Most memory that a process has had resident, in MB (VmHWM); 0 where the system does not tell."""
    try:
        lines = Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024
