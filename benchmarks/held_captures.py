"""The third drawing style of `geometry_accuracy.py`: film in a camera's holder, as people photograph it at home.

A holder with rounded corners and a bevel lets light through a window only; its edge covers a part of the perforations
or of the rebate, and cuts the neighbours of the frame that is looked at. The film curls and shows reflections, the lens
falls off, blurs and parts its colours towards the corners, and what is kept is often a JPEG with a tone curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from geometry_cases import Drawn, camera, strip

from dryside.demo.simulator import Placed, SimulatedCapture, TrueFrame, draw_capture
from dryside.demo.simulator.camera import film_coordinates
from dryside.film.formats import FORMATS

Box = tuple[float, float, float, float]
Array = np.ndarray


@dataclass(frozen=True)
class Holder:
    """The window in film mm from the strip's own corner, its rounding, its penumbra, how much light its bevel has."""

    window: Box
    radius_mm: float
    penumbra_mm: float
    bevel_mm: float
    bevel_light: float


def _holder(rng, window: Box) -> Holder:
    return Holder(window, rng.uniform(0.3, 2.0), rng.uniform(0.08, 0.35), rng.uniform(0.3, 2.0), rng.uniform(0, 0.05))


def _framed(rng, film, per_mm: float, centre: tuple[float, float], size_mm: tuple[float, float], process="c41"):
    """A capture of so many mm of film around a point of it."""
    tilt = float(rng.choice([0, 0, 0, 90, 180, 270])) + rng.normal(0, 0.5)
    placed = [Placed(film, film_centre_mm=centre, tilt_degrees=tilt, mirrored=rng.random() < 0.2)]
    width, height = size_mm if abs(np.sin(np.deg2rad(tilt))) < 0.5 else size_mm[::-1]
    plain = {
        "blur_px": 0.5, "full_well": 0.0, "grain": rng.uniform(0.004, 0.02), "flare": rng.uniform(0.002, 0.02),
        "vignetting": 0.0, "dtype": "float32", "dust": int(rng.integers(5, 80)), "surround": "table",
        "surround_gain": 1.0, "distortion": rng.normal(0, 0.006), "keystone": tuple(rng.normal(0, 0.004, 2)),
    }  # fmt: skip
    made = camera(rng, "plain", placed, per_mm, rows=int(height * per_mm), columns=int(width * per_mm), **plain)
    return Drawn(film.format, placed, made, process)


def held_one_frame(rng):
    """A frame in a window that covers the perforations; slices of its neighbours are lit too."""
    film = strip(rng, "other", 3)
    x0, y0, x1, y1 = film.rectangle(film.frames[1])
    window = (
        x0 - rng.uniform(0.3, 3.5), y0 - rng.uniform(0.1, 0.9), x1 + rng.uniform(0.3, 3.5), y1 + rng.uniform(0.1, 0.9)
    )  # fmt: skip
    margin = rng.uniform(2, 14)
    size = (window[2] - window[0] + margin, window[3] - window[1] + margin)
    drawn = _framed(rng, film, rng.uniform(20, 50), ((x0 + x1) / 2, (y0 + y1) / 2), size)
    return drawn, _holder(rng, window)


def held_half_holes(rng):
    """A strip in a channel whose edges cover a part of every perforation; the window ends within frames."""
    film = strip(rng, "other", int(rng.integers(3, 7)))
    centre = film.length_mm / 2
    length = min(film.length_mm + 8, rng.uniform(60, 150))
    window = (
        centre - length / 2, rng.uniform(1.0, 3.6), centre + length / 2, film.width_mm - rng.uniform(1.0, 3.6)
    )  # fmt: skip
    size = (length + rng.uniform(4, 20), rng.uniform(34, 50))
    return _framed(rng, film, rng.uniform(11, 18), (centre, film.width_mm / 2), size), _holder(rng, window)


def held_masked_strip(rng):
    """A strip in a channel that covers both rows of perforations and a little more."""
    film = strip(rng, "other", int(rng.integers(3, 7)))
    centre = film.length_mm / 2
    length = min(film.length_mm + 8, rng.uniform(78, 150))
    edge = rng.uniform(4.7, 5.1)
    window = (centre - length / 2, edge, centre + length / 2, film.width_mm - edge)
    size = (length + rng.uniform(4, 20), rng.uniform(28, 44))
    return _framed(rng, film, rng.uniform(11, 18), (centre, film.width_mm / 2), size), _holder(rng, window)


def held_whole_width(rng):
    """One capture a frame, both rows of perforations in the window."""
    film = strip(rng, "other", 3)
    x0, y0, x1, y1 = film.rectangle(film.frames[1])
    window = (x0 - rng.uniform(1, 8), -2.0, x1 + rng.uniform(1, 8), film.width_mm + 2)
    drawn = _framed(rng, film, rng.uniform(20, 45), ((x0 + x1) / 2, (y0 + y1) / 2), (rng.uniform(42, 56), 38))
    return drawn, _holder(rng, window)


def held_roll_film(rng):
    """One 120 frame in a holder that covers the film's edges, or leaves one of them in sight."""
    format = ["120-6x4.5", "120-6x6", "120-6x7", "120-6x9"][rng.integers(4)]
    process = ["c41", "c41", "bw", "e6"][rng.integers(4)]
    film = strip(rng, "other", 3, format, process)
    x0, y0, x1, y1 = film.rectangle(film.frames[1])
    window = (
        x0 - rng.uniform(0.5, 4), y0 - rng.uniform(0.4, 3.5), x1 + rng.uniform(0.5, 4), y1 + rng.uniform(0.4, 3.5)
    )  # fmt: skip
    margin = rng.uniform(3, 20)
    size = (window[2] - window[0] + margin, window[3] - window[1] + margin)
    drawn = _framed(rng, film, rng.uniform(12, 30), ((x0 + x1) / 2, (y0 + y1) / 2), size, process)
    return drawn, _holder(rng, window)


def loose_and_curled(rng):
    """A strip laid on the table without any holder: it curls, and a lamp is mirrored in it."""
    film = strip(rng, "other", int(rng.integers(3, 6)))
    size = (film.length_mm + rng.uniform(6, 20), rng.uniform(42, 60))
    return _framed(rng, film, rng.uniform(10, 16), (film.length_mm / 2, film.width_mm / 2), size), None


def held_black_and_white(rng):
    """Silver film in a channel that shows the perforations in part."""
    film = strip(rng, "other", int(rng.integers(3, 6)), process="bw")
    centre = film.length_mm / 2
    length = min(film.length_mm + 8, rng.uniform(80, 150))
    window = (centre - length / 2, rng.uniform(0, 3), centre + length / 2, film.width_mm - rng.uniform(0, 3))
    size = (length + rng.uniform(4, 20), rng.uniform(36, 50))
    return _framed(rng, film, rng.uniform(11, 18), (centre, film.width_mm / 2), size, "bw"), _holder(rng, window)


HELD = {
    one.__name__: one
    for one in (
        held_one_frame, held_half_holes, held_masked_strip, held_whole_width, held_roll_film, loose_and_curled,
        held_black_and_white,
    )
}  # fmt: skip


def photographed(drawn: Drawn, holder: Holder | None, rng) -> SimulatedCapture:
    """The capture of what lies there, with all that holder, film and camera do to it."""
    made = draw_capture(drawn.placed, drawn.camera, seed=int(rng.integers(2**31)))
    light = made.light
    rows, columns = light.shape[:2]
    truth = made.strips[0]
    if holder is not None:
        x_mm, y_mm = film_coordinates(truth.plane, (0, rows, 0, columns))
        light = _through_holder(light, x_mm, y_mm, holder, rng)
    light, moved = _curled(light, truth.pixels_per_mm, rng, strength=1.0 if holder is None else 0.4)
    light = _reflections(light, rng, often=0.8 if holder is None else 0.3)
    light = _lens(light, rng)
    kept = _kept(light, rng)
    frames = tuple(moved_frame(_lit(frame, truth.plane, holder), moved) for frame in made.frames)
    rim_lit = holder is None or (holder.window[3] > FORMATS[drawn.format].film_width_mm and holder.window[1] < 0)
    codes = truth.whole_codes if holder is None else tuple(code for code in truth.whole_codes if rim_lit)
    strips = tuple(replace(one, whole_codes=codes if holder is None else ()) for one in made.strips)
    return replace(made, pixels=kept, frames=tuple(one for one in frames if one.visible > 0), strips=strips)


def _through_holder(light: Array, x_mm: Array, y_mm: Array, holder: Holder, rng) -> Array:
    x0, y0, x1, y1 = holder.window
    middle, half = ((x0 + x1) / 2, (y0 + y1) / 2), ((x1 - x0) / 2, (y1 - y0) / 2)
    dx = np.abs(x_mm - middle[0]) - half[0] + holder.radius_mm
    dy = np.abs(y_mm - middle[1]) - half[1] + holder.radius_mm
    outside = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - holder.radius_mm
    open_part = np.clip(0.5 - outside / holder.penumbra_mm, 0, 1)
    bevel = np.clip(1 - np.maximum(outside, 0) / holder.bevel_mm, 0, 1) ** 2 * (outside > 0)
    shine = holder.bevel_light * bevel * rng.uniform(0.3, 1.0)
    bright = np.percentile(light[::4, ::4], 99, axis=(0, 1))
    return (light * open_part[..., None] + shine[..., None] * bright + 0.001 * bright).astype(np.float32)


def _lit(frame: TrueFrame, plane, holder: Holder | None) -> TrueFrame:
    """A frame up to the window's edge."""
    if holder is None:
        return frame
    film = plane.film(frame.corners)
    x0, y0 = film.min(axis=0)
    x1, y1 = film.max(axis=0)
    a, b, c, d = holder.window
    left, top, right, bottom = max(x0, a), max(y0, b), min(x1, c), min(y1, d)
    part = max(0.0, right - left) * max(0.0, bottom - top) / ((x1 - x0) * (y1 - y0))
    if part > 0.999 or part <= 0:
        return replace(frame, visible=frame.visible * (part > 0))
    corners = plane.capture(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    return replace(frame, corners=corners, visible=frame.visible * part)


def _curled(light: Array, per_mm: float, rng, *, strength: float):
    """Shifted smoothly by a few tenths of a millimetre; also a function that moves points the same way."""
    rows, columns = light.shape[:2]
    size = max(rows, columns)
    waves = [
        (rng.uniform(0.05, 0.3) * strength * per_mm, rng.uniform(-1, 1, 2) * 2 * np.pi / size, rng.uniform(0, 6.3))
        for _ in range(2)
    ]
    turns = [rng.uniform(0, 2 * np.pi) for _ in waves]

    def shift(x, y):
        dx = sum(a * np.cos(t) * np.sin(k[0] * x + k[1] * y + p) for (a, k, p), t in zip(waves, turns, strict=True))
        dy = sum(a * np.sin(t) * np.sin(k[0] * x + k[1] * y + p) for (a, k, p), t in zip(waves, turns, strict=True))
        return dx, dy

    x, y = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    dx, dy = shift(x, y)
    bent = cv2.remap(
        light, (x + dx - 0.5).astype(np.float32), (y + dy - 0.5).astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip

    def moved(points: Array) -> Array:
        at = points.copy()
        for _ in range(5):
            at = points - np.stack(shift(at[:, 0], at[:, 1]), axis=-1)
        return at

    return bent, moved


def moved_frame(frame: TrueFrame, moved) -> TrueFrame:
    return replace(frame, corners=moved(frame.corners), whole_corners=moved(frame.whole_corners))


def _reflections(light: Array, rng, *, often: float) -> Array:
    """A soft veil of room light on a part of the film."""
    if rng.random() > often:
        return light
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0 : 1 : rows * 1j, 0 : 1 : columns * 1j]
    centre, wide, angle = rng.uniform(0, 1, 2), rng.uniform(0.05, 0.4, 2), rng.uniform(0, np.pi)
    u = (x - centre[0]) * np.cos(angle) + (y - centre[1]) * np.sin(angle)
    v = (y - centre[1]) * np.cos(angle) - (x - centre[0]) * np.sin(angle)
    veil = np.exp(-((u / wide[0]) ** 2) - (v / wide[1]) ** 2)[..., None] * rng.uniform(0.7, 1.3, 3)
    return (light + veil * rng.uniform(0.005, 0.04) * np.percentile(light[::4, ::4], 99)).astype(np.float32)


def _lens(light: Array, rng) -> Array:
    """Fall-off by the fourth power of the cosine, blur and colour fringes that grow towards the corners."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    middle = (columns / 2 + rng.normal(0, 0.03) * columns, rows / 2 + rng.normal(0, 0.03) * rows)
    radius2 = ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / (rows**2 + columns**2) * 4
    fall = (1 / (1 + rng.uniform(0.05, 0.3) * radius2)) ** 2
    soft = cv2.GaussianBlur(light, (0, 0), rng.uniform(1.0, 2.2))
    part = np.clip(radius2, 0, 1)[..., None] * rng.uniform(0.2, 1.0)
    light = light * (1 - part) + soft * part
    for channel, sign in ((0, 1), (2, -1)):
        grow = 1 + sign * rng.uniform(0, 0.0008)
        at = ((x - middle[0]) * grow + middle[0], (y - middle[1]) * grow + middle[1])
        light[..., channel] = cv2.remap(
            np.ascontiguousarray(light[..., channel]), at[0].astype(np.float32), at[1].astype(np.float32),
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
    return (light * fall[..., None]).astype(np.float32)


def _kept(light: Array, rng) -> Array:
    """Noise, then 16 bits linear, or a JPEG with or without a tone curve."""
    well = rng.uniform(3_000, 50_000)
    light = light + rng.standard_normal(light.shape, dtype=np.float32) * np.sqrt(np.maximum(light, 0) / well + 1e-7)
    light = np.clip(light, 0, 1).astype(np.float32)
    if rng.random() < 0.5:
        return (light * 65535 + 0.5).astype(np.uint16)
    if rng.random() < 0.5:
        light = light ** np.float32(1.12) * (1 + 0.3 * (1 - light))  # a little steeper in the middle
    encoded = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.power(np.maximum(light, 1e-8), 1 / 2.4) - 0.055)
    eight = (np.clip(encoded, 0, 1) * 255 + 0.5).astype(np.uint8)
    _, packed = cv2.imencode(".jpg", eight[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 97))])
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])
