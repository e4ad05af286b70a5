"""What the steps of the image engine hand to each other about a capture's geometry.

Two coordinate systems:

- **capture**: continuous pixels of the full-size capture, x to the right, y down, (0, 0) the outer corner of the
  top-left pixel, so that the centre of that pixel is (0.5, 0.5);
- **film**: millimetres on the film, seen so that its numbers read upright and unmirrored: x along the film in reading
  direction from the centre of the first hole found, y across it from the upper film edge down. Where perforations are
  not seen, x = 0 is the left end of what is seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
LightArray = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

Band = Callable[[int, int, int, int], LightArray]
"""`band(y0, y1, x0, x1)`: full-size linear light of a window inside the capture, shape (y1 - y0, x1 - x0, 3)."""

LabelSource = Literal["edge code", "sequence"]
ScaleSource = Literal["perforations", "film width", "frames", "capture"]


@dataclass(frozen=True, eq=False)
class FilmPlane:
    """How film millimetres lie in the capture: a homography, then a radial lens distortion.

    A film point is taken through `to_pixels` to an ideal pixel p; with c the centre of the capture and r the distance
    of p from c in units of half the capture's diagonal, the capture's pixel is c + (p - c) (1 + distortion r²).

    Attributes
    ----------
    to_pixels : ndarray of shape (3, 3), float64
        Homography from film (x, y, 1) in mm to ideal capture pixels. Its determinant is negative where the film is
        seen mirrored.
    capture_size : (rows, columns)
        Of the full-size capture.
    distortion : float
        Radial coefficient; 0 for a perfect lens, below 0 for a barrel.
    """

    to_pixels: FloatArray
    capture_size: tuple[int, int]
    distortion: float = 0.0

    def capture(self, film_mm: NDArray[np.floating]) -> FloatArray:
        """Capture pixels of film points; both of shape (..., 2)."""
        points = np.asarray(film_mm, dtype=np.float64)
        x, y, w = np.moveaxis(points @ self.to_pixels[:, :2].T + self.to_pixels[:, 2], -1, 0)
        ideal = np.stack([x / w, y / w], axis=-1)
        return self._bend(ideal)

    def film(self, pixels: NDArray[np.floating]) -> FloatArray:
        """Film millimetres of capture points; both of shape (..., 2)."""
        points = np.asarray(pixels, dtype=np.float64)
        ideal = points
        if self.distortion:
            for _ in range(6):  # converges by a factor of about the distortion each time
                ideal = ideal - (self._bend(ideal) - points)
        back = np.linalg.inv(self.to_pixels)
        x, y, w = np.moveaxis(ideal @ back[:, :2].T + back[:, 2], -1, 0)
        return np.stack([x / w, y / w], axis=-1)

    def pixels_per_mm(self, film_mm: NDArray[np.floating]) -> float:
        """Scale around one film point of shape (2,): the root of the area that a square millimetre covers."""
        step = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])
        right, left, down, up = self.capture(np.asarray(film_mm, dtype=np.float64) + step)
        (a, b), (c, d) = right - left, down - up
        return float(np.sqrt(abs(a * d - b * c)))

    def _bend(self, ideal: FloatArray) -> FloatArray:
        if not self.distortion:
            return ideal
        rows, columns = self.capture_size
        centre = np.array([columns / 2, rows / 2])
        offset = ideal - centre
        radius2 = (offset**2).sum(axis=-1, keepdims=True) / (centre**2).sum()
        return centre + offset * (1 + self.distortion * radius2)


@dataclass(frozen=True)
class Hole:
    """One perforation that was measured.

    Attributes
    ----------
    row : int
        0 for the upper row of the film as its numbers stand, 1 for the lower.
    index : int
        Number along the film, counted in pitches from film x = 0.
    x, y : float
        Centre in capture pixels.
    residual_px : float
        Distance from where the film's plane puts it.
    """

    row: int
    index: int
    x: float
    y: float
    residual_px: float


@dataclass(frozen=True, eq=False)
class Strip:
    """One piece of film in a capture.

    Attributes
    ----------
    format : str
        Key of `dryside.film.formats.FORMATS`.
    plane : FilmPlane
        Film millimetres to capture pixels, upright as far as it is known.
    x_from_mm, x_to_mm : float
        What part of the film's length lies in the capture.
    ends_seen : (bool, bool)
        Whether the film is seen to end at `x_from_mm` and at `x_to_mm` (else the capture ends there).
    width_mm : float
        Of the film: its edges are at film y = 0 and y = `width_mm`.
    holes : tuple of Hole
        Empty where no perforations are seen.
    pitch_mm : float
        From hole to hole.
    pixels_per_mm : float
        At the middle of the strip.
    scale_source : {'perforations', 'film width', 'frames', 'capture'}
        What the scale was taken from, the surest first.
    tilt_degrees : float
        Of the film's long axis, clockwise positive, in (-90, 90].
    mirrored : bool or None
        Whether the film is seen from its wrong side; None where nothing tells.
    upright_known : bool
        Whether edge codes told which side is up and which end comes first.
    clear_is_light : bool
        True for negatives, whose rebate is the clearest part of the film; False for slides, whose rebate is black.
    warnings : tuple of str
        What a person should know, one sentence each.
    """

    format: str
    plane: FilmPlane
    x_from_mm: float
    x_to_mm: float
    ends_seen: tuple[bool, bool]
    width_mm: float
    pixels_per_mm: float
    tilt_degrees: float
    scale_source: ScaleSource
    holes: tuple[Hole, ...] = ()
    pitch_mm: float = 4.75
    mirrored: bool | None = None
    upright_known: bool = False
    clear_is_light: bool = True
    warnings: tuple[str, ...] = ()

    def edges(self) -> tuple[FloatArray, FloatArray]:
        """The upper and the lower film edge in capture pixels, each of shape (points, 2), in reading direction."""
        x = np.linspace(self.x_from_mm, self.x_to_mm, 33)
        upper = self.plane.capture(np.stack([x, np.zeros_like(x)], axis=-1))
        lower = self.plane.capture(np.stack([x, np.full_like(x, self.width_mm)], axis=-1))
        return upper, lower


@dataclass(frozen=True)
class StripsFound:
    """The strips of a capture; false where there are none, and then `why` says so."""

    strips: tuple[Strip, ...]
    why: str = ""

    def __bool__(self) -> bool:
        return bool(self.strips)


@dataclass(frozen=True, eq=False)
class FrameFound:
    """One picture on a strip.

    Attributes
    ----------
    index : int
        From 0, along the strip in reading direction.
    corners : ndarray of shape (4, 2), float64
        Top-left, top-right, bottom-right, bottom-left of the upright picture, in capture pixels. A positive lies on
        them in this order.
    film_mm : (x0, y0, x1, y1)
        The frame's sides on the film (means, where a side is not straight).
    confidence : float
        In [0, 1]: 1 where all four sides were seen, about 0.5 where it stands on the rhythm of its neighbours alone.
    label : str or None
        The number on the film's edge: `21`, `20A`.
    label_source : {'edge code', 'sequence'} or None
        Whether its own code was read or it was counted from its neighbours.
    label_confidence : float
        In [0, 1].
    warnings : tuple of str
        What a person should know, one sentence each.
    """

    index: int
    corners: FloatArray
    film_mm: tuple[float, float, float, float]
    confidence: float
    label: str | None = None
    label_source: LabelSource | None = None
    label_confidence: float = 0.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class EdgeCode:
    """One film-edge code that was read and agrees with the others of its strip.

    Attributes
    ----------
    text : str
        As the reader gives it: `36-2/20A`.
    stock_number : str
        The product part: `36-2`.
    half_frame : int or None
        Place on the film in half frames from label 0; None for the short code without a number.
    x_mm : float
        Middle of the code on the film.
    corners : ndarray of shape (4, 2), float64
        Outline in capture pixels.
    confidence : float
        In [0, 1]: how well it agrees with the other codes of the strip.
    """

    text: str
    stock_number: str
    half_frame: int | None
    x_mm: float
    corners: FloatArray
    confidence: float


@dataclass(frozen=True, eq=False)
class StripRead:
    """All that was seen of one strip, upright as far as it is known.

    Attributes
    ----------
    strip : Strip
        Where the film lies.
    frames : tuple of FrameFound
        In reading direction, labelled.
    codes : tuple of EdgeCode
        In reading direction.
    stock_number : str or None
        The product number that the codes agree on.
    """

    strip: Strip
    frames: tuple[FrameFound, ...]
    codes: tuple[EdgeCode, ...] = ()
    stock_number: str | None = None


@dataclass(frozen=True)
class FilmRead:
    """All strips of a capture; false where nothing was found, and then `why` says so."""

    strips: tuple[StripRead, ...] = ()
    why: str = ""
    warnings: tuple[str, ...] = field(default=())

    def __bool__(self) -> bool:
        return bool(self.strips)

    @property
    def frames(self) -> tuple[FrameFound, ...]:
        """The frames of all strips, in order."""
        return tuple(frame for one in self.strips for frame in one.frames)
