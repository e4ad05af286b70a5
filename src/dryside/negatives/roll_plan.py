"""From what was measured to what is to be written: recipes, names, labels, one job a capture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import dryside
from dryside.negatives.convert import CaptureJob, FrameJob
from dryside.negatives.development import frame_tones
from dryside.negatives.inverted import CaptureInverted, FramePositive, InvertOptions
from dryside.negatives.measure import CaptureMeasured
from dryside.negatives.output_profiles import profile_of
from dryside.negatives.profile import Profile
from dryside.negatives.recipe import Recipe
from dryside.negatives.roll import RollRecipe, recipe_for_roll
from dryside.negatives.types import FrameFound
from dryside.negatives.write_positive import PositiveLabels
from dryside.negatives.xmp import xmp_packet

MM_PER_INCH = 25.4


@dataclass(frozen=True, eq=False)
class RollPlan:
    """What is to be written and what will then be true.

    Attributes
    ----------
    jobs : tuple of CaptureJob
        One a capture.
    results : tuple of CaptureInverted
        What each job's capture will have.
    roll : RollRecipe
        The roll's recipes and what they rest on.
    """

    jobs: tuple[CaptureJob, ...]
    results: tuple[CaptureInverted, ...]
    roll: RollRecipe


def plan_roll(
    measured: Sequence[CaptureMeasured], options: InvertOptions, out: Path, profile: Profile | None = None
) -> RollPlan:
    """Plan the positives of a roll's captures in the folder `out`.

    Parameters
    ----------
    measured : sequence of CaptureMeasured
        In the roll's order.
    options : InvertOptions
        What was asked for.
    out : Path
        Folder of the positives.
    profile : Profile, optional
        Calibration that was read.
    """
    samples = [one for capture in measured for one in capture.samples]
    roll = recipe_for_roll(samples, process=options.process, rendering=options.rendering, profile=profile)
    look_for_chart = roll.rests_on != "pictures"  # of those, colour has told already that they hold none
    jobs, results = [], []
    first = 0
    for capture, stem in zip(measured, _stems([one.facts.path for one in measured]), strict=True):
        stop = first + len(capture.frames)
        frames = tuple(
            FrameJob(frame.corners, recipe, out / name, _labels(capture, recipe, frame, options))
            for frame, recipe, name in zip(
                capture.frames, roll.recipes[first:stop], _names(stem, capture.frames), strict=True
            )
        )
        jobs.append(
            CaptureJob(
                path=capture.facts.path,
                assume=options.assume,
                flat=capture.flat,
                frames=frames,
                output=options.output,
                dust=options.dust,
            )
        )
        results.append(_result(capture, frames, roll, first, look_for_chart))
        first = stop
    return RollPlan(tuple(jobs), tuple(results), roll)


def _stems(paths: Sequence[Path]) -> list[str]:
    """A name for each capture's positives: its own, with its folder's where two captures share one."""
    plain = [path.stem for path in paths]
    return _distinct(path.stem if plain.count(path.stem) == 1 else f"{path.parent.name}-{path.stem}" for path in paths)


def _names(stem: str, frames: Sequence[FrameFound]) -> list[str]:
    """`CAPTURE-21` for each frame, or `CAPTURE-frame03` where it has no number."""
    return _distinct(f"{stem}-{one.label}" if one.label else f"{stem}-frame{k + 1:02d}" for k, one in enumerate(frames))


def _distinct(names: Iterable[str]) -> list[str]:
    """The names, numbered where one comes again."""
    seen: Counter[str] = Counter()
    told = []
    for name in names:
        seen[name] += 1
        told.append(name if seen[name] == 1 else f"{name}-{seen[name]}")
    return told


def _result(
    measured: CaptureMeasured, frames: Sequence[FrameJob], roll: RollRecipe, first: int, look_for_chart: bool
) -> CaptureInverted:
    strip = measured.strip
    steep = roll.recipes and min(roll.recipes[first].shoulder) < 0  # a display's tone curve is in the capture
    return CaptureInverted(
        path=measured.facts.path,
        pixels_per_mm=None if strip is None else strip.pixels_per_mm,
        tilt_degrees=0.0 if strip is None else strip.tilt_degrees,
        mirrored=None if strip is None else strip.mirrored,
        frames=tuple(
            FramePositive(
                index=k,
                corners=tuple((float(x), float(y)) for x, y in found.corners),
                label=found.label,
                label_source=found.label_source,
                positive=job.stem.with_name(job.stem.name + ".tif"),
                base_density=roll.base_density[first + k],
                warnings=(*measured.warnings, *found.warnings, *roll.frame_warnings[first + k]),
                tones=None if steep else frame_tones(seen.picture, seen.base, look_for_chart=look_for_chart),
            )
            for k, (found, job, seen) in enumerate(zip(measured.frames, frames, measured.samples, strict=True))
        ),
    )


def _labels(measured: CaptureMeasured, recipe: Recipe, frame: FrameFound, options: InvertOptions) -> PositiveLabels:
    software = f"Dryside {dryside.__version__}"
    strip = measured.strip
    way = {
        "source": measured.facts.path.name,
        "source_crc32": measured.checksum,
        "version": dryside.__version__,
        "process": options.process,
        "format": options.film_format,
        "encoding": measured.facts.encoding,
        "light": measured.flat.source,
        "corners": frame.corners.tolist(),
        "label": frame.label,
        "recipe": recipe.as_dict(),
    }
    xmp = xmp_packet(software=software, captured=measured.facts.taken, process=options.process, way=way)
    ppi = None if strip is None else round(strip.pixels_per_mm * MM_PER_INCH, 3)
    return PositiveLabels(profile_of(options.rendering), xmp, software, ppi)
