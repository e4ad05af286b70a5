"""A page about an inverted roll: film base, balance, exposure of each frame, and what a person should look at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryside.paper.typeset import typeset

STOPS_SHOWN = 3.0  # where the bars of exposure end


@dataclass(frozen=True)
class ReportedFrame:
    """One frame.

    Attributes
    ----------
    capture, label : str
        File name of the capture; the number on the film's edge, '' where none is known.
    picture : str or None
        Name of its small picture among the images.
    base_density : 3 floats
        Red, green, blue, above bare light.
    exposure_stops : float
        Against the roll's median.
    warnings : tuple of str
        One sentence each.
    """

    capture: str
    label: str
    picture: str | None
    base_density: tuple[float, float, float]
    exposure_stops: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class RollReport:
    """What is printed.

    Attributes
    ----------
    title, settings : str
        Heading and a line on how the roll was inverted.
    balance_stops : 3 floats
        What the roll's balance takes from red, green and blue.
    frames : tuple of ReportedFrame
        In the roll's order.
    warnings, refused : tuple of str
        About the roll; and captures that could not be used, one sentence each.
    page : {'a4', 'letter'}
        Paper.
    """

    title: str
    settings: str
    balance_stops: tuple[float, float, float]
    frames: tuple[ReportedFrame, ...]
    warnings: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    page: str = "a4"


def roll_report(report: RollReport, images: Mapping[str, bytes | Path]) -> bytes:
    """Typeset the report: a PDF/A-2b of one page or more."""
    data = {
        "title": report.title,
        "page": report.page,
        "settings": report.settings,
        "balance": _three(report.balance_stops, signed=True),
        "warnings": list(report.warnings),
        "refused": list(report.refused),
        "frames": [_frame(frame) for frame in report.frames],
    }
    return typeset("roll-report", data, images=images)


def _frame(frame: ReportedFrame) -> dict[str, Any]:
    stops = frame.exposure_stops
    return {
        "capture": frame.capture,
        "label": frame.label or "–",
        "picture": frame.picture,
        "base": _three(frame.base_density, signed=False),
        "exposure": f"{stops:+.1f}",
        "bar": max(-1.0, min(1.0, stops / STOPS_SHOWN)),
        "warnings": " ".join(frame.warnings),
    }


def _three(values: Sequence[float], *, signed: bool) -> str:
    return "  ".join(f"{value:+.2f}" if signed else f"{value:.2f}" for value in values)
