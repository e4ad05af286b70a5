"""One page that shows a lab what is wrong with which scan, and where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from dryside.paper.typeset import typeset

MOST_LISTED = 18  # on one page under six pictures, Letter too
MOST_LETTERS = 105  # of what was found, on one line; the numbers stand in the book


@dataclass(frozen=True)
class ReportedScan:
    """One scan: file name, verdict (`look` or `poor`), what was found in words, and the name of its marked picture."""

    name: str
    verdict: str
    found: tuple[str, ...]
    picture: str | None = None


@dataclass(frozen=True)
class InspectionReport:
    """What is printed: of `total` scans those in `scans` have findings; `request` is what is asked of the lab."""

    title: str
    lab: str | None
    order: str | None
    request: str | None
    total: int
    scans: tuple[ReportedScan, ...]
    page: str = "a4"
    made_on: str | None = None


def _one_line(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 1].rstrip() + "…"


def inspection_report(report: InspectionReport, images: Mapping[str, bytes | Path]) -> bytes:
    """Typeset the page: a PDF/A-2b; what is over a page's room is counted, not listed."""
    listed = report.scans[:MOST_LISTED]
    data = {
        "title": f"Scans of roll {report.title}",
        "page": report.page,
        "made_on": report.made_on,
        "to": ", ".join(part for part in (report.lab, f"order {report.order}" if report.order else None) if part),
        "request": report.request,
        "summary": f"{len(report.scans)} of {report.total} scans have something to look at.",
        "more": len(report.scans) - len(listed),
        "scans": [
            {"name": s.name, "verdict": s.verdict, "found": _one_line("; ".join(s.found)), "picture": s.picture}
            for s in listed
        ],
    }
    return typeset("inspection", data, images=images)
