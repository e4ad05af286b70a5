"""From linear light to the samples of a file: a scene kept as it is, or a print with paper's toe and shoulder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Light below this is black: 14 stops under full light.
LEAST_LIGHT = 2.0**-14


@dataclass(frozen=True)
class Tone:
    """A paper-like curve of luminance: ``white * y**contrast / (y**contrast + k)``.

    Parameters
    ----------
    contrast : float
        Slope in the shadows, in stops of print to a stop of scene.
    grey_in, grey_out : float
        A luminance of the scene (0.18 is a grey card) and what it becomes, both in (0, 1).
    white : float
        Where the shoulder ends, in (grey_out, 1].
    """

    contrast: float = 1.45
    grey_in: float = 0.18
    grey_out: float = 0.18
    white: float = 1.0

    def __call__(self, luminance: ArrayLike) -> NDArray[np.float64]:
        """Luminance of the print, 0 to `white`, from luminance of the scene (at or above 0)."""
        y = np.maximum(np.asarray(luminance, dtype=float), LEAST_LIGHT)
        k = self.grey_in**self.contrast * (self.white / self.grey_out - 1.0)
        power = y**self.contrast
        return np.asarray(self.white * power / (power + k))


@dataclass(frozen=True)
class Rendering:
    """What becomes of linear light.

    The scene (`tone` is None) is ``linear / full_scale`` through `transfer`. A print keeps hue: tone acts on luminance
    alone, colour follows in proportion, and what leaves the output space is drawn towards the grey of its luminance::

        y = luminance . rgb ;  t = tone(y)
        c = chroma * (rgb * t / y - t)                       offset from grey
        d = max(max(c) / (1 - t), max(-c) / t)               1 on the edge of the space
        d <= knee: rgb' = t + c ; else rgb' = t + c * (knee + (1 - knee) x / (1 + x)) / d,  x = (d - knee) / (1 - knee)

    and `transfer` encodes rgb'.

    Parameters
    ----------
    name : {'scene', 'print'}
        As the person asked for it.
    space : str
        Name of the RGB space of linear light and of the file (`spaces.SPACES`).
    luminance : 3 floats
        Relative luminance of the space's primaries, summing to 1.
    transfer : {'linear', 'srgb', 'adobe'}
        Encoding.
    full_scale : float
        Linear light that the scene's file writes as its largest sample. 1 in a print.
    tone : Tone or None
        The print's curve.
    chroma : float
        Factor on colourfulness in a print.
    knee : float
        Part of the way to the edge of the space where drawing in begins, in (0, 1).
    """

    name: str
    space: str
    luminance: tuple[float, float, float]
    transfer: str
    full_scale: float = 1.0
    tone: Tone | None = None
    chroma: float = 1.0
    knee: float = 0.85

    @classmethod
    def from_dict(cls, numbers: Mapping[str, Any]) -> Rendering:
        """The rendering that `dataclasses.asdict` wrote."""
        tone = numbers.get("tone")
        red, green, blue = numbers["luminance"]
        return cls(**{**numbers, "luminance": (red, green, blue), "tone": None if tone is None else Tone(**tone)})

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, for JSON."""
        return asdict(self)


SRGB_LUMINANCE = (0.2126, 0.7152, 0.0722)

SCENE = Rendering("scene", "linear sRGB", SRGB_LUMINANCE, "linear", full_scale=4.0)
PRINT = Rendering("print", "sRGB", SRGB_LUMINANCE, "srgb", tone=Tone(), chroma=1.15)


def encode(transfer: str, linear: ArrayLike) -> NDArray[np.float64]:
    """Encoded samples in [0, 1] from linear light (clipped to [0, 1] first).

    Raises
    ------
    ValueError
        If `transfer` is none of 'linear', 'srgb', 'adobe'.

    Notes
    -----
    'srgb' is IEC 61966-2-1, which Display P3 shares; 'adobe' is gamma 563/256 of Adobe RGB (1998).
    """
    x = np.clip(np.asarray(linear, dtype=float), 0.0, 1.0)
    if transfer == "linear":
        return x
    if transfer == "srgb":
        return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    if transfer == "adobe":
        return np.asarray(x ** (256 / 563))
    raise ValueError(f"transfer is {transfer!r}; it must be 'linear', 'srgb' or 'adobe'")


def render(rendering: Rendering, linear: ArrayLike) -> NDArray[np.float64]:
    """Encoded samples in [0, 1] from linear light of shape (..., 3) in the primaries of `rendering.space`."""
    rgb = np.asarray(linear, dtype=float)
    if rendering.tone is None:
        return encode(rendering.transfer, rgb / rendering.full_scale)
    y = np.maximum(rgb @ np.asarray(rendering.luminance), LEAST_LIGHT)[..., None]
    t = rendering.tone(y)
    offset = rendering.chroma * (rgb * (t / y) - t)
    away = np.maximum(
        offset.max(axis=-1, keepdims=True) / np.maximum(1.0 - t, 1e-6), -offset.min(axis=-1, keepdims=True) / t
    )
    x = np.maximum(away - rendering.knee, 0.0) / (1.0 - rendering.knee)
    kept = np.where(x > 0, (rendering.knee + (1.0 - rendering.knee) * x / (1.0 + x)) / np.maximum(away, 1e-9), 1.0)
    return encode(rendering.transfer, t + offset * kept)
