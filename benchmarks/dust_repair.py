"""How well dust is taken out by infrared: mended pixels against the print of the clean film.

    python benchmarks/dust_repair.py [--pictures DIR]

A frame of each picture with dust, hairs and scratches, its infrared 0.7 and -1.3 pixels off. 'within': part of the
truly dusty pixels within CIEDE2000 4 of the clean print; 'plain': the same after a plain diffusion from a perfect mask;
'others': part of the other pixels that were changed.
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


def measure(path: Path, seed: int) -> tuple[float, float, float]:
    system = [one for one in measured_systems() if one.name.startswith("LED-B3") and "Nikon" in one.name]
    case = cases("c41", 1, 5, system)[0]
    film = SpectralFilm(case.emulsion, case.system, case.scene_light)
    strip = FilmStrip((ExposedFrame(light_of(path), x_mm=4),), length_mm=46, emulsion=film)
    camera = Camera(rows=1300, columns=1700, pixels_per_mm=36, infrared=True, dtype="float32", grain=0.0, full_well=0.0)
    dusty = draw_capture(strip, replace(camera, dust=150, scratches=2), seed=seed)
    clean = draw_capture(strip, camera, seed=seed)
    light, truth = ((one.pixels / one.flat)[WINDOW].astype(np.float32) for one in (dusty, clean))
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
    samples = FrameSamples(cv2.resize(truth, (96, 64), interpolation=cv2.INTER_AREA), base_of(case))
    recipe = recipe_for_roll([samples], process="c41", rendering=print_rendering()).recipes[0]
    aim, ours, theirs = (rgb2lab(apply_reference(recipe, one, np.ones(3))) for one in (truth, mended, plain))
    within = float((deltaE_ciede2000(aim, ours)[lost] < 4.0).mean())
    changed = float((mended != light).any(axis=-1)[near == 0].mean())
    return within, float((deltaE_ciede2000(aim, theirs)[lost] < 4.0).mean()), changed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, default=SHARED)
    given = parser.parse_args()
    print(f"{'picture':20s} {'within':>7s} {'plain':>7s} {'others':>8s}")
    rows = []
    for seed, path in enumerate(sorted(given.pictures.glob("*.png"))):
        rows.append(measure(path, seed))
        print(f"{path.stem:20s} {rows[-1][0]:7.1%} {rows[-1][1]:7.1%} {rows[-1][2]:8.3%}", flush=True)
    if rows:
        within, plain, others = np.mean(rows, axis=0)
        print(f"{'mean':20s} {within:7.1%} {plain:7.1%} {others:8.3%}")


if __name__ == "__main__":
    main()
