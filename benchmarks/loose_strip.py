"""Loose strips: how many are told right, asked about, or told wrong.

python benchmarks/loose_strip.py [--pictures ../shared/data/film-photographs] [--strips 40]

Every photograph is cut into its four quarters, so that rolls hold pictures that resemble each other. Half of them lie
on rolls of the book, as a lab would have scanned them (cropped, other colours and contrast, grain); the strips are
other versions of them (less cropped, other tone, turned round or mirrored now and then). Half of the strips belong to
no roll. No edge codes: the pictures alone must tell.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

from dryside.sleeves.glance import glance_at
from dryside.sleeves.loose import BookFrame, BookRoll, LooseFrame, LooseStrip, place_strip, verdict

FRAMES_A_ROLL = 6
DEFAULT = Path(__file__).parents[1].parent / "shared" / "data" / "film-photographs"


def views(path: Path) -> list[np.ndarray]:
    """The four quarters of a photograph, each twice as large as it was."""
    picture = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
    rows, columns = picture.shape[:2]
    height, width = rows // 2, columns // 2
    places = ((0, 0), (0, columns - width), (rows - height, 0), (rows - height, columns - width))
    return [cv2.resize(picture[y : y + height, x : x + width], None, fx=2, fy=2) for y, x in places]


def version(picture: np.ndarray, rng: np.random.Generator, *, most_cut: float, grain: float) -> np.ndarray:
    """The same view from another machine."""
    rows, columns = picture.shape[:2]
    cut = rng.uniform(0, most_cut, 4)
    part = picture[int(rows * cut[0]) : int(rows * (1 - cut[1])), int(columns * cut[2]) : int(columns * (1 - cut[3]))]
    toned = np.clip(part / 255 * rng.uniform(0.75, 1.2, 3) + rng.uniform(-0.06, 0.06), 0, 1) ** rng.uniform(0.7, 1.4)
    return np.clip(255 * toned + rng.normal(0, grain, part.shape), 0, 255).astype(np.uint8)


def strip_of(pictures: list[np.ndarray], rng: np.random.Generator) -> LooseStrip:
    made = [version(picture, rng, most_cut=0.01, grain=6) for picture in pictures]
    way = rng.integers(0, 4)
    if way == 1:  # laid the wrong way round
        made = [np.ascontiguousarray(picture[::-1, ::-1]) for picture in made[::-1]]
    elif way == 2:  # wrong side up
        made = [np.ascontiguousarray(picture[:, ::-1]) for picture in made[::-1]]
    return LooseStrip(tuple(LooseFrame(None, picture) for picture in made), None)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=Path, default=DEFAULT)
    parser.add_argument("--strips", type=int, default=40)
    given = parser.parse_args()
    rng, chance = np.random.default_rng(3), random.Random(3)
    every = [view for path in sorted(given.pictures.glob("*.png")) for view in views(path)]
    chance.shuffle(every)
    half = len(every) // 2
    scans = [version(view, rng, most_cut=0.05, grain=4) for view in every[:half]]
    rolls = [BookRoll(n, f"26-{n + 1:03}", None) for n in range(half // FRAMES_A_ROLL)]
    known = len(rolls) * FRAMES_A_ROLL
    frames = [
        BookFrame(
            k, k // FRAMES_A_ROLL, k % FRAMES_A_ROLL, str(k % FRAMES_A_ROLL + 1), Path(str(k)), glance_at(scans[k])
        )
        for k in range(known)
    ]
    told: Counter[str] = Counter()
    start = time.perf_counter()
    for number in range(given.strips):
        many = chance.randint(2, 4)
        belongs = number % 2 == 0
        roll = chance.randrange(len(rolls))
        first = chance.randint(0, FRAMES_A_ROLL - many)
        pictures = every[roll * FRAMES_A_ROLL + first :][:many] if belongs else chance.sample(every[half:], many)
        guesses = place_strip(strip_of(pictures, rng), rolls, frames, lambda path: scans[int(str(path))])
        said = verdict(guesses)
        wanted = {str(first + n + 1) for n in range(many)}
        right = (
            bool(guesses) and guesses[0].roll_id == roll and {label for label in guesses[0].labels if label} == wanted
        )
        outcome = {"found": "told right" if belongs and right else "told wrong", "asked": "asked", "none": "said none"}[
            said
        ]
        told[f"{'of a roll' if belongs else 'of no roll'}: {outcome}"] += 1
    took = (time.perf_counter() - start) / given.strips
    print(f"{len(frames)} pictures in the book, {given.strips} strips of 2 to 4 frames, {took:.1f} s a strip")
    for outcome, count in sorted(told.items()):
        print(f"  {outcome}: {count}")


if __name__ == "__main__":
    main()
