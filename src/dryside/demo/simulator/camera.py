"""How a strip is photographed: where it lies, the light behind it, the lens, the sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from dryside.demo.simulator.film_strip import FilmStrip
from dryside.demo.simulator.shapes import f32
from dryside.negatives.types import FilmPlane

Array = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Placed:
    """A strip on the light table.

    Parameters
    ----------
    strip : FilmStrip
        What lies there.
    centre_px : (x, y) or None, optional
        Where the strip's `film_centre_mm` falls in the capture; the capture's middle if left out.
    film_centre_mm : (x, y) or None, optional
        A point of the film; its middle if left out.
    tilt_degrees : float, optional
        Direction in which the film's reading direction runs, clockwise from right; any angle.
    mirrored : bool, optional
        Laid with the wrong side up.
    """

    strip: FilmStrip
    centre_px: tuple[float, float] | None = None
    film_centre_mm: tuple[float, float] | None = None
    tilt_degrees: float = 0.0
    mirrored: bool = False


@dataclass(frozen=True)
class Camera:
    """Everything about a capture that is not film.

    Parameters
    ----------
    rows, columns : int
        Size of the capture.
    pixels_per_mm : float
        Scale in the middle of the capture.
    keystone : (x, y), optional
        Change of scale from the middle to half a diagonal to the right and down, as a fraction.
    distortion : float, optional
        Radial coefficient of the lens; see `dryside.negatives.types.FilmPlane`.
    light : 3 floats, optional
        Bare light in the middle, 1 = the sensor clips.
    unevenness : float, optional
        How much darker the table's far corner is, as a fraction.
    vignetting : float, optional
        How much the lens takes at the capture's corners, as a fraction.
    surround : {'table', 'black'}, optional
        What lies beside the film.
    surround_gain : float, optional
        Light beside the film against light behind it: above 1 it may clip.
    window_mm : (x0, y0, x1, y1) or None, optional
        A holder that shows only this part of the film (of the first strip); all else is black.
    blur_px : float, optional
        Standard deviation of lens and motion blur.
    full_well : float, optional
        Electrons at 1.0: shot noise. 0 for none.
    grain : float, optional
        Standard deviation of density at density 1, per pixel.
    dust : int, optional
        Specks and hairs over the whole capture.
    scratches : int, optional
        Long lines along the film.
    flare : float, optional
        Fraction of bare light that is spread over everything.
    infrared : bool, optional
        Also take an infrared picture.
    dtype : {'uint16', 'uint8', 'float32'}, optional
        Of the capture; 8 bits are sRGB encoded, the others linear.
    """

    rows: int = 1000
    columns: int = 1500
    pixels_per_mm: float = 20.0
    keystone: tuple[float, float] = (0.0, 0.0)
    distortion: float = 0.0
    light: tuple[float, float, float] = (0.85, 0.9, 0.8)
    unevenness: float = 0.0
    vignetting: float = 0.0
    surround: Literal["table", "black"] = "table"
    surround_gain: float = 1.0
    window_mm: tuple[float, float, float, float] | None = None
    blur_px: float = 0.6
    full_well: float = 30_000.0
    grain: float = 0.012
    dust: int = 0
    scratches: int = 0
    flare: float = 0.0
    infrared: bool = False
    dtype: Literal["uint16", "uint8", "float32"] = "uint16"


def film_plane(camera: Camera, placed: Placed) -> FilmPlane:
    """How the strip's millimetres (from its own top-left corner) fall on the capture."""
    strip = placed.strip
    film = placed.film_centre_mm or (strip.length_mm / 2, strip.width_mm / 2)
    middle = (camera.columns / 2, camera.rows / 2)
    centre = placed.centre_px or middle
    angle = np.deg2rad(placed.tilt_degrees)
    to_origin = np.array([[1, 0, -film[0]], [0, 1, -film[1]], [0, 0, 1.0]])
    flip = np.diag([1.0, -1.0 if placed.mirrored else 1.0, 1.0])
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    grow = np.diag([camera.pixels_per_mm, camera.pixels_per_mm, 1.0])
    place = np.array([[1, 0, centre[0] - middle[0]], [0, 1, centre[1] - middle[1]], [0, 0, 1.0]])
    half = np.hypot(*middle)
    lean = np.array([[1, 0, 0], [0, 1, 0], [camera.keystone[0] / half, camera.keystone[1] / half, 1.0]])
    back = np.array([[1, 0, middle[0]], [0, 1, middle[1]], [0, 0, 1.0]])
    return FilmPlane(
        to_pixels=back @ lean @ place @ grow @ turn @ flip @ to_origin,
        capture_size=(camera.rows, camera.columns),
        distortion=camera.distortion,
    )


def bare_light(camera: Camera, rng: np.random.Generator) -> Array:
    """The light table alone as the camera sees it, shape (rows, columns, 3), before clipping."""
    y = np.linspace(-1, 1, camera.rows, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, camera.columns, dtype=np.float32)[None, :]
    angle, bow = rng.uniform(0, 2 * np.pi), rng.uniform(-0.3, 0.3)
    slope = (np.cos(angle) * x + np.sin(angle) * y + bow * x * y + 1.4) / 2.8
    even = 1 - camera.unevenness * np.clip(slope, 0, 1)
    fall = 1 - camera.vignetting * (x**2 + y**2) / 2
    return np.asarray((even * fall)[..., None] * f32(camera.light), dtype=np.float32)


def film_coordinates(plane: FilmPlane, window: tuple[int, int, int, int], step: int = 16) -> tuple[Array, Array]:
    """Film x and y in mm at the pixels of a window (y0, y1, x0, x1): exact every `step` pixels, linear between."""
    import cv2

    y0, y1, x0, x1 = window
    rows, columns = -(-(y1 - y0) // step) + 2, -(-(x1 - x0) // step) + 2
    xs = x0 + step * (np.arange(columns) - 0.5)
    ys = y0 + step * (np.arange(rows) - 0.5)
    nodes = plane.film(np.stack(np.meshgrid(xs, ys), axis=-1)).astype(np.float32)
    full = cv2.resize(nodes, (columns * step, rows * step), interpolation=cv2.INTER_LINEAR)
    part = full[step : step + y1 - y0, step : step + x1 - x0]
    return np.ascontiguousarray(part[..., 0]), np.ascontiguousarray(part[..., 1])


def sample(canvas: Array, x_mm: Array, y_mm: Array, scale: float) -> Array:
    """A canvas (film corner at its first pixel's corner) at film points, linear between its pixels."""
    import cv2

    at = (x_mm * scale - 0.5, y_mm * scale - 0.5)
    return cv2.remap(canvas, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def box(x_mm: Array, y_mm: Array, sides: tuple[float, float, float, float], pixels_per_mm: float) -> Array:
    """Coverage of a rectangle of film at every pixel, with edges one pixel wide."""
    x0, y0, x1, y1 = sides
    across = np.clip(np.minimum(x_mm - x0, x1 - x_mm) * pixels_per_mm + 0.5, 0, 1)
    return across * np.clip(np.minimum(y_mm - y0, y1 - y_mm) * pixels_per_mm + 0.5, 0, 1)
