"""How true the engine's colours are: charts on stocks that no default was fitted on, as the engine renders them.

    python benchmarks/colour_accuracy.py [--cases 40] [--process c41 e6] [--pictures DIR]

CIEDE2000 over the patches of a 24-patch chart against its published averages, one free exposure a frame. Rows: what the
engine was told: other frames on the roll are pictures of `--pictures`, of which the derivation's are left out; 'seen'
means that the engine may look for charts itself and use what it finds; elsewhere it does not know that there is one.
'dense' are stocks as dense as published, 'layered' is the measured sensor whose layers lie in depth.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from colour_cases import TABLE_HEAD, Case, cases, density_above_base, difference, measured_systems, table_row

from dryside.negatives.base import FilmBase
from dryside.negatives.calibrate import fit_chart_by_best_prior
from dryside.negatives.chart import find_chart
from dryside.negatives.layers import scene
from dryside.negatives.recipe import as_triple, density_log2, layer_exposures
from dryside.negatives.roll import FrameSamples, recipe_for_roll

SEED = 977  # none of the derivation's, and nothing was tuned on it
SHARED = Path(__file__).parents[2] / "shared" / "data" / "film-photographs"


def chart_picture(case: Case, stops: float, random: np.random.Generator, grain: float = 0.01) -> np.ndarray:
    """Transmittance of a frame filled by the chart, shape (64, 96, 3): patches on a dark card, some grain."""
    from colour_cases import REFLECTANCES

    spectra = np.full((64, 96, REFLECTANCES.shape[1]), 0.035)
    for index, reflectance in enumerate(REFLECTANCES):
        row, column = divmod(index, 6)
        spectra[3 + row * 15 : 16 + row * 15, 3 + column * 15 : 16 + column * 15] = reflectance
    exposed = case.reflectance_log_exposure(spectra, stops)
    return case.transmittance(exposed + random.normal(0.0, grain, exposed.shape))


def scenery(directory: Path, limit: int = 12) -> list[np.ndarray]:
    """Every other picture, those that no default was derived from, in linear sRGB, about 96 x 64."""
    from PIL import Image

    found = []
    for path in sorted(directory.glob("*.png"))[1::2][:limit]:
        with Image.open(path) as image:
            small = np.asarray(image.convert("RGB").resize((96, 64), Image.Resampling.BOX), dtype=float) / 255.0
        found.append(np.where(small <= 0.04045, small / 12.92, ((small + 0.055) / 1.055) ** 2.4))
    return found


def render_chart(case: Case, recipe, stops: float) -> np.ndarray:
    density = density_log2(case.transmittance(case.chart_log_exposure(stops)), np.ones(3))
    return layer_exposures(recipe, density) @ np.asarray(recipe.colour_matrix).T


def base_of(case: Case) -> FilmBase | None:
    return None if case.emulsion.process == "e6" else FilmBase(as_triple(case.base), 0.003, 400)


def uncalibrated(
    process: str,
    made: list[Case],
    pictures: list[np.ndarray],
    others: int,
    *,
    chart: bool = True,
    use_charts: bool = False,
) -> np.ndarray:
    random = np.random.default_rng(SEED)
    found = []
    for case in made:
        stops = float(random.uniform(-0.6, 1.3)) * (0.3 if process == "e6" else 1.0)
        frames = [FrameSamples(chart_picture(case, stops, random), base_of(case))] if chart else []
        for pick in random.permutation(len(pictures))[:others]:
            light = pictures[pick]
            exposed = case.picture_log_exposure(light, float(random.normal(0.0, 0.3 if process == "e6" else 0.6)))
            frames.append(FrameSamples(case.transmittance(exposed), base_of(case)))
        roll = recipe_for_roll(frames, process=process, use_charts=use_charts)
        found.append(difference(render_chart(case, roll.recipes[0], stops)))
    return np.array(found)


def calibrated(process: str, made: list[Case], stops: float) -> np.ndarray:
    """Fitted on one chart frame, tried on another of the same stock, `stops` away (slides: a third of that)."""
    random = np.random.default_rng(SEED + 1)
    part = 0.33 if process == "e6" else 1.0
    found = []
    for case in made:
        start = float(random.uniform(-0.3, 0.6)) * part
        seen = find_chart(-np.log2(chart_picture(case, start, random)))
        if not seen:
            print("no chart:", seen.why)
            continue
        base = np.zeros(3) if process == "e6" else case.base / np.log10(2.0)
        base_density = np.zeros(3) if process == "e6" else case.base
        vector = fit_chart_by_best_prior(process, base_density, seen.density - base).vector
        density = density_above_base(case, case.chart_log_exposure(start + stops * part))
        found.append(difference(scene(vector, density)))
    return np.array(found)


def neutrals(process: str, made: list[Case], *, target: str) -> np.ndarray:
    """Chroma part of CIEDE2000 of a wedge, shape (cases, steps), from -3 to +3 stops (slides: 2).

    `target` is what lies on the roll: 'wedge', 'wedge + chart' or 'chart'.
    """
    from colour_cases import REFLECTANCES, lab
    from skimage.color import deltaE_ciede2000

    random = np.random.default_rng(SEED + 2)
    span = 2.0 if process == "e6" else 3.0
    stops = np.linspace(-span, span, 13)
    grey = np.full((1, REFLECTANCES.shape[1]), 0.18)
    found = []
    for case in made:
        wedge = case.reflectance_log_exposure(grey) + 0.30103 * stops[:, None]
        frame = np.broadcast_to(np.repeat(wedge, 7, axis=0), (64, 91, 3))
        frames = []
        if "wedge" in target:
            grainy = frame + random.normal(0.0, 0.01, frame.shape)
            frames.append(FrameSamples(case.transmittance(grainy), base_of(case)))
        if "chart" in target:
            frames.append(FrameSamples(chart_picture(case, 0.0, random), base_of(case)))
        recipe = recipe_for_roll(frames, process=process).recipes[0]
        light = layer_exposures(recipe, density_log2(case.transmittance(wedge), np.ones(3)))
        rgb = light @ np.asarray(recipe.colour_matrix).T
        read = lab(rgb * 0.18 / rgb[6].mean())
        found.append(deltaE_ciede2000(read, read * (1, 0, 0)))
    return np.array(found)


def sets(process: str, count: int) -> dict[str, list[Case]]:
    """The cases by name."""
    measured = measured_systems()
    real, layered = ([one for one in measured if name in one.name] for name in ("Nikon", "Sigma"))
    made = {
        "invented and measured": cases(process, count, SEED),
        "measured camera, LEDs": cases(process, count, SEED, real),
        "layered sensor, LEDs": cases(process, count, SEED, layered, dense_part=0.5),
    }
    if process != "e6":
        made["measured, dense"] = cases(process, count, SEED, real, dense_part=1.0)
    return made


def print_set(row: str, process: str, made: list[Case], pictures: list[np.ndarray]) -> None:
    for others in (0, 1, 5):
        print(table_row(f"{row}, chart + {others}", uncalibrated(process, made, pictures, others)), flush=True)
    found = uncalibrated(process, made, pictures, 5, chart=False)
    print(table_row(f"{row}, 5 pictures, no chart", found), flush=True)
    found = uncalibrated(process, made, pictures, 5, use_charts=True)
    print(table_row(f"{row}, chart + 5, seen", found), flush=True)
    for target in ("wedge", "wedge + chart", "chart"):
        worst = neutrals(process, made, target=target).max(axis=1)
        print(f"{row}, {target}, worst step", end="")
        print(f"  median {np.median(worst):.2f}, within 3: {(worst <= 3).mean():.0%}", flush=True)
    for stops in (-1.0, 1.0):
        print(table_row(f"{row}, calibrated, {stops:+.0f} stop", calibrated(process, made, stops)), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--process", nargs="*", default=["c41", "ecn2", "e6"])
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--pictures", type=Path, default=SHARED)
    given = parser.parse_args()
    pictures = scenery(given.pictures)
    print(TABLE_HEAD)
    for process in given.process:
        for name, made in sets(process, given.cases).items():
            print_set(f"{process}, {name}", process, made, pictures)


if __name__ == "__main__":
    main()
