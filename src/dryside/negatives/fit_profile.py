"""From a capture of a strip with a chart (or a grey wedge) on it to a profile of that stock, light and camera."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import dryside
from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.base import FilmBase
from dryside.negatives.calibrate import fit_chart_by_best_prior
from dryside.negatives.camera_kind import camera_kind
from dryside.negatives.capture import Assume, read_capture, reduce_capture
from dryside.negatives.chart import ChartFound, NoChart, find_chart
from dryside.negatives.chart_values import PUBLISHED, ChartReference
from dryside.negatives.file_checksum import file_checksum
from dryside.negatives.flat import read_flat, transmittance
from dryside.negatives.geometry import finder_reduction
from dryside.negatives.measure import CaptureMeasured, MeasureOptions, frame_samples, measure_capture
from dryside.negatives.prior import colour_prior
from dryside.negatives.profile import Profile
from dryside.negatives.recipe import as_triple, density_log2
from dryside.negatives.roll_colour import LOG10_2
from dryside.negatives.silver import chart_luminance, fit_silver
from dryside.negatives.types import FrameFound
from dryside.negatives.wedge import WedgeFound, find_wedge, fit_wedge

Array = NDArray[np.float64]

_SAMPLE_SIZE = (384, 256)
_BETTER_FRAME = "Frame the chart larger and evenly lit, name its frame with --frame, or check --process."


@dataclass(frozen=True)
class CalibrationOptions:
    """What a person said of the capture.

    Attributes
    ----------
    process, film_format : str
        How it was developed; key of `dryside.film.formats.FORMATS`.
    flat : Path or None
        Capture of the bare light.
    frame : str or None
        Label of the chart's frame; None looks at all.
    reference : ChartReference
        Values of the chart.
    wedge_step_stops : float or None
        Exposure between the steps of a grey wedge; None looks for a chart.
    assume : {'auto', 'linear', 'srgb'}
        How files without a profile are encoded.
    whole : bool
        The capture is one frame and nothing else.
    """

    process: str
    film_format: str
    flat: Path | None = None
    frame: str | None = None
    reference: ChartReference = PUBLISHED
    wedge_step_stops: float | None = None
    assume: Assume = "auto"
    whole: bool = False


def calibrate_capture(path: Path, options: CalibrationOptions) -> Profile:
    """A profile from the chart or wedge in a capture.

    Raises
    ------
    Refusal
        If the capture or its flat cannot be used, or a negative shows no film base to count from.
    NotFound
        If there is no film, no such frame, or no chart (wedge) in it.
    """
    flat = read_flat(options.flat, assume=options.assume) if options.flat else None
    told = MeasureOptions(
        options.film_format, options.assume, flat, str(options.flat or ""), options.whole, process=options.process
    )
    measured = measure_capture(path, told)
    frames = _named(path, measured.frames, options.frame)
    base = _base_log2(path, measured, options.process)
    pictures = _pictures(path, measured, frames, options)
    if options.wedge_step_stops is not None:
        return _from_wedge(path, pictures, frames, base, options)
    return _from_chart(path, pictures, frames, base, options)


def _named(path: Path, frames: tuple[FrameFound, ...], label: str | None) -> tuple[FrameFound, ...]:
    if label is None:
        return frames
    chosen = tuple(frame for frame in frames if frame.label == label or str(frame.index + 1) == label)
    if not chosen:
        there = ", ".join(str(frame.label or frame.index + 1) for frame in frames)
        raise NotFound(str(path), f"no frame {label} here; there are {there}", "Name one of them with --frame.")
    return chosen[:1]


def _base_log2(path: Path, measured: CaptureMeasured, process: str) -> Array:
    if process == "e6":
        return np.zeros(3)
    if isinstance(measured.base, FilmBase):
        return measured.base.density_log2
    remedy = "Capture the strip with its edges, so that clear film is seen."
    raise Refusal(str(path), f"film base could not be measured: {measured.base.why}", remedy)


def _pictures(
    path: Path, measured: CaptureMeasured, frames: tuple[FrameFound, ...], options: CalibrationOptions
) -> list[Array]:
    """Densities of the frames in powers of two, finer than a roll's balance needs them."""
    facts = measured.facts
    factor = max(1, finder_reduction(facts.height, facts.width) // 3)
    with read_capture(path, assume=options.assume) as capture:
        through = transmittance(reduce_capture(capture, factor), measured.flat, factor)
    columns, rows = _SAMPLE_SIZE
    return [
        density_log2(frame_samples(through, frame.corners / factor, columns=columns, rows=rows), np.ones(3))
        for frame in frames
    ]


def _from_chart(
    path: Path, pictures: list[Array], frames: tuple[FrameFound, ...], base: Array, options: CalibrationOptions
) -> Profile:
    looked = [find_chart(picture) for picture in pictures]
    charts = [(chart, frame) for chart, frame in zip(looked, frames, strict=True) if isinstance(chart, ChartFound)]
    if not charts:
        whys = "; ".join(one.why for one in looked if isinstance(one, NoChart))
        raise NotFound(str(path), f"no 24-patch chart in {_frames_named(frames)} ({whys})", _BETTER_FRAME)
    chart, frame = max(charts, key=lambda found: found[0].fit)
    density = chart.density - base
    way = _way(path, frame, options) | {"reference": options.reference.name, "chart_centres": chart.centres.tolist()}
    base_density = as_triple(base * LOG10_2)
    if options.process == "bw":
        contrast, toe = fit_silver(density, chart_luminance(options.reference.linear_srgb))
        return Profile("bw", "chart", base_density, contrast=contrast, toe=toe, way=way)
    fit = fit_chart_by_best_prior(options.process, base_density, density, options.reference.linear_srgb)
    differences = tuple(float(value) for value in fit.difference)
    return Profile(options.process, "chart", base_density, tuple(fit.vector.tolist()), differences=differences, way=way)


def _from_wedge(
    path: Path, pictures: list[Array], frames: tuple[FrameFound, ...], base: Array, options: CalibrationOptions
) -> Profile:
    step = options.wedge_step_stops or 0.0
    if not (math.isfinite(step) and step > 0):
        raise Refusal("--wedge-step", f"{step} is no step between exposures", "Give it in stops, above 0.")
    looked = [find_wedge(picture) for picture in pictures]
    found = [(wedge, frame) for wedge, frame in zip(looked, frames, strict=True) if isinstance(wedge, WedgeFound)]
    if not found:
        raise NotFound(str(path), f"no grey wedge along {_frames_named(frames)}", _BETTER_FRAME)
    wedge, frame = max(found, key=lambda one: len(one[0].density))
    density = wedge.density - base
    base_density = as_triple(base * LOG10_2)
    way = _way(path, frame, options) | {"wedge_step_stops": step, "steps": len(density)}
    if options.process == "bw":
        order = np.argsort(density.mean(axis=1))
        light = np.empty(len(density))
        light[order] = 2.0 ** (np.arange(len(density)) * step)
        contrast, toe = fit_silver(density, light)
        return Profile("bw", "wedge", base_density, contrast=contrast, toe=toe, way=way)
    prior = colour_prior(options.process, camera_kind(options.process, base_density, pictures))
    vector, off = fit_wedge(prior, prior.mean(base_density), density, step)
    differences = tuple(float(value) for value in off)
    return Profile(options.process, "wedge", base_density, tuple(vector.tolist()), differences=differences, way=way)


def _frames_named(frames: tuple[FrameFound, ...]) -> str:
    names = ", ".join(str(frame.label or frame.index + 1) for frame in frames)
    return f"frame {names}" if len(frames) == 1 else f"frames {names}"


def _way(path: Path, frame: FrameFound, options: CalibrationOptions) -> dict[str, object]:
    return {
        "program": f"Dryside {dryside.__version__}",
        "capture": path.name,
        "capture_crc32": file_checksum(path),
        "flat": None if options.flat is None else options.flat.name,
        "flat_crc32": None if options.flat is None else file_checksum(options.flat),
        "format": options.film_format,
        "frame": frame.label or str(frame.index + 1),
        "corners": frame.corners.tolist(),
    }
