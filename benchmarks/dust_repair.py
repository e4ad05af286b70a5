"""How well dust is taken out by infrared: mended pixels against the print of the clean film.

    python benchmarks/dust_repair.py [--pictures DIR]

A frame of each picture with dust, hairs, scratches, grain and shot noise; its infrared 0.7 and -1.3 pixels off.
'within': part of the truly dusty pixels within CIEDE2000 4, and the grain's own spread, of the print without dust;
'plain': the same after a plain diffusion from a perfect mask; 'others': part of the other pixels that were changed;
'spread': what grain alone makes of CIEDE2000, in the median.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from colour_accuracy import SHARED, base_of
from colour_cases import cases, measured_systems
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from dryside.demo.simulator.camera import Camera
from dryside.demo.simulator.capture import draw_capture
from dryside.demo.simulator.film_strip import ExposedFrame, FilmStrip
from dryside.demo.simulator.spectral_film import SpectralFilm
from dryside.negatives.dust import find_dust, mend
from dryside.negatives.recipe import apply_reference
from dryside.negatives.roll import FrameSamples, recipe_for_roll
from dryside.negatives.spaces import print_rendering

WINDOW = np.s_[250:1050, 230:1430]


def light_of(path: Path) -> np.ndarray:
    with Image.open(path) as image:
        upright = image.convert("RGB")
        turned = upright.rotate(90, expand=True) if upright.height > upright.width else upright
        code = np.asarray(turned.resize((600, 400)), dtype=np.float32) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


GRAIN = 0.012  # log10 density from pixel to pixel, as a fine film shows at 36 px/mm
FULL_WELL = 30000.0


def _shot(light: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """What a sensor makes of it: shot noise of `FULL_WELL` electrons at bare light."""
    noise = random.standard_normal(light.shape) * np.sqrt(np.maximum(light, 0.0) / FULL_WELL)
    return np.maximum(light + noise, 1e-6).astype(np.float32)


def measure(path: Path, seed: int) -> tuple[float, float, float, float]:
    system = [one for one in measured_systems() if one.name.startswith("LED-B3") and "Nikon" in one.name]
    case = cases("c41", 1, 5, system)[0]
    film = SpectralFilm(case.emulsion, case.system, case.scene_light)
    strip = FilmStrip((ExposedFrame(light_of(path), x_mm=4),), length_mm=46, emulsion=film)
    camera = Camera(rows=1300, columns=1700, pixels_per_mm=36, infrared=True, dtype="float32", grain=0.0, full_well=0.0)
    dusty = draw_capture(strip, replace(camera, dust=150, scratches=2), seed=seed)
    clean = draw_capture(strip, camera, seed=seed)
    through, smooth = ((one.pixels / one.flat)[WINDOW] for one in (dusty, clean))
    random = np.random.default_rng(seed)
    film = 10.0 ** -cv2.GaussianBlur(random.normal(0.0, 2.5 * GRAIN, smooth.shape), (0, 0), 0.7)
    light, undusty = (_shot(one * film, random) for one in (through, smooth))
    move = np.array([[1, 0, -0.7], [0, 1, 1.3]], np.float32)
    size = light.shape[1::-1]
    infrared = cv2.warpAffine(
        dusty.infrared[WINDOW], move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    mended = mend(light, find_dust(light, infrared.astype(np.float32)))
    lost = dusty.damage[WINDOW] > 0.02
    near = cv2.dilate(lost.astype(np.uint8), np.ones((3, 3), np.uint8))
    levels = (np.clip(light, 0, 1) * 65535).astype(np.uint16)
    plain = np.dstack([cv2.inpaint(part, near, 3, cv2.INPAINT_NS) for part in cv2.split(levels)]) / 65535.0
    samples = FrameSamples(cv2.resize(undusty, (96, 64), interpolation=cv2.INTER_AREA), base_of(case))
    recipe = recipe_for_roll([samples], process="c41", rendering=print_rendering()).recipes[0]
    aim, *made = (rgb2lab(apply_reference(recipe, one, np.ones(3))) for one in (undusty, smooth, mended, plain))
    grain, ours, theirs = (deltaE_ciede2000(aim, one)[lost] for one in made)
    spread = float(np.median(grain))
    changed = float((mended != light).any(axis=-1)[near == 0].mean())
    return float((ours < 4.0 + spread).mean()), float((theirs < 4.0 + spread).mean()), changed, spread


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, default=SHARED)
    given = parser.parse_args()
    print(f"{'picture':20s} {'within':>7s} {'plain':>7s} {'others':>8s} {'spread':>7s}")
    rows = []
    for seed, path in enumerate(sorted(given.pictures.glob("*.png"))):
        within, plain, others, spread = measure(path, seed)
        rows.append((within, plain, others, spread))
        print(f"{path.stem:20s} {within:7.1%} {plain:7.1%} {others:8.3%} {spread:7.2f}", flush=True)
    if rows:
        within, plain, others, spread = np.mean(rows, axis=0)
        print(f"{'mean':20s} {within:7.1%} {plain:7.1%} {others:8.3%} {spread:7.2f}")


if __name__ == "__main__":
    main()
