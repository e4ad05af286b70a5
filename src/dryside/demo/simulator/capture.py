"""A photograph of film strips on a light table, with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator import camera as cameras
from dryside.demo.simulator.camera import Camera, Placed
from dryside.demo.simulator.damage import draw_damage
from dryside.demo.simulator.film_strip import FilmStrip, exposure, material, printed_codes
from dryside.demo.simulator.marks import frame_number
from dryside.negatives.types import FilmPlane

Array = NDArray[Any]

# Edges of frames are soft anyway; more than this costs time and shows nothing.
_MOST_PIXELS_PER_MM_OF_EXPOSURE = 40.0


@dataclass(frozen=True, eq=False)
class TrueFrame:
    """A frame as it really lies.

    Attributes
    ----------
    corners : ndarray of shape (4, 2)
        Top-left, top-right, bottom-right, bottom-left of the upright picture in capture pixels; at a cut end the cut.
    whole_corners : ndarray of shape (4, 2)
        The same as if the film had not been cut.
    visible : float
        Which part of the whole frame's area is on the strip and in the capture.
    label : str or None
        Its number.
    strip, index : int
        Which strip of the capture, which frame of the strip.
    """

    corners: Array
    whole_corners: Array
    visible: float
    label: str | None
    strip: int
    index: int


@dataclass(frozen=True, eq=False)
class TrueStrip:
    """A strip as it really lies, as in `dryside.negatives.types.Strip`; film (0, 0) is its own top-left corner."""

    plane: FilmPlane
    pixels_per_mm: float
    tilt_degrees: float
    mirrored: bool
    base_density: Array
    whole_codes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class SimulatedCapture:
    """A capture and what is true of it.

    Attributes
    ----------
    pixels : ndarray of shape (rows, columns, 3)
        What a camera file would hold: uint16 or float32 linear, or uint8 sRGB encoded.
    flat : ndarray, same shape and type
        The bare light, same exposure.
    infrared : ndarray of shape (rows, columns) or None
        Infrared channel, same type, linear.
    damage : ndarray of shape (rows, columns), float32
        How much light dust and scratches take: 0 none, 1 all.
    light : ndarray of shape (rows, columns, 3), float32
        The same capture before rounding, linear.
    frames : tuple of TrueFrame
        Those of which anything is visible.
    strips : tuple of TrueStrip
        In the order in which they were laid.
    """

    pixels: NDArray[Any]
    flat: NDArray[Any]
    infrared: NDArray[Any] | None
    damage: Array
    light: Array
    frames: tuple[TrueFrame, ...]
    strips: tuple[TrueStrip, ...]


def draw_capture(placed: FilmStrip | Placed | list[Placed], camera: Camera, *, seed: int = 0) -> SimulatedCapture:
    """Photograph strips.

    Parameters
    ----------
    placed : FilmStrip, Placed or list of Placed
        What lies on the light table.
    camera : Camera
        How it is photographed.
    seed : int, optional
        The same seed draws the same pixels.
    """
    rng = np.random.default_rng(seed)
    laid = [Placed(placed)] if isinstance(placed, FilmStrip) else placed if isinstance(placed, list) else [placed]
    flat = cameras.bare_light(camera, rng)
    planes = [cameras.film_plane(camera, one) for one in laid]
    seen = _through_film(laid, planes, camera, flat)
    damage = draw_damage(camera, planes[0], rng)
    seen *= (1 - damage)[..., None]
    seen = _lens_and_sensor(seen, camera, rng)
    return SimulatedCapture(
        pixels=_stored(seen, camera.dtype),
        flat=_stored(_noisy(flat, camera.full_well, rng), camera.dtype),
        infrared=_infrared(seen, damage, camera, rng) if camera.infrared else None,
        damage=damage,
        light=np.clip(seen, 0, 1),
        frames=tuple(frame for k, one in enumerate(laid) for frame in _true_frames(k, one, planes[k], camera)),
        strips=tuple(_true_strip(one, plane, camera) for one, plane in zip(laid, planes, strict=True)),
    )


def _through_film(laid: list[Placed], planes: list[FilmPlane], camera: Camera, flat: Array) -> Array:
    black = camera.surround == "black" or camera.window_mm is not None
    seen = np.zeros_like(flat) if black else flat * np.float32(camera.surround_gain)
    for one, plane in zip(laid, planes, strict=True):
        window = _window_of(one.strip, plane, camera)
        y0, y1, x0, x1 = window
        if y0 >= y1 or x0 >= x1:
            continue
        x_mm, y_mm = cameras.film_coordinates(plane, window)
        scale = min(camera.pixels_per_mm * 1.1, _MOST_PIXELS_PER_MM_OF_EXPOSURE)
        film = np.asarray(one.strip.emulsion(exposure(one.strip, scale)), dtype=np.float32)
        film = cameras.sample(film, x_mm, y_mm, scale)
        holes = material(one.strip, camera.pixels_per_mm)
        there = cameras.sample(holes, x_mm, y_mm, camera.pixels_per_mm)
        sides = (0.0, 0.0, one.strip.length_mm, one.strip.width_mm)
        on_strip = cameras.box(x_mm, y_mm, sides, camera.pixels_per_mm)
        part = seen[y0:y1, x0:x1]
        behind = flat[y0:y1, x0:x1]
        through = 1 + there[..., None] * (film - 1)
        part += on_strip[..., None] * (behind * through - part)
        if camera.window_mm is not None:
            part *= cameras.box(x_mm, y_mm, camera.window_mm, camera.pixels_per_mm)[..., None]
    return seen


def _window_of(strip: FilmStrip, plane: FilmPlane, camera: Camera) -> tuple[int, int, int, int]:
    x = np.linspace(-0.5, strip.length_mm + 0.5, 40)
    y = np.linspace(-0.5, strip.width_mm + 0.5, 12)
    outline = plane.capture(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2))
    (x0, y0), (x1, y1) = outline.min(axis=0), outline.max(axis=0)
    return (
        max(0, int(y0) - 3), min(camera.rows, int(y1) + 4), max(0, int(x0) - 3), min(camera.columns, int(x1) + 4),
    )  # fmt: skip


def _tile(rng: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Normal noise; above a quarter megapixel it repeats, shifted and turned over, which nobody sees."""
    rows, columns = shape[:2]
    side = 512
    if rows * columns <= side * side:
        return rng.standard_normal(shape, dtype=np.float32)
    seed = rng.standard_normal((side, side, *shape[2:]), dtype=np.float32)
    noise = np.empty(shape, np.float32)
    for top in range(0, rows, side):
        for left in range(0, columns, side):
            turned = np.roll(seed, rng.integers(0, side, 2).tolist(), axis=(0, 1))[:: rng.choice([-1, 1])]
            part = noise[top : top + side, left : left + side]
            part[:] = turned[: part.shape[0], : part.shape[1]]
    return noise


def _noisy(light: Array, full_well: float, rng: np.random.Generator) -> Array:
    if not full_well:
        return light
    noise = _tile(rng, light.shape)
    noise *= np.sqrt(np.maximum(light, 0) / np.float32(full_well) + np.float32((3 / full_well) ** 2))
    noise += light
    return noise


def _lens_and_sensor(seen: Array, camera: Camera, rng: np.random.Generator) -> Array:
    import cv2

    if camera.grain:
        # Density grows by grain; the noise of light transmitted is then largest in the middle densities.
        noise: Array = cv2.GaussianBlur(_tile(rng, seen.shape), (0, 0), 0.7)
        bare = np.float32(max(camera.light))
        noise *= np.float32(2.3 * camera.grain * 1.8) * np.sqrt(np.clip(1 - seen / bare, 0, 1)) * seen
        seen = seen + noise
    if camera.blur_px:
        seen = cv2.GaussianBlur(seen, (0, 0), camera.blur_px)
    if camera.flare:
        seen = seen * (1 - camera.flare) + camera.flare * seen.mean(axis=(0, 1), dtype=np.float64).astype(np.float32)
    return _noisy(seen, camera.full_well, rng)


def _stored(light: Array, dtype: str) -> NDArray[Any]:
    clipped: NDArray[np.float32] = np.clip(light, 0, 1).astype(np.float32, copy=False)
    if dtype == "float32":
        return clipped
    if dtype == "uint16":
        clipped *= np.float32(65535)
        clipped += np.float32(0.5)
        return clipped.astype(np.uint16)
    encoded = np.where(clipped <= 0.0031308, clipped * 12.92, 1.055 * np.power(clipped, 1 / 2.4) - 0.055)
    return (encoded * 255 + 0.5).astype(np.uint8)


def _infrared(seen: Array, damage: Array, camera: Camera, rng: np.random.Generator) -> NDArray[Any]:
    # Dyes let infrared through but for a little; what is on the film does not.
    leak = np.clip(seen.mean(axis=-1) / max(camera.light), 0, 1) ** 0.06
    return _stored(
        _noisy(0.8 * leak * (1 - damage), camera.full_well, rng), "uint16" if camera.dtype == "uint8" else camera.dtype
    )


def _true_frames(number: int, one: Placed, plane: FilmPlane, camera: Camera) -> list[TrueFrame]:
    found = []
    for index, frame in enumerate(one.strip.frames):
        whole = one.strip.rectangle(frame)
        x0, x1 = max(whole[0], 0.0), min(whole[2], one.strip.length_mm)
        if x0 >= x1:
            continue
        on_film = (x0, whole[1], x1, whole[3])
        seen = _part_in_capture(plane, on_film, camera) * (x1 - x0) / (whole[2] - whole[0])
        if seen > 0:
            found.append(
                TrueFrame(
                    corners=plane.capture(_corners(on_film)), whole_corners=plane.capture(_corners(whole)),
                    visible=seen, label=frame.label, strip=number, index=index,
                )
            )  # fmt: skip
    return found


def _corners(sides: tuple[float, float, float, float]) -> Array:
    x0, y0, x1, y1 = sides
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _part_in_capture(plane: FilmPlane, sides: tuple[float, float, float, float], camera: Camera) -> float:
    x = np.linspace(sides[0], sides[2], 73)
    y = np.linspace(sides[1], sides[3], 49)
    pixels = plane.capture(np.stack(np.meshgrid(x, y), axis=-1))
    inside = (pixels >= 0) & (pixels <= [camera.columns, camera.rows])
    return float(inside.all(axis=-1).mean())


def _true_strip(one: Placed, plane: FilmPlane, camera: Camera) -> TrueStrip:
    strip = one.strip
    middle = np.array([strip.length_mm / 2, strip.width_mm / 2])
    if one.film_centre_mm is not None:
        middle = np.array(one.film_centre_mm)
    before, after = plane.capture(middle + np.array([[-1.0, 0.0], [1.0, 0.0]]))
    tilt = float(np.rad2deg(np.arctan2(*(after - before)[::-1])))
    tilt = (tilt + 90) % 180 - 90
    codes = []
    for x0, x1, half_frame in printed_codes(strip):
        sides = (x0, strip.width_mm - 1.9, x1, strip.width_mm)
        masked = camera.window_mm is not None and not (
            camera.window_mm[0] <= x0 and x1 <= camera.window_mm[2] and camera.window_mm[3] >= strip.width_mm
        )
        if not masked and x0 >= 0 and x1 <= strip.length_mm and _part_in_capture(plane, sides, camera) == 1:
            codes.append(f"{strip.stock_number}/{frame_number(half_frame)}")
    return TrueStrip(
        plane=plane, pixels_per_mm=plane.pixels_per_mm(middle), tilt_degrees=90.0 if tilt == -90 else tilt,
        mirrored=one.mirrored, base_density=-np.log10(strip.base_transmittance()), whole_codes=tuple(codes),
    )  # fmt: skip
