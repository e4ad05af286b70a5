"""Charts on invented film, seen by invented and measured cameras: the cases that the colour benchmarks share.

Chart spectra, colorimetry, two cameras' measured sensitivities and the CIE's illuminants are colour-science's.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from dryside.demo.simulator.spectral import (
    WAVELENGTHS_NM,
    CaptureSystem,
    Emulsion,
    bump,
    dye_amounts,
    exposures,
    seen,
    spectral_density,
)
from dryside.demo.simulator.spectral_random import (
    as_dense_as_published,
    random_capture_system,
    random_light,
    random_negative,
    random_reversal,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
D65_XYZ = np.array([0.95047, 1.0, 1.08883])
GREYS = slice(18, 24)
PATCHES = 24
LIGHTS = ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2")
SCENE_LIGHTS = ("D50", "D55", "D65")


def on_grid(spectrum) -> np.ndarray:
    """A colour-science spectrum on the simulator's wavelengths, 0 outside its own."""
    return np.nan_to_num(np.interp(WAVELENGTHS_NM, spectrum.wavelengths, spectrum.values, left=0.0, right=0.0))


def illuminant(name: str) -> np.ndarray:
    """Relative spectral power of a CIE illuminant."""
    return on_grid(colour.SDS_ILLUMINANTS[name])


def _extended(spectrum) -> np.ndarray:
    return np.interp(WAVELENGTHS_NM, spectrum.wavelengths, spectrum.values)


REFLECTANCES = np.array([_extended(s) for s in colour.SDS_COLOURCHECKERS["BabelColor Average"].values()])


def _reference_rgb() -> np.ndarray:
    """Linear sRGB of the chart's published averages (D50), adapted to D65 by Bradford."""
    chart = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    xyz = np.array([colour.xyY_to_XYZ(value) for value in chart.data.values()])
    whites = [colour.xy_to_XYZ(xy) for xy in (chart.illuminant, (0.3127, 0.3290))]
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(*whites, "Bradford")
    return xyz @ adapt.T @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T


REFERENCE_RGB = _reference_rgb()


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of linear sRGB."""
    xyz = rgb @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T / D65_XYZ
    f = np.where(xyz > 216 / 24389, np.cbrt(np.maximum(xyz, 1e-9)), (24389 / 27 * xyz + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


REFERENCE_LAB = lab(REFERENCE_RGB)


def measured_systems() -> list[CaptureSystem]:
    """Both measured cameras over every LED of the CIE and two more."""
    cameras = {
        name: np.nan_to_num(
            np.array([np.interp(WAVELENGTHS_NM, c.wavelengths, c.values[:, i], left=0, right=0) for i in range(3)])
        )
        for name, c in colour.MSDS_CAMERA_SENSITIVITIES.items()
    }
    lights = {name: illuminant(name) for name in LIGHTS}
    lights |= {name: on_grid(colour.SDS_LIGHT_SOURCES[name]) for name in ("Phosphor LED YAG", "3-LED-1 (457/540/605)")}
    return [CaptureSystem(f"{light}, {c}", lights[light], cameras[c]) for light in lights for c in cameras]


def mixed_systems(random: np.random.Generator, count: int, layered_part: float = 0.04) -> list[CaptureSystem]:
    """Half invented cameras, half the measured ones with each curve moved by some nm; half of the lights invented.

    `layered_part` is the share of the measured camera whose three layers lie in depth and overlap far more.
    """
    measured = measured_systems()
    filtered = [s for s in measured if "Nikon" in s.name]
    layered = [s for s in measured if "Sigma" in s.name]
    systems = []
    for _ in range(count):
        draw = random.random()
        if draw < 0.5:
            systems.append(random_capture_system(random))
            continue
        pool = layered if draw > 1.0 - layered_part else filtered
        model = pool[random.integers(len(pool))]
        camera = np.array([np.interp(WAVELENGTHS_NM - random.normal(0, 3), WAVELENGTHS_NM, c) for c in model.camera])
        name, light = random_light(random) if random.random() < 0.5 else (model.name.split(",")[0], model.light)
        systems.append(CaptureSystem(f"{name}, {model.name.split(', ')[1]}", light, camera))
    return systems


def layered_systems(random: np.random.Generator, count: int) -> list[CaptureSystem]:
    """The measured camera whose layers lie in depth, its curves moved by some nm, over many lights."""
    layered = [s for s in measured_systems() if "Sigma" in s.name]
    systems = []
    for _ in range(count):
        model = layered[random.integers(len(layered))]
        camera = np.array([np.interp(WAVELENGTHS_NM - random.normal(0, 4), WAVELENGTHS_NM, c) for c in model.camera])
        name, light = random_light(random) if random.random() < 0.5 else (model.name.split(",")[0], model.light)
        systems.append(CaptureSystem(f"{name}, {model.name.split(', ')[1]}", light, camera))
    return systems


@dataclass(frozen=True)
class Case:
    """A stock in a capture system, in daylight of some kind."""

    emulsion: Emulsion
    system: CaptureSystem
    scene_light: np.ndarray

    @property
    def base(self) -> np.ndarray:
        """Density of the unexposed film as the camera sees it, log10, shape (3,)."""
        return -np.log10(self.transmittance(np.full((1, 3), -9.0)))[0]

    def transmittance(self, log_exposure: np.ndarray) -> np.ndarray:
        """What the camera sees over bare light, shape (..., 3), from log10 exposure of the layers."""
        return seen(self.system, spectral_density(self.emulsion, dye_amounts(self.emulsion, log_exposure)))

    def chart_log_exposure(self, stops: float = 0.0) -> np.ndarray:
        """log10 exposure of the layers by the chart's patches, `stops` over a meter's reading."""
        return self.reflectance_log_exposure(REFLECTANCES, stops)

    def reflectance_log_exposure(self, reflectances: np.ndarray, stops: float = 0.0) -> np.ndarray:
        """The same for any reflectances, shape (..., wavelengths); a white in this light exposes green by `stops`."""
        white = exposures(self.emulsion, self.scene_light[None])[0, 1]
        exposed = exposures(self.emulsion, np.asarray(reflectances) * self.scene_light) / white
        return np.log10(exposed) + 0.30103 * stops

    def rgb_matrix(self) -> np.ndarray:
        """3 x 3: layer exposures of linear sRGB pictures, from smooth primaries that are white together."""
        red = 1.0 / (1.0 + np.exp(-(WAVELENGTHS_NM - 590.0) / 8.0))
        blue = 1.0 / (1.0 + np.exp((WAVELENGTHS_NM - 490.0) / 8.0))
        primaries = np.stack([red, 1.0 - red - blue, blue]) + 0.02 * bump(550, 90, 90)
        primaries = primaries / primaries.sum(axis=0)
        return 10.0 ** self.reflectance_log_exposure(primaries).T

    def picture_log_exposure(self, linear_rgb: np.ndarray, stops: float = 0.0) -> np.ndarray:
        """log10 exposure of the layers by a picture in linear sRGB, white 1."""
        return np.log10(np.maximum(linear_rgb @ self.rgb_matrix().T, 1e-5)) + 0.30103 * stops


def cases(
    process: str, count: int, seed: int, systems: list[CaptureSystem] | None = None, *, dense_part: float = 0.0
) -> list[Case]:
    """`count` cases at random, the same for the same seed; `dense_part` of the negatives as dense as published."""
    random, of_density = np.random.default_rng(seed), np.random.default_rng(seed + 1)
    systems = systems or mixed_systems(random, count)
    made = []
    for index in range(count):
        stock = random_reversal(random) if process == "e6" else random_negative(random, process)
        if process != "e6" and of_density.random() < dense_part:
            stock = as_dense_as_published(stock, of_density)
        light = illuminant(SCENE_LIGHTS[random.integers(len(SCENE_LIGHTS))])
        made.append(Case(stock, systems[index % len(systems)], light))
    return made


def density_above_base(case: Case, log_exposure: np.ndarray) -> np.ndarray:
    """Density in powers of two above the film base (slides: above bare light)."""
    seen_log10 = -np.log10(case.transmittance(log_exposure))
    return (seen_log10 - (0.0 if case.emulsion.process == "e6" else case.base)) / np.log10(2.0)


def exposed_to_reference(rgb: np.ndarray) -> np.ndarray:
    """Each chart of 24 patches in `rgb` (..., 24 n, 3) scaled by its one free factor (median luminance ratio)."""
    charts = rgb.reshape(*rgb.shape[:-2], -1, PATCHES, 3)
    ratio = np.log(REFERENCE_RGB @ LUMINANCE) - np.log(np.maximum(charts @ LUMINANCE, 1e-4))
    return (charts * np.exp(np.median(ratio, axis=-1))[..., None, None]).reshape(rgb.shape)


def difference(rgb: np.ndarray) -> np.ndarray:
    """CIEDE2000 of chart renderings (..., 24 n, 3), one free exposure a chart, against the published averages."""
    from skimage.color import deltaE_ciede2000

    charts = rgb.shape[-2] // PATCHES
    reference = np.broadcast_to(np.tile(REFERENCE_LAB, (charts, 1)), rgb.shape)
    return deltaE_ciede2000(lab(exposed_to_reference(rgb)), reference)


def table_row(name: str, differences: np.ndarray) -> str:
    """Medians per chart (mean, 90 %, worst), and over all patches the median and the 95th percentile."""
    charts = differences.reshape(-1, PATCHES)
    medians = np.median(charts, axis=1)
    return (
        f"{name:44s} {medians.mean():6.2f} {np.quantile(medians, 0.9):6.2f} {medians.max():6.2f}"
        f" {np.median(charts):6.2f} {np.quantile(charts, 0.95):6.2f}"
    )


TABLE_HEAD = f"{'':44s} {'mean':>6s} {'90 %':>6s} {'worst':>6s} {'all':>6s} {'95 %':>6s}"
