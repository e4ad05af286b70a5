"""Derive what a roll's pictures tell of its colour; write it where the engine reads it.

    python benchmarks/derive_picture_priors.py [--process c41] [--cases 800] [--layered] [--write]

Many invented stocks, lights and cameras photograph rolls of 1 to 12 pictures: photographs, drawn scenes, now and then a
chart or a wedge, each with a cast and an exposure of its own. For each the vector of `dryside.negatives.layers` is
fitted to chart and wedge, and what is kept is the line from `picture_features` to that vector (least squares, held
back) and the covariance around it, as pictures show it that the line was not fitted on.

Of the photographs beside the project every other one is used; `colour_accuracy.py` measures on the rest.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from colour_cases import REFLECTANCES, TABLE_HEAD, Case, cases, difference, layered_systems, mixed_systems, table_row
from derive_colour_defaults import DATA, chart_densities, fit_one, wedge_densities

from dryside.demo.pictures import PAINTERS, draw
from dryside.negatives.balance import Tones, tones_of
from dryside.negatives.layers import SIZE, scene
from dryside.negatives.picture_features import picture_features
from dryside.negatives.prior import PicturePrior, colour_prior
from dryside.negatives.recipe import density_log2

PHOTOGRAPHS = Path(__file__).parents[2] / "shared" / "data" / "film-photographs"
OPEN_PICTURES = ("astronaut", "chelsea", "coffee", "rocket", "stereo_motorcycle")  # scikit-image's own
FRAMES = (1, 2, 3, 5, 8, 12)
ROLLS_A_CASE = 4
SAMPLES_A_FRAME = 1000
GRAIN = 0.010
LAMP_LINE = np.array([0.45, 0.0, -0.89])
CAST_STOPS = 0.10
WEDGE_PART, CHART_PART = 0.04, 0.08
HELD_BACK = 0.05
OUT = DATA.with_name("colour_from_pictures.json")
LAYERED_OUT = DATA.with_name("colour_from_pictures_layered.json")


@dataclass(frozen=True, eq=False)
class Roll:
    """A roll of a case: which, from which half of the pictures, what its tones are."""

    case: int
    half: int
    tones: list[Tones]


def linear(encoded: np.ndarray) -> np.ndarray:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def pictures() -> list[list[np.ndarray]]:
    """Two halves of the pictures in linear sRGB, about 96 x 64, each shuffled into photographs and drawn scenes."""
    import skimage.data
    from PIL import Image

    def small(image: Image.Image) -> np.ndarray:
        size = (96, 64) if image.width >= image.height else (64, 96)
        return linear(np.asarray(image.convert("RGB").resize(size, Image.Resampling.BOX), dtype=float) / 255)

    found = [small(Image.open(path)) for path in sorted(PHOTOGRAPHS.glob("*.png"))[::2]]
    for name in OPEN_PICTURES:
        loaded = getattr(skimage.data, name)()
        found.append(small(Image.fromarray(loaded[0] if isinstance(loaded, tuple) else loaded)))
    drawn = [
        np.asarray(draw(kind, width=96, height=64, seed=seed), dtype=float)
        for kind in sorted(PAINTERS)
        for seed in (0, 1)
    ]
    return [found[half::2] * 3 + drawn[half::2] for half in (0, 1)]


def some_of(picture: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Samples of a part of the picture, more or less colourful than it is."""
    rows, columns = picture.shape[:2]
    part = random.uniform(0.55, 1.0)
    high, wide = int(rows * part), int(columns * part)
    top, left = random.integers(0, rows - high + 1), random.integers(0, columns - wide + 1)
    samples = picture[top : top + high, left : left + wide].reshape(-1, 3)
    samples = np.log(np.maximum(samples[random.permutation(len(samples))[:SAMPLES_A_FRAME]], 1e-4))
    middle = samples.mean(axis=1, keepdims=True)
    return np.exp(middle + (samples - middle) * random.uniform(0.75, 1.15))


def frame_exposures(case: Case, pool: list[np.ndarray], rgb: np.ndarray, cast: float, random) -> np.ndarray:
    """log10 exposures of a frame's samples: a picture under some light, now and then a chart or a wedge."""
    part = 0.3 if case.emulsion.process == "e6" else 1.0
    stops = float(random.normal(0.2, 0.6)) * part
    draw_kind = random.random()
    grey = np.full((1, REFLECTANCES.shape[1]), 0.18)
    if draw_kind < WEDGE_PART:
        span = 3.0 if part == 1.0 else 2.0
        steps = 0.30103 * np.linspace(-span, span, 13)[:, None]
        return np.repeat(case.reflectance_log_exposure(grey) + steps, 40, axis=0)
    if draw_kind < WEDGE_PART + CHART_PART:
        card = np.repeat(case.reflectance_log_exposure(grey * 0.2, stops), 150, axis=0)
        return np.concatenate([np.repeat(case.chart_log_exposure(stops), 24, axis=0), card])
    samples = some_of(pool[random.integers(len(pool))], random)
    lamp = 0.30103 * random.normal(cast, CAST_STOPS) * LAMP_LINE
    return np.log10(np.maximum(samples @ rgb.T, 1e-5)) + 0.30103 * stops + lamp


def roll_of(index: int, case: Case, half: int, pool: list[np.ndarray], mean: np.ndarray, random) -> Roll:
    cast, rgb = random.normal(0.0, CAST_STOPS), case.rgb_matrix()
    frames = [frame_exposures(case, pool, rgb, cast, random) for _ in range(random.choice(FRAMES))]
    together = np.concatenate(frames)
    through = case.transmittance(together + random.normal(0.0, GRAIN, together.shape))
    base = np.zeros(3) if case.emulsion.process == "e6" else case.base / np.log10(2.0)
    cuts = np.cumsum([len(frame) for frame in frames])[:-1]
    tones = [tones_of(part, mean) for part in np.split(density_log2(through, np.ones(3)) - base, cuts)]
    return Roll(index, half, [one for one in tones if len(one.weight)])


def line_of(features: np.ndarray, aims: np.ndarray) -> PicturePrior:
    """Least squares from features to vectors, held back a little; no covariance yet."""
    middle, spread = features.mean(axis=0), features.std(axis=0) + 1e-9
    known = PicturePrior(middle, spread, np.zeros((1 + len(middle), SIZE)), np.eye(SIZE)).design(features)
    hold = HELD_BACK * len(features) * np.eye(known.shape[1])
    hold[0, 0] = 0.0
    return PicturePrior(middle, spread, np.linalg.solve(known.T @ known + hold, known.T @ aims), np.eye(SIZE))


def derive(process: str, count: int, seed: int, *, layered: bool) -> PicturePrior:
    random = np.random.default_rng(seed)
    systems = layered_systems(random, count) if layered else mixed_systems(random, count, 0.0)
    prior = colour_prior(process, "layered" if layered else "filtered")
    made = cases(process, count, seed, systems, dense_part=0.5)
    bases = np.array([np.zeros(3) if process == "e6" else case.base for case in made])
    means = np.array([prior.mean(base) for base in bases])
    density, wedge, whiten = chart_densities(process, made), wedge_densities(process, made), prior.whitening()
    aims = np.array([fit_one(d, w, m, whiten) for d, w, m in zip(density, wedge, means, strict=True)])
    print(table_row(f"{process}: own fit", difference(scene(aims, density))), flush=True)
    halves = pictures()
    rolls = [
        roll_of(index, case, n % 2, halves[n % 2], means[index], random)
        for index, case in enumerate(made)
        for n in range(ROLLS_A_CASE)
    ]
    of = np.array([roll.case for roll in rolls])
    features = np.array([picture_features(bases[roll.case], roll.tones, means[roll.case]) for roll in rolls])
    wanted = aims[of] - means[of]
    return with_covariance(process, rolls, features, wanted, means[of], density[of])


def with_covariance(process, rolls: list[Roll], features, wanted, means, density) -> PicturePrior:
    """The line over all rolls, with the covariance of what is left on pictures and cases that a line did not see."""
    half, of = np.array([roll.half for roll in rolls]), np.array([roll.case for roll in rolls])
    left = np.empty_like(wanted)
    for this in (0, 1):
        for later in (0, 1):
            inside = (half != this) & (of % 2 != later)
            tried = (half == this) & (of % 2 == later)
            line = line_of(features[inside], wanted[inside])
            left[tried] = wanted[tried] - line.shift(features[tried])
    found = difference(scene(means + wanted - left, density))
    print(table_row(f"{process}: by pictures and cases left out", found), flush=True)
    whole = line_of(features, wanted)
    print(table_row(f"{process}: by the line itself", difference(scene(means + whole.shift(features), density))))
    return PicturePrior(whole.middle, whole.spread, whole.weights, left.T @ left / len(left))


def document(found: PicturePrior, source: str) -> dict:
    def short(values: np.ndarray) -> list:
        return [[float(f"{v:.4g}") for v in row] for row in np.atleast_2d(values)]

    return {
        "source": source,
        "middle": short(found.middle)[0],
        "spread": short(found.spread)[0],
        "weights": short(found.weights),
        "covariance": np.round(found.covariance, 8).tolist(),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--process", nargs="*", default=["c41", "ecn2", "e6"])
    parser.add_argument("--cases", type=int, default=800)
    parser.add_argument("--seed", type=int, default=62001)
    parser.add_argument("--write", action="store_true", help="write the engine's data file")
    parser.add_argument("--layered", action="store_true", help="for sensors whose three layers lie in depth")
    given = parser.parse_args()
    out = LAYERED_OUT if given.layered else OUT
    print(TABLE_HEAD)
    for process in given.process:
        found = derive(process, given.cases, given.seed, layered=given.layered)
        if given.write:
            source = f"benchmarks/derive_picture_priors.py, {given.cases} invented cases, seed {given.seed}"
            kept = json.loads(out.read_text()) if out.exists() else {}
            kept[process] = document(found, source)
            out.write_text(json.dumps(kept) + "\n")


if __name__ == "__main__":
    main()
