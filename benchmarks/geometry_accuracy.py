"""How well strips, frames, scale and labels are found, case by case, on captures whose truth is known.

    python benchmarks/geometry_accuracy.py [--each 8] [--seed 1] [--style plain|other|held] [--case NAME ...]
                                           [--show DIR]

A frame is found if its outline and a true one overlap by 0.95 (intersection over union). True frames that are not
wholly in the capture count neither as missed nor, if found, as wrong. Corner errors are in per cent of the frame's
height, over found frames. A label counts where a code is whole in the capture.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from geometry_cases import CASES, Drawn
from held_captures import HELD, photographed

from dryside.demo.simulator import SimulatedCapture, TrueFrame, draw_capture
from dryside.film.formats import FORMATS
from dryside.negatives.geometry import finder_reduction, read_film
from dryside.negatives.overlay import draw_overlay
from dryside.negatives.types import FilmRead, FrameFound

OVERLAP = 0.95
WHOLE = 0.995  # part of a frame in the capture: its own border may round a pixel off
TARGETS = "needed: recall, precision >= 0.98; corner median <= 0.4 %, p95 <= 1.2 %; scale <= 0.3 %; labels >= 0.98"


@dataclass
class Tally:
    """What is counted over captures."""

    true: int = 0
    found: int = 0
    right: int = 0
    corners: list[float] = field(default_factory=list)
    scales: list[float] = field(default_factory=list)
    tilts: list[float] = field(default_factory=list)
    labels: int = 0
    labels_right: int = 0
    labels_wrong: int = 0
    sides: int = 0
    sides_right: int = 0
    seconds: list[float] = field(default_factory=list)
    worst: list[tuple[str, str]] = field(default_factory=list)


def linear(made: SimulatedCapture) -> np.ndarray:
    """The capture's pixels as linear light."""
    values = made.pixels.astype(np.float32)
    if made.pixels.dtype == np.uint8:
        values /= 255
        return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return values / np.float32(65535)


def read(made: SimulatedCapture, drawn: Drawn) -> tuple[FilmRead, float, np.ndarray, int]:
    light = linear(made)
    factor = finder_reduction(*light.shape[:2])
    rows, columns = light.shape[0] // factor, light.shape[1] // factor
    small = cv2.resize(light[: rows * factor, : columns * factor], (columns, rows), interpolation=cv2.INTER_AREA)
    start = time.perf_counter()
    found = read_film(
        small,
        format=drawn.format,
        process=drawn.process,
        scale=float(factor),
        band=lambda y0, y1, x0, x1: light[y0:y1, x0:x1],
    )
    return found, time.perf_counter() - start, small, factor


def draw(name: str, style: str, rng: np.random.Generator) -> tuple[Drawn, SimulatedCapture]:
    """One capture of a case, and what is true of it."""
    if name in HELD:
        drawn, holder = HELD[name](rng)
        return drawn, photographed(drawn, holder, rng)
    drawn = CASES[name](rng, style)
    return drawn, draw_capture(drawn.placed, drawn.camera, seed=int(rng.integers(2**31)))


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    """Intersection over union of two convex outlines."""
    one, other = one.astype(np.float32), other.astype(np.float32)
    common, _ = cv2.intersectConvexConvex(one, other)
    return common / (cv2.contourArea(one) + cv2.contourArea(other) - common + 1e-9)


def corner_errors(found: np.ndarray, true: np.ndarray, *, any_way: bool) -> np.ndarray:
    """Distances of corners; in the best order where nothing tells which way up the film is."""
    ways = [found]
    if any_way:
        ways = [np.roll(way, turn, axis=0) for way in (found, found[::-1]) for turn in range(4)]
    return min((np.hypot(*(way - true).T) for way in ways), key=np.sum)


def count(tally: Tally, name: str, drawn: Drawn, made: SimulatedCapture, found: FilmRead) -> None:
    whole = [frame for frame in made.frames if frame.visible > WHOLE]
    left = list(made.frames)
    tally.true += len(whole)
    trouble = []
    for strip_read in found.strips:
        for frame in strip_read.frames:
            near = max(left, key=lambda true: overlap(frame.corners, true.corners), default=None)
            share = overlap(frame.corners, near.corners) if near else 0.0
            if near is not None and near.visible <= WHOLE and share > 0.5:
                left.remove(near)
                continue
            tally.found += 1
            if near is None or share < OVERLAP:
                trouble.append(f"wrong frame {frame.index} ({share:.2f})")
                continue
            left.remove(near)
            tally.right += 1
            _count_frame(tally, trouble, drawn, made, frame, near, known=strip_read.strip.upright_known)
        _count_strip(tally, trouble, drawn, made, strip_read)
    trouble += [f"missed frame {frame.strip}.{frame.index}" for frame in left if frame.visible > WHOLE]
    if trouble:
        tally.worst.append((name, "; ".join(trouble)))


def _count_frame(
    tally: Tally,
    trouble: list[str],
    drawn: Drawn,
    made: SimulatedCapture,
    frame: FrameFound,
    true: TrueFrame,
    *,
    known: bool,
) -> None:
    truth = made.strips[true.strip]
    height = FORMATS[drawn.format].across_mm * truth.pixels_per_mm
    errors = corner_errors(frame.corners, true.corners, any_way=not known) / height * 100
    tally.corners += errors.tolist()
    if errors.max() > 1.2:
        trouble.append(f"corner of {frame.index} off {errors.max():.1f} % (confidence {frame.confidence:.2f})")
    if truth.whole_codes:
        tally.labels += 1
        tally.labels_right += frame.label == true.label
        if frame.label is not None and frame.label != true.label:
            tally.labels_wrong += 1
        if frame.label != true.label:
            trouble.append(f"label {frame.label} for {true.label}")


def _count_strip(tally: Tally, trouble: list[str], drawn: Drawn, made: SimulatedCapture, strip_read) -> None:
    middle = strip_read.strip.plane.capture(
        np.array([(strip_read.strip.x_from_mm + strip_read.strip.x_to_mm) / 2, strip_read.strip.width_mm / 2])
    )

    def distance(truth):
        x, y = truth.plane.film(middle)
        return abs(y - (FORMATS[drawn.format].film_width_mm or 0) / 2) + max(0, -x)

    truth = min(made.strips, key=distance)
    scale = strip_read.strip.plane.pixels_per_mm(strip_read.strip.plane.film(middle))
    tally.scales.append(abs(scale / truth.plane.pixels_per_mm(truth.plane.film(middle)) - 1) * 100)
    turn = abs(strip_read.strip.tilt_degrees - truth.tilt_degrees) % 180
    tally.tilts.append(min(turn, 180 - turn))
    if tally.scales[-1] > 0.3:
        trouble.append(f"scale off {tally.scales[-1]:.2f} % ({strip_read.strip.scale_source})")
    if truth.whole_codes:
        tally.sides += 1
        tally.sides_right += strip_read.strip.mirrored == truth.mirrored
        if strip_read.strip.mirrored != truth.mirrored:
            trouble.append(f"mirrored {strip_read.strip.mirrored} for {truth.mirrored}")


def line(name: str, tally: Tally) -> str:
    def part(right: int, all: int) -> str:
        return f"{right / all:6.3f}" if all else "     -"

    corners = tally.corners or [float("nan")]
    scales = tally.scales or [float("nan")]
    return (
        f"{name:22s} {tally.true:5d} {part(tally.right, tally.true)} {part(tally.right, tally.found)} "
        f"{np.median(corners):6.2f} {np.percentile(corners, 95):6.2f} {np.max(scales):6.2f} "
        f"{max(tally.tilts, default=float('nan')):5.2f} {part(tally.labels_right, tally.labels)} "
        f"{tally.labels_wrong:5d} {part(tally.sides_right, tally.sides)} {np.median(tally.seconds):6.2f}"
    )


def add(total: Tally, one: Tally) -> None:
    for key, value in vars(one).items():
        setattr(total, key, getattr(total, key) + value)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=8, help="captures of each case")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--style", choices=("plain", "other", "held"), default="plain")
    parser.add_argument("--case", nargs="*", choices=(*CASES, *HELD), help="only these")
    parser.add_argument("--show", type=Path, help="write overlays of captures with trouble here")
    parser.add_argument("--work", type=Path, help="ignored; every benchmark takes it")
    options = parser.parse_args()
    print(f"{'case':22s} {'true':>5} {'recall':>6} {'precis':>6} {'c.med%':>6} {'c.p95%':>6} {'scale%':>6} "
          f"{'tilt':>5} {'label':>6} {'wrong':>5} {'side':>6} {'s':>6}")  # fmt: skip
    total = Tally()
    for name in options.case or (HELD if options.style == "held" else CASES):
        tally = Tally()
        for k in range(options.each):
            rng = np.random.default_rng([options.seed, k, sum(map(ord, name))])
            drawn, made = draw(name, options.style, rng)
            found, seconds, small, factor = read(made, drawn)
            tally.seconds.append(seconds)
            before = len(tally.worst)
            count(tally, f"{name}-{k}", drawn, made, found)
            if options.show and len(tally.worst) > before:
                options.show.mkdir(parents=True, exist_ok=True)
                cv2.imwrite(str(options.show / f"{name}-{k}.png"), draw_overlay(small, found, scale=factor)[..., ::-1])
        print(line(name, tally), flush=True)
        add(total, tally)
    print(line("all", total))
    print(TARGETS)
    for name, trouble in total.worst:
        print(f"  {name}: {trouble}")


if __name__ == "__main__":
    main()
