"""What the 24 patches of the usual chart are known to be: published averages, or a person's own measurements."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryside.film.refusal import Refusal

Array = NDArray[np.float64]

PATCHES = 24
GREYS = slice(18, 24)

# Whites of CIE D50 and D65 (2 degree observer), CIE 15; the Bradford matrix of ICC.1 annex E; IEC 61966-2-1's matrix,
# derived from its primaries.
D50_XYZ = np.array([0.96422, 1.0, 0.82521])
D65_XYZ = np.array([0.95047, 1.0, 1.08883])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
XYZ_TO_SRGB = np.array(
    [[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]]
)


@dataclass(frozen=True, eq=False)
class ChartReference:
    """Names of the patches and their linear sRGB under the light that makes a white white, shape (24, 3)."""

    name: str
    patches: tuple[str, ...]
    linear_srgb: Array


def adapted_to_d65(xyz_d50: ArrayLike) -> Array:
    """XYZ under D65 from XYZ under D50 by the Bradford transform; shape (..., 3)."""
    scale = (_BRADFORD @ D65_XYZ) / (_BRADFORD @ D50_XYZ)
    matrix = np.linalg.inv(_BRADFORD) @ np.diag(scale) @ _BRADFORD
    return np.asarray(np.asarray(xyz_d50, dtype=float) @ matrix.T)


def read_reference(path: Path) -> ChartReference:
    """A person's chart values: CSV with columns patch and x, y, Y (Y of white 1) or L, a, b; D50, 24 rows.

    Raises
    ------
    Refusal
        If the file cannot be read, has other columns or other than 24 rows.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise Refusal(str(path), f"it cannot be read ({error})", "Give a CSV file of 24 patches.") from error
    return _parsed(text, str(path))


def _parsed(text: str, name: str) -> ChartReference:
    rows = list(csv.DictReader(line for line in text.splitlines() if line.strip() and not line.startswith("#")))
    columns = set(rows[0]) if rows else set()
    if len(rows) != PATCHES:
        raise Refusal(name, f"{len(rows)} patches, {PATCHES} are needed", "One row a patch.")
    for needed, convert in ((("x", "y", "Y"), _from_xyy), (("L", "a", "b"), _from_lab)):
        if set(needed) <= columns:
            try:
                values = np.array([[float(row[key]) for key in needed] for row in rows])
            except (TypeError, ValueError) as error:
                raise Refusal(name, f"a value is no number ({error})", "Write numbers with a decimal point.") from error
            srgb = adapted_to_d65(convert(values)) @ XYZ_TO_SRGB.T
            return ChartReference(name, tuple(str(row.get("patch", i)) for i, row in enumerate(rows)), srgb)
    raise Refusal(name, f"columns are {', '.join(sorted(columns))}", "It needs x, y, Y or L, a, b, in D50.")


def _from_xyy(values: Array) -> Array:
    x, y, luminance = values.T
    return np.stack([x / y * luminance, luminance, (1 - x - y) / y * luminance], axis=1)


def _from_lab(values: Array) -> Array:
    """XYZ (white D50) from CIE 1976 L*a*b*."""
    fy = (values[:, 0] + 16) / 116
    f = np.stack([fy + values[:, 1] / 500, fy, fy - values[:, 2] / 200], axis=1)
    return np.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2) * D50_XYZ


def lab_of_srgb(linear: ArrayLike) -> Array:
    """CIE 1976 L*a*b* (white D65) of linear sRGB, shape (..., 3)."""
    xyz = np.asarray(linear, dtype=float) @ np.linalg.inv(XYZ_TO_SRGB).T / D65_XYZ
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(np.maximum(xyz, 1e-9)), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def _published() -> ChartReference:
    text = resources.files("dryside.negatives").joinpath("data", "chart_24_patches.csv").read_text(encoding="utf-8")
    return _parsed(text, "published averages")


PUBLISHED = _published()
LINEAR_SRGB = PUBLISHED.linear_srgb
