"""Twenty positives beside the truth: four made strips through the whole engine, nothing known but the process.

    python benchmarks/positives_sheet.py [--out docs/pictures/positives.jpg] [--pictures DIR]

Each pair: left what the scene was, as the engine prints it; right the positive that `invert` made of the capture. The
strips: two colour negatives (one as dense as published), a cine negative, a slide film, each in another capture system,
tilted, one of them mirrored; two carry a chart in a sixth frame, found by the engine itself. Scenes are drawn; with
`--pictures` they are photographs instead.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import cv2
import numpy as np
import tifffile
from colour_cases import cases, measured_systems
from PIL import Image, ImageDraw, ImageFont

from dryside.demo.pictures import PAINTERS, draw
from dryside.demo.season_pictures import chart_scene
from dryside.demo.simulator import Camera, Placed, draw_capture, lay_out
from dryside.demo.simulator.spectral_film import SpectralFilm
from dryside.negatives.exposure import print_stops
from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.layers import LUMINANCE
from dryside.negatives.rendering import render
from dryside.negatives.spaces import print_rendering

SEED = 4203
STRIPS = (
    ("c41", 0.0, False, "colour negative, nothing known but the process"),
    ("c41", 1.0, True, "colour negative as dense as published, a chart on the roll"),
    ("ecn2", 1.0, True, "cine negative, a chart on the roll"),
    ("e6", 0.0, False, "slides, nothing known but the process"),
)
FRAMES = 5
CELL = (150, 100)
GAP, HEAD = 8, 22


def scenes(folder: Path | None) -> list[np.ndarray]:
    """Twenty pictures in linear sRGB, 360 x 240."""
    if folder is None:
        kinds = [kind for seed in (3, 4) for kind in sorted(PAINTERS)][: len(STRIPS) * FRAMES]
        return [draw(kind, width=360, height=240, seed=11 + index) for index, kind in enumerate(kinds)]
    made = []
    for index in range(len(STRIPS) * FRAMES):
        paths = sorted(folder.glob("*.png"))
        with Image.open(paths[index % len(paths)]) as image:
            turned = image.convert("RGB")
            turned = turned.rotate(90, expand=True) if turned.height > turned.width else turned
            code = np.asarray(turned.resize((360, 240)), dtype=np.float32) / 255
        made.append(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))
    return made


def as_print(linear: np.ndarray) -> np.ndarray:
    """The truth as the engine would print it: exposure of its own, the same tone curve; 8 bits."""
    small = cv2.resize(np.asarray(linear, np.float32), CELL, interpolation=cv2.INTER_AREA)
    light = small * 2.0 ** print_stops(small.reshape(-1, 3) @ LUMINANCE)
    return np.rint(render(print_rendering(), light) * 255).astype(np.uint8)


def positives(index: int, pictures: list[np.ndarray], folder: Path) -> list[np.ndarray]:
    """What the engine makes of a strip of these pictures, in order along the film; 8 bits."""
    process, dense, with_chart, name = STRIPS[index]
    systems = [one for one in measured_systems() if "Nikon" in one.name]
    case = cases(process, index + 1, SEED, systems, dense_part=dense)[index]
    film = SpectralFilm(case.emulsion, case.system, case.scene_light)
    random = np.random.default_rng(SEED + index)
    spread = 0.15 if process == "e6" else 0.6
    exposed = [*pictures, *([chart_scene(360, 240)] if with_chart else [])]
    stops = [float(random.normal(0.0, spread)) for _ in exposed]
    strip = lay_out(exposed, stops=stops, emulsion=film, first_number=5)
    lens = Camera(rows=720, columns=4200, pixels_per_mm=17.0, unevenness=0.1)
    placed = Placed(strip, tilt_degrees=(0.5, -0.7, 0.3, 0.9)[index], mirrored=index == 1)
    made = draw_capture(placed, lens, seed=SEED + index)
    tifffile.imwrite(folder / f"strip-{index}.tif", made.pixels, photometric="rgb")
    tifffile.imwrite(folder / f"flat-{index}.tif", made.flat, photometric="rgb")
    options = InvertOptions(process, "135", print_rendering(), flat=folder / f"flat-{index}.tif")
    roll = invert([folder / f"strip-{index}.tif"], options, folder / f"out-{index}")
    found = sorted(roll.captures[0].frames, key=lambda frame: int(frame.label or 0))
    print(name, [frame.label for frame in found])
    read = [tifffile.imread(frame.positive) for frame in found[: len(pictures)]]
    return [cv2.resize((one >> 8).astype(np.uint8), CELL, interpolation=cv2.INTER_AREA) for one in read]


def sheet(folder: Path, pictures: list[np.ndarray]) -> Image.Image:
    wide = FRAMES * (2 * CELL[0] + 2 + GAP) + GAP
    high = len(STRIPS) * (HEAD + CELL[1] + GAP) + GAP
    made = Image.new("RGB", (wide, high), (236, 236, 236))
    pen = ImageDraw.Draw(made)
    font = ImageFont.load_default(13)
    for index, (*_, name) in enumerate(STRIPS):
        own = pictures[index * FRAMES : (index + 1) * FRAMES]
        top = GAP + index * (HEAD + CELL[1] + GAP)
        pen.text((GAP, top), f"{name}: scene left, positive right", fill=(40, 40, 40), font=font)
        for column, (scene, positive) in enumerate(zip(own, positives(index, own, folder), strict=True)):
            left = GAP + column * (2 * CELL[0] + 2 + GAP)
            made.paste(Image.fromarray(as_print(scene)), (left, top + HEAD))
            made.paste(Image.fromarray(positive), (left + CELL[0] + 2, top + HEAD))
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parents[1] / "docs" / "pictures" / "positives.jpg")
    parser.add_argument("--pictures", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        made = sheet(Path(folder), scenes(given.pictures))
    made.save(given.out, quality=82, optimize=True)
    print(given.out, made.size, f"{given.out.stat().st_size / 1024:.0f} kB")


if __name__ == "__main__":
    main()
