"""Draw the pictures of docs/engine.md.

python benchmarks/engine_plots.py [--out docs/engine]
"""

from __future__ import annotations

import argparse
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from colour_accuracy import base_of, chart_picture
from colour_cases import REFERENCE_RGB, REFLECTANCES, Case, cases, difference, exposed_to_reference, measured_systems

from dryside.demo.simulator.spectral import WAVELENGTHS_NM, seen, spectral_density
from dryside.negatives.recipe import density_log2, layer_exposures
from dryside.negatives.rendering import Tone, encode
from dryside.negatives.roll import FrameSamples, recipe_for_roll

LAYERS = ("#b02a2a", "#2d7d3a", "#2a4fb0")
DYES = ("#1593a5", "#a5158c", "#b59a00")
SEED = 977


def figure(columns: int = 2):
    made, axes = plt.subplots(1, columns, figsize=(5.2 * columns, 3.6), constrained_layout=True)
    for axis in np.atleast_1d(axes):
        axis.spines[["top", "right"]].set_visible(False)
        axis.grid(alpha=0.25)
    return made, axes


def spectra(case: Case):
    """Dyes and masks; what the camera sees of them over its light."""
    made, (left, right) = figure()
    stock = case.emulsion
    for dye, mask, colour, name in zip(stock.dyes, stock.masks, DYES, ("cyan", "magenta", "yellow"), strict=True):
        left.plot(WAVELENGTHS_NM, dye, color=colour, label=f"{name} dye")
        if mask.any():
            left.plot(WAVELENGTHS_NM, mask * 2.4, color=colour, ls=":", label=f"coupler for {name}, unused")
    left.plot(WAVELENGTHS_NM, spectral_density(stock, np.zeros((1, 3)))[0], color="#c46a1b", lw=2, label="film base")
    left.set(xlabel="wavelength, nm", ylabel="density", title="What developed film is made of")
    left.legend(fontsize=7)
    light = case.system.light / case.system.light.max()
    right.fill_between(WAVELENGTHS_NM, light, color="#bbbbbb", alpha=0.6, label="light table (LED)")
    for curve, colour in zip(case.system.camera, LAYERS, strict=True):
        right.plot(WAVELENGTHS_NM, curve / case.system.camera.max(), color=colour)
    right.set(xlabel="wavelength, nm", title="What looks at it: light and camera")
    right.legend(fontsize=7)
    return made


def curves(case: Case):
    """Camera densities over exposure; each dye alone as the three channels see it."""
    made, (left, right) = figure()
    stops = np.linspace(-5, 5, 200)
    grey = np.full((1, REFLECTANCES.shape[1]), 0.18)
    density = -np.log10(case.transmittance(case.reflectance_log_exposure(grey) + 0.30103 * stops[:, None]))
    for channel, colour in enumerate(LAYERS):
        left.plot(stops, density[:, channel], color=colour)
        left.axhline(case.base[channel], color=colour, ls=":", lw=1)
    left.set(xlabel="stops from a grey card", ylabel="density seen by the camera", title="A grey from dark to light")
    amounts = np.linspace(0, 2, 50)
    names = ("cyan", "magenta", "yellow")
    for dye in range(3):
        dyes = np.zeros((50, 3))
        dyes[:, dye] = amounts
        through = -np.log10(seen(case.system, spectral_density(case.emulsion, dyes))) - case.base
        for channel, (colour, style) in enumerate(zip(LAYERS, ("-", "--", "-."), strict=True)):
            right.plot(
                amounts,
                through[:, channel],
                color=DYES[dye],
                ls=style,
                lw=1.2,
                label=f"{names[dye]} in {'RGB'[channel]}",
            )
            del colour
    right.set(xlabel="dye, density at its peak", ylabel="density over base", title="One dye alone, in three channels")
    right.legend(fontsize=6, ncol=3)
    return made


def chart(case: Case):
    """The chart: reference above, rendering below in each patch, by three ways of inverting."""
    random = np.random.default_rng(SEED)
    frame = [FrameSamples(chart_picture(case, 0.0, random), base_of(case))]
    through = case.transmittance(case.chart_log_exposure())
    above = density_log2(through, np.ones(3)) - case.base / np.log10(2)
    plain = np.exp2(above / 0.6)
    ways = {"one slope, greys balanced": plain / plain[18:23].mean(axis=0)}
    for name, use in (("nothing known but the process", False), ("a chart seen on the roll", True)):
        recipe = recipe_for_roll(frame, process=case.emulsion.process, use_charts=use).recipes[0]
        ways[name] = layer_exposures(recipe, density_log2(through, np.ones(3))) @ np.asarray(recipe.colour_matrix).T
    made, axes = plt.subplots(1, 3, figsize=(12, 3.1), constrained_layout=True)
    for axis, (name, rgb) in zip(axes, ways.items(), strict=True):
        shown = exposed_to_reference(rgb)
        picture = np.zeros((4, 6, 2, 3))
        picture[:, :, 0] = encode("srgb", REFERENCE_RGB).reshape(4, 6, 3)
        picture[:, :, 1] = encode("srgb", shown).reshape(4, 6, 3)
        axis.imshow(picture.transpose(0, 2, 1, 3).reshape(8, 6, 3), aspect=0.5)
        axis.set(
            title=f"{name}: {np.median(difference(rgb)):.1f}", xticks=[], yticks=np.arange(1.5, 8, 2), yticklabels=[]
        )
    made.suptitle("Upper half of each patch: published; lower: rendered. Median CIEDE2000.", fontsize=9)
    return made


def tone():
    """The print's tone curve."""
    made, axes = figure()
    stops = np.linspace(-7, 5, 200)
    printed = Tone()(0.18 * 2.0**stops)
    axes[0].plot(stops, np.log2(printed / 0.18), color="#444444")
    axes[0].plot(stops, stops, color="#bbbbbb", ls=":")
    axes[0].set(
        xlabel="stops of scene from a grey card",
        ylabel="stops of print",
        title="Paper's toe and shoulder",
        ylim=(-8, 3),
    )
    axes[1].plot(stops, encode("srgb", printed), color="#444444")
    axes[1].set(xlabel="stops of scene from a grey card", ylabel="sRGB code", title="The same as codes")
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parents[1] / "docs" / "engine")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    system = [one for one in measured_systems() if one.name.startswith("LED-B3") and "Nikon" in one.name]
    case = cases("c41", 3, SEED, system)[0]
    pictures = {"spectra": spectra(case), "curves": curves(case), "chart": chart(case), "tone": tone()}
    for name, made in pictures.items():
        made.savefig(given.out / f"{name}.png", dpi=80)
        print(given.out / f"{name}.png")


if __name__ == "__main__":
    main()
