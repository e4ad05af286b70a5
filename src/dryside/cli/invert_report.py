"""The report of `invert --report`: what a run found, as a page."""

from __future__ import annotations

from pathlib import Path

from dryside.negatives.inverted import InvertOptions, RollInverted
from dryside.negatives.write_positive import whole_file
from dryside.paper.roll_report import ReportedFrame, RollReport, roll_report


def write_roll_report(roll: RollInverted, options: InvertOptions, path: Path) -> None:
    """Typeset the report of a roll and write it, whole or not at all."""
    frames, images = [], {}
    everything = [(capture, frame) for capture in roll.captures for frame in capture.frames]
    for number, ((capture, frame), stops) in enumerate(zip(everything, roll.exposure_stops, strict=True)):
        small = frame.positive.with_suffix(".thumb.jpg")
        name = f"frame-{number}.jpg" if small.exists() else None
        if name is not None:
            images[name] = small
        frames.append(
            ReportedFrame(capture.path.name, frame.label or "", name, frame.base_density, stops, frame.warnings)
        )
    light = f", flat {options.flat.name}" if options.flat else ""
    profile = f", profile {options.profile.name}" if options.profile else ""
    report = RollReport(
        title=f"{_count(len(everything), 'frame')} in {_count(len(roll.captures), 'capture')}",
        settings=f"{options.process}, {options.film_format}, {options.rendering.name}{light}{profile}",
        balance_stops=roll.balance_stops,
        frames=tuple(frames),
        warnings=roll.warnings,
        refused=tuple(str(refusal) for refusal in roll.refused),
    )
    document = roll_report(report, images)
    with whole_file(path) as part:
        part.write_bytes(document)


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
