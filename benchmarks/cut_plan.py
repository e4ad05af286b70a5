"""The cut plan: how long it thinks, against trying every way, and what it saves over cutting every so many frames.

python benchmarks/cut_plan.py [--rolls 200]

Rolls are invented: the camera's rhythm with gaps that wander, a frame now and then that overlaps its neighbour, 12 to
75 frames. 'Every way' tries all subsets of places to cut, so it is asked only for the shorter rolls. 'Cut in sixes' is
what a hurried person does: every sixth gap, moved on where no blade fits.
"""

from __future__ import annotations

import argparse
import itertools
import random
import time
from statistics import median

from dryside.film.sleeves import SleevePage, sleeve_page
from dryside.sleeves.cutting import CutPlan, plan_for_page
from dryside.sleeves.frames_on_film import FrameOnFilm
from dryside.sleeves.laying import LooseLength, lay_strips

ALL_WAYS_UP_TO = 16


def invented_roll(rng: random.Random, count: int) -> tuple[FrameOnFilm, ...]:
    frames, at = [], 0.0
    for number in range(1, count + 1):
        frames.append(FrameOnFilm(str(number), at, at + 36.0))
        gap = rng.choice([-1.5, 0.2]) if rng.random() < 0.06 else max(0.5, rng.gauss(2.0, 0.4))
        at += 36.0 + gap
    return tuple(frames)


def all_ways(frames: tuple[FrameOnFilm, ...], page: SleevePage) -> tuple[int, ...]:
    gaps = [later.start_mm - earlier.end_mm for earlier, later in itertools.pairwise(frames)]
    allowed = [index for index, gap in enumerate(gaps) if gap >= 0.4]
    best = None
    for many in range(len(allowed) + 1):
        for cuts in itertools.combinations(allowed, many):
            bounds = [-1, *cuts, len(frames) - 1]
            sizes = [b - a for a, b in itertools.pairwise(bounds)]
            if max(sizes) > page.frames_per_row:
                continue
            cost = (
                sum(size == 1 for size in sizes), -(-len(sizes) // page.rows), sum(size < 4 for size in sizes),
                sum(gaps[cut] < 1 for cut in cuts), len(sizes), sum(size**2 for size in sizes),
            )  # fmt: skip
            best = cost if best is None else min(best, cost)
    return best or ()


def in_sixes(frames: tuple[FrameOnFilm, ...], each: int) -> list[int]:
    """Frames of each strip when every sixth gap is cut, or the first before it where a blade fits."""
    sizes, first = [], 0
    while first < len(frames):
        last = min(first + each, len(frames)) - 1
        while first < last < len(frames) - 1 and frames[last + 1].start_mm - frames[last].end_mm < 0.4:
            last -= 1
        sizes.append(last - first + 1)
        first = last + 1
    return sizes


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rolls", type=int, default=200)
    rng = random.Random(11)
    page = sleeve_page("7x6")
    took, ratios, short, hurried_short, pages, hurried_pages, differing = [], [], 0, 0, 0, 0, 0
    for _ in range(parser.parse_args().rolls):
        frames = invented_roll(rng, rng.choice([12, 14, 16, 24, 25, 36, 37, 38, 39, 72, 75]))
        start = time.perf_counter()
        plan: CutPlan = plan_for_page(frames, page)
        took.append(time.perf_counter() - start)
        if len(frames) <= ALL_WAYS_UP_TO:
            start = time.perf_counter()
            best = all_ways(frames, page)
            ratios.append((time.perf_counter() - start) / took[-1])
            ours = plan.cost
            differing += best != (ours.too_short, ours.pages, ours.short, ours.narrow, ours.strips, ours.unevenness)
        sizes = in_sixes(frames, page.frames_per_row)
        short += plan.cost.short
        hurried_short += sum(size < 4 for size in sizes)
        pages += plan.pages
        hurried_pages += -(-len(sizes) // page.rows)
    pile = [LooseLength(n, 38.0 * rng.randint(1, 6)) for n in range(1, 301)]
    start = time.perf_counter()
    lying = lay_strips(pile, sleeve_page("6x6"))
    laid = time.perf_counter() - start
    least = -(-sum(round(one.length_mm / 38) for one in pile) // 36)
    print(f"cut plan of a roll, ms: median {1e3 * median(took):.2f}, longest {1e3 * max(took):.2f} ({len(took)} rolls)")
    print(
        f"every way takes {median(ratios):.0f} times as long (rolls of up to {ALL_WAYS_UP_TO}); "
        f"plans that differ: {differing}"
    )
    print(f"strips under 4 frames: {short} planned, {hurried_short} cut in sixes; pages: {pages} and {hurried_pages}")
    print(
        f"300 strips of 1 to 6 frames laid in {1e3 * laid:.0f} ms on {lying_pages(lying)} pages; "
        f"by length at least {least}"
    )


def lying_pages(lying) -> int:
    return max(one.page for one in lying)


if __name__ == "__main__":
    main()
