"""What a calibration keeps of a stock, a light and a camera, as a JSON file of our own that knows its way."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal
from dryside.negatives.layers import SIZE
from dryside.negatives.recipe import Triple

KIND = "dryside profile"
VERSION = 1


@dataclass(frozen=True)
class Profile:
    """What was learnt from a chart or a wedge.

    Attributes
    ----------
    process : {'c41', 'ecn2', 'e6', 'bw'}
        How the film was developed; a profile serves no other process.
    target : {'chart', 'wedge'}
        What was photographed.
    base_density : 3 floats
        Film base when it was made, ``-log10(base / bare light)``.
    vector : tuple of 23 floats
        Colour films: the numbers of `layers`. Black and white: empty.
    contrast, toe : float
        Black and white: slope of density over log10 exposure, and the toe; 0 for colour films.
    differences : tuple of float
        CIEDE2000 of each patch that was fitted (black and white: of lightness alone).
    way : mapping
        Names and checksums of the files it was made from, version of the program, reference values.
    """

    process: str
    target: str
    base_density: Triple
    vector: tuple[float, ...] = ()
    contrast: float = 0.0
    toe: float = 0.0
    differences: tuple[float, ...] = ()
    way: Mapping[str, Any] = field(default_factory=dict)

    @property
    def numbers(self) -> NDArray[np.float64]:
        """The vector as an array of shape (23,)."""
        return np.asarray(self.vector, dtype=float)


def read_profile(path: Path, process: str | None = None) -> Profile:
    """A profile from its file.

    Parameters
    ----------
    path : Path
        As `write_profile` wrote it.
    process : str, optional
        The process it is wanted for.

    Raises
    ------
    Refusal
        If it cannot be read, is no profile, is from a newer version, is damaged, or is for another process.
    """
    again = "Make it again with 'dryside calibrate'."
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise Refusal(str(path), f"this profile cannot be read ({error})", again) from error
    if not isinstance(found, dict) or found.get("kind") != KIND:
        raise Refusal(str(path), "this is not a profile", again)
    if found.get("version", 0) > VERSION:
        raise Refusal(str(path), f"written by a newer Dryside (version {found['version']})", "Update Dryside.")
    try:
        profile = _from_document(found)
    except (KeyError, TypeError, ValueError) as error:
        raise Refusal(str(path), f"this profile is damaged ({error})", again) from error
    if process is not None and profile.process != process:
        raise Refusal(str(path), f"it was made for {profile.process}, the film here is {process}", "Name another.")
    return profile


def _from_document(found: Mapping[str, Any]) -> Profile:
    red, green, blue = (float(value) for value in found["base_density"])
    profile = Profile(
        process=str(found["process"]),
        target=str(found["target"]),
        base_density=(red, green, blue),
        vector=tuple(float(value) for value in found["vector"]),
        contrast=float(found["contrast"]),
        toe=float(found["toe"]),
        differences=tuple(float(value) for value in found["differences"]),
        way=dict(found["way"]),
    )
    if profile.process != "bw" and len(profile.vector) != SIZE:
        raise ValueError(f"{len(profile.vector)} numbers, {SIZE} are needed")
    if profile.process == "bw" and profile.contrast <= 0:
        raise ValueError("contrast is not above 0")
    if not all(math.isfinite(value) for value in (*profile.vector, *profile.base_density)):
        raise ValueError("a number is not finite")
    return profile


def write_profile(profile: Profile, path: Path) -> None:
    """Write a profile whole or not at all.

    Raises
    ------
    Refusal
        If the place cannot be written.
    """
    document = {"kind": KIND, "version": VERSION, **asdict(profile)}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(document, file, indent=1)
                file.write("\n")
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise Refusal(str(path), f"it cannot be written ({error.strerror})", "Name another place.") from error


def summary(profile: Profile, names: Sequence[str]) -> dict[str, Any]:
    """How well a profile fits what it was made from.

    Parameters
    ----------
    profile : Profile
        Any.
    names : sequence of str
        Of the patches or steps, in order.

    Returns
    -------
    dict
        `patches` (name, off; the furthest off first), `median`, `percentile_95` and `measure`, which says what `off`
        is; for black and white the contrast.
    """
    off = np.asarray(profile.differences, dtype=float)
    order = np.argsort(-off, kind="stable")
    return {
        "process": profile.process,
        "target": profile.target,
        "frame": profile.way.get("frame"),
        "base_density": list(profile.base_density),
        "contrast": profile.contrast,
        "measure": "CIEDE2000" if profile.target == "chart" else "stops",
        "median": float(np.median(off)) if off.size else None,
        "percentile_95": float(np.quantile(off, 0.95)) if off.size else None,
        "patches": [{"name": names[i], "off": float(off[i])} for i in order],
    }
