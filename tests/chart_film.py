"""A 24-patch chart on invented film, seen by a measured camera over a measured LED: what the colour tests share.

Chart spectra ('BabelColor Average'), their colorimetry, the camera ('Nikon 5100 (NPL)') and the CIE's LEDs are
colour-science's.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np

from dryside.demo.simulator.spectral import WAVELENGTHS_NM, CaptureSystem, blackbody, exposures
from dryside.demo.simulator.spectral_film import SpectralFilm
from dryside.demo.simulator.spectral_random import random_negative, random_reversal, random_silver
from dryside.negatives.base import FilmBase
from dryside.negatives.recipe import as_triple

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

DARK_CARD = 0.035


@cache
def chart_reflectances():
    spectra = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    return np.array([np.interp(WAVELENGTHS_NM, s.wavelengths, s.values) for s in spectra])


@cache
def measured_system(led="LED-B3"):
    light = colour.SDS_ILLUMINANTS[led]
    camera = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"]
    curves = [np.interp(WAVELENGTHS_NM, camera.wavelengths, camera.values[:, i], left=0, right=0) for i in range(3)]
    spectrum = np.interp(WAVELENGTHS_NM, light.wavelengths, light.values, left=0, right=0)
    return CaptureSystem(f"{led}, measured camera", np.nan_to_num(spectrum), np.nan_to_num(np.array(curves)))


def film(process="c41", seed=1, led="LED-B3"):
    random = np.random.default_rng(seed)
    stock = {
        "c41": lambda: random_negative(random),
        "ecn2": lambda: random_negative(random, "ecn2"),
        "e6": lambda: random_reversal(random),
        "bw": lambda: random_silver(random),
    }[process]()
    return SpectralFilm(stock, measured_system(led), blackbody(5200))


def log_exposure(stock, reflectances, stops=0.0):
    white = exposures(stock.emulsion, stock.scene_light[None])[0, 1]
    exposed = exposures(stock.emulsion, np.asarray(reflectances) * stock.scene_light) / white
    return np.log10(np.maximum(exposed, 1e-9)) + 0.30103 * stops


def chart_patches(stock, stops=0.0):
    """Transmittance of the 24 patches, shape (24, 3)."""
    return stock.by_log_exposure(log_exposure(stock, chart_reflectances(), stops))


def chart_frame(stock, stops=0.0, rows=64, columns=96, grain=0.006, seed=0):
    """Transmittance of a frame filled by the chart on a dark card."""
    spectra = np.full((rows, columns, len(WAVELENGTHS_NM)), DARK_CARD)
    step, inset = columns // 6, columns // 32
    for index, reflectance in enumerate(chart_reflectances()):
        row, column = divmod(index, 6)
        spectra[row * step + inset : (row + 1) * step, column * step + inset : (column + 1) * step] = reflectance
    exposed = log_exposure(stock, spectra, stops)
    return stock.by_log_exposure(exposed + np.random.default_rng(seed).normal(0, grain, exposed.shape))


def base_of(stock):
    if stock.emulsion.process == "e6":
        return None
    dark = stock.by_log_exposure(np.full((1, 3), -9.0))[0]
    return FilmBase(as_triple(-np.log10(dark)), 0.003, 300)


def reference_rgb():
    """Linear sRGB of the published averages, by colour-science's own Bradford."""
    chart = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    xyz = np.array([colour.xyY_to_XYZ(value) for value in chart.data.values()])
    whites = [colour.xy_to_XYZ(xy) for xy in (chart.illuminant, (0.3127, 0.3290))]
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(*whites, "Bradford")
    return xyz @ adapt.T @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T


def chart_difference(rgb):
    """CIEDE2000 by colour-science of 24 patches of linear sRGB, one free exposure."""
    space = colour.RGB_COLOURSPACES["sRGB"]
    reference = reference_rgb()
    weights = space.matrix_RGB_to_XYZ[1]
    factor = np.exp(np.median(np.log(reference @ weights) - np.log(np.maximum(rgb @ weights, 1e-4))))
    labs = [colour.XYZ_to_Lab(part @ space.matrix_RGB_to_XYZ.T, (0.3127, 0.3290)) for part in (rgb * factor, reference)]
    return colour.delta_E(*labs, method="CIE 2000")
