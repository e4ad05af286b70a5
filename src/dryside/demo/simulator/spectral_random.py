"""Invented film stocks, light tables and cameras, drawn at random inside published ranges.

The default matrices of the engine are fitted over many of these (`benchmarks/derive_colour_defaults.py`), so ranges
are wide on purpose: a default must serve a stock that nobody has measured. Their sources: `docs/engine.md`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryside.demo.simulator.spectral import (
    GREY_ABOVE_SPEED_POINT,
    WAVELENGTHS_NM,
    Array,
    CaptureSystem,
    Curve,
    Emulsion,
    balanced,
    blackbody,
    bump,
)

Random = np.random.Generator


def _sensitivity(random: Random) -> Array:
    """Three layers behind a lens that stops ultraviolet; overlaps as a yellow filter under the first leaves them."""
    lens = 1.0 / (1.0 + np.exp(-(WAVELENGTHS_NM - random.normal(402, 4)) / 6.0))
    red = bump(random.normal(642, 9), random.uniform(28, 46), random.uniform(16, 26))
    red = red + random.uniform(0, 0.06) * bump(560, 40, 40)
    green = bump(random.normal(547, 6), random.uniform(24, 36), random.uniform(20, 30))
    green = green + random.uniform(0, 0.05) * bump(470, 25, 25)
    blue = bump(random.normal(448, 10), random.uniform(28, 45), random.uniform(22, 36))
    return np.asarray(np.stack([red, green, blue]) * lens)


def _dyes(random: Random, cyan_peak_nm: float) -> Array:
    """Cyan, magenta and yellow with the unwanted absorptions that masks are there for."""
    cyan = bump(cyan_peak_nm, random.uniform(56, 70), random.uniform(40, 58))
    cyan = cyan + random.uniform(0.07, 0.15) * bump(430, 50, 60) + random.uniform(0.0, 0.05) * bump(540, 40, 40)
    magenta = bump(random.normal(549, 5), random.uniform(28, 36), random.uniform(28, 36))
    magenta = magenta + random.uniform(0.14, 0.26) * bump(430, 45, 50) + random.uniform(0.01, 0.06) * bump(620, 30, 60)
    yellow = bump(random.normal(446, 5), random.uniform(32, 40), random.uniform(34, 42))
    yellow = yellow + random.uniform(0.0, 0.05) * bump(540, 35, 40)
    return np.asarray(np.stack([cyan, magenta, yellow]))


def _masks(random: Random, dyes: Array) -> Array:
    """Coloured couplers: yellow for magenta dye's blue absorption, reddish for cyan dye's green and blue."""
    at = {nm: dyes[:, int(np.argmin(np.abs(WAVELENGTHS_NM - nm)))] for nm in (440, 540)}
    of_magenta = at[440][1] * random.uniform(0.65, 1.1) * bump(random.normal(438, 6), 40, 38)
    of_cyan = at[540][0] * random.uniform(0.4, 1.1) * bump(random.normal(535, 12), 40, 36)
    of_cyan = of_cyan + at[440][0] * random.uniform(0.3, 1.0) * bump(440, 45, 45)
    return np.asarray(np.stack([of_cyan, of_magenta, np.zeros_like(of_cyan)]))


def _held_back(random: Random, most: float) -> Array:
    """Interlayer effects: neighbours more than the outer pair."""
    share = random.uniform(0.0, most, (3, 3)) * np.array([[0, 1, 0.5], [1, 0, 1], [0.5, 1, 0]])
    return np.asarray(share)


def _negative_curves(random: Random, gamma: float) -> tuple[Curve, Curve, Curve]:
    """Three curves of nearly one shape, blue a little steeper than green, green than red; speeds a little apart."""
    sharpness = random.uniform(0.7, 2.2)
    latitude = random.uniform(2.1, 3.6)
    curves = [
        Curve(
            gamma * slope * random.normal(1.0, 0.025),
            -np.log10(1 / 0.18) - GREY_ABOVE_SPEED_POINT + random.normal(0.0, 0.03),
            latitude + random.normal(0, 0.1),
            sharpness * random.normal(1.0, 0.05),
        )
        for slope in (0.97, 1.0, 1.04)
    ]
    return curves[0], curves[1], curves[2]


def random_negative(random: Random, process: str = "c41") -> Emulsion:
    """A colour negative stock, balanced for 5,500 K ('ecn2': lower contrast, some balanced for 3,200 K by filter)."""
    dyes = _dyes(random, random.normal(683, 9))
    gamma = random.normal(0.65, 0.03) if process == "c41" else random.normal(0.53, 0.025)
    coupler = random.uniform(2.0, 2.9, 3)
    fog = random.uniform(0.05, 0.14) + random.uniform(0.0, 0.12) * bump(400, 40, 90)
    return Emulsion(
        name="invented negative",
        process=process,
        sensitivity=balanced(_sensitivity(random), blackbody(5500)),
        curves=_negative_curves(random, gamma),
        held_back=_held_back(random, 0.18),
        dyes=dyes,
        masks=_masks(random, dyes),
        coupler=coupler,
        base=fog,
    )


def as_dense_as_published(stock: Emulsion, random: Random) -> Emulsion:
    """A colour negative as densely exposed and masked as makers' sheets say; `random_negative` draws thinner ones.

    Status M above bare light: base red 0.15 to 0.30, green 0.50 to 0.70, blue 0.75 to 1.00 (from memory), red of a grey
    card 0.75 to 0.95 (a maker's sheet on judging exposure): film is rated slower, and its mask stronger, than ISO
    5800's least.
    """
    slower = random.uniform(0.18, 0.38)
    tint = random.uniform(0.12, 0.28) * bump(random.normal(535, 8), 55, 45) + random.uniform(0.0, 0.15) * bump(
        440, 45, 45
    )
    red, green, blue = (
        replace(curve, speed_point=curve.speed_point - slower, latitude=curve.latitude + slower)
        for curve in stock.curves
    )
    return replace(
        stock,
        curves=(red, green, blue),
        base=stock.base + random.uniform(0.05, 0.12) + tint,
    )


def random_reversal(random: Random) -> Emulsion:
    """A slide stock: no masks, steep curves falling with exposure, dense where nothing was exposed."""
    gamma = random.normal(1.75, 0.12)
    latitude = random.normal(1.8, 0.13)
    sharpness = random.uniform(0.9, 1.8)
    # A grey card lies a little denser than the middle of the straight part.
    start = np.log10(0.18) - latitude * random.uniform(0.53, 0.63)
    curves = [
        Curve(
            -gamma * random.normal(1.0, 0.025),
            start + random.normal(0.0, 0.025),
            latitude * random.normal(1.0, 0.02),
            sharpness,
        )
        for _ in range(3)
    ]
    return Emulsion(
        name="invented slide",
        process="e6",
        sensitivity=balanced(_sensitivity(random), blackbody(5500)),
        curves=(curves[0], curves[1], curves[2]),
        held_back=_held_back(random, 0.16),
        dyes=_dyes(random, random.uniform(645, 675)),
        masks=np.zeros((3, WAVELENGTHS_NM.size)),
        coupler=np.full(3, 6.0),
        base=random.uniform(0.03, 0.08) + random.uniform(0.0, 0.05) * bump(400, 40, 90),
    )


def random_silver(random: Random) -> Emulsion:
    """A black-and-white stock: one panchromatic layer, counted three times, of nearly neutral silver."""
    pan = _sensitivity(random).sum(axis=0)
    curve = Curve(
        random.uniform(0.5, 0.72), -np.log10(1 / 0.18) - 1.0, random.uniform(2.6, 3.6), random.uniform(0.8, 2)
    )
    silver = (1.0 + random.uniform(0, 0.12) * bump(400, 40, 120)) / 3.0
    return Emulsion(
        name="invented silver",
        process="bw",
        sensitivity=balanced(np.stack([pan, pan, pan]), blackbody(5500)),
        curves=(curve, curve, curve),
        held_back=np.zeros((3, 3)),
        dyes=np.stack([silver, silver, silver]),
        masks=np.zeros((3, WAVELENGTHS_NM.size)),
        coupler=np.full(3, 6.0),
        base=random.uniform(0.06, 0.32) + random.uniform(0.0, 0.05) * bump(450, 60, 90),
    )


def _phosphor(random: Random) -> Array:
    blue = bump(random.uniform(442, 460), random.uniform(8, 12), random.uniform(9, 13))
    glow = bump(random.uniform(540, 585), random.uniform(38, 55), random.uniform(55, 75))
    red = random.uniform(0.0, 0.8) * bump(random.uniform(615, 660), 20, 25)
    return np.asarray(blue * random.uniform(0.7, 1.6) + glow + red)


def _three_diodes(random: Random) -> Array:
    parts = ((random.uniform(445, 470), 9), (random.uniform(515, 535), 15), (random.uniform(618, 660), 8))
    return np.asarray(sum(random.uniform(0.7, 1.3) * bump(nm, width, width) for nm, width in parts))


def _fluorescent(random: Random) -> Array:
    lines = 0.7 * bump(436, 5, 5) + 1.4 * bump(545, 6, 6) + 1.2 * bump(611, 6, 6) + 0.35 * bump(490, 8, 8)
    return np.asarray(lines + random.uniform(0.1, 0.6) * bump(560, 70, 70))


def _tungsten(random: Random) -> Array:
    heat_filter = 1.0 / (1.0 + np.exp((WAVELENGTHS_NM - random.uniform(680, 720)) / 12.0))
    return np.asarray(blackbody(random.uniform(2800, 3400)) * heat_filter)


def _daylight(random: Random) -> Array:
    return blackbody(random.uniform(4800, 6600))


_LIGHTS = {
    "phosphor LED": _phosphor,
    "three diodes": _three_diodes,
    "fluorescent": _fluorescent,
    "tungsten": _tungsten,
    "daylight": _daylight,
}


def random_light(random: Random, kind: str | None = None) -> tuple[str, Array]:
    """Name and spectrum of a light table; without a `kind`, half are phosphor LEDs, as half of those sold are."""
    names = tuple(_LIGHTS)
    chosen = kind or str(random.choice(names, p=(0.56, 0.14, 0.1, 0.08, 0.12)))
    return chosen, _LIGHTS[chosen](random)


def random_camera(random: Random, kind: str | None = None) -> tuple[str, Array]:
    """Name and sensitivities: 'camera' with broad filters that leak into each other, or a narrow-band 'scanner'."""
    chosen = kind or str(random.choice(["camera", "scanner"], p=(0.85, 0.15)))
    if chosen == "scanner":
        parts = ((random.uniform(610, 650), 18), (random.uniform(525, 548), 18), (random.uniform(440, 462), 16))
        return chosen, np.stack([bump(nm, width, width) for nm, width in parts])
    cut = 1.0 / (1.0 + np.exp((WAVELENGTHS_NM - random.uniform(650, 690)) / random.uniform(6, 12)))
    red = bump(random.uniform(588, 615), random.uniform(18, 30), random.uniform(32, 50))
    red = red + random.uniform(0.02, 0.14) * bump(535, 35, 30) + random.uniform(0, 0.06) * bump(440, 25, 25)
    green = bump(random.uniform(522, 545), random.uniform(28, 42), random.uniform(32, 46))
    green = green + random.uniform(0.02, 0.10) * bump(460, 30, 30) + random.uniform(0.0, 0.06) * bump(620, 30, 40)
    blue = bump(random.uniform(448, 468), random.uniform(20, 30), random.uniform(22, 34))
    blue = blue + random.uniform(0.0, 0.08) * bump(535, 30, 30)
    return chosen, np.stack([red, green, blue]) * cut


def random_capture_system(random: Random) -> CaptureSystem:
    """A light table and a camera over it."""
    light_name, light = random_light(random)
    camera_name, camera = random_camera(random)
    return CaptureSystem(f"{light_name}, {camera_name}", light, camera)
