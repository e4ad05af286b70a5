"""Inspect a scan: every measure as a number with a plain verdict, the reason for its threshold, and where it is."""

from __future__ import annotations

import statistics
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dryside.film.formats import FilmFormat
from dryside.film.refusal import Refusal
from dryside.scans import flaws, tones
from dryside.scans.edge_response import find_edges, finest_detail
from dryside.scans.looks import Look, is_same_view, look_at, same_view
from dryside.scans.roll_lines import Line, box_of, fine_lines, lines_through

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]
    Box = tuple[int, int, int, int]

GOOD, LOOK, POOR = "good", "look", "poor"
_RANK = {GOOD: 0, LOOK: 1, POOR: 2}
_RAISED_BLACK = 25.0
_LEAST_EDGES = 3
_SHARPNESS_PX = 2400
_TRIPOD = 0.8  # correlation above which two frames in a row are of one camera position
Thresholds = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Finding:
    """One measure of one scan: its name in `thresholds.toml`, the number, the verdict, words, and boxes in pixels."""

    name: str
    value: float
    verdict: str
    says: str
    why: str = ""
    boxes: tuple[Box, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"name": self.name, "value": round(float(self.value), 4), "verdict": self.verdict, "says": self.says,
                "why": self.why, "where": [list(box) for box in self.boxes[:20]]}  # fmt: skip


@dataclass(frozen=True)
class Inspected:
    """All findings of one scan, and what the roll needs of it."""

    name: str
    width: int
    height: int
    findings: tuple[Finding, ...]
    neutral: tuple[float, float] = (0.0, 0.0)
    look: Look | None = None
    lines: tuple[Line, ...] = ()
    along_long_side: bool = True

    @property
    def verdict(self) -> str:
        """The worst of its findings."""
        return max((finding.verdict for finding in self.findings), key=lambda v: _RANK[v], default=GOOD)

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"name": self.name, "width": self.width, "height": self.height, "verdict": self.verdict,
                "findings": [finding.as_dict() for finding in self.findings]}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What the scan should be: the format, the pixels that the tier promised on the long side, negative or slide."""

    film: FilmFormat
    promised_px: int | None = None
    is_negative: bool = True


@cache
def shipped_thresholds() -> Thresholds:
    """Thresholds as shipped."""
    return tomllib.loads(files("dryside.scans").joinpath("thresholds.toml").read_text("utf-8"))


def read_thresholds(path: Path | None) -> Thresholds:
    """A person's thresholds over the shipped ones.

    Raises
    ------
    Refusal
        If the file is no TOML or names a measure that there is not.
    """
    if path is None:
        return shipped_thresholds()
    try:
        own = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise Refusal(path.name, f"it cannot be read ({problem})", "Copy the shipped thresholds.toml.") from problem
    unknown = set(own) - set(shipped_thresholds())
    if unknown:
        raise Refusal(path.name, f"there is no measure {sorted(unknown)[0]!r}", "See the shipped thresholds.toml.")
    return {name: {**table, **own.get(name, {})} for name, table in shipped_thresholds().items()}


def judge(name: str, value: float, thresholds: Thresholds) -> str:
    """The verdict on a number."""
    rule = thresholds[name]
    for verdict in (POOR, LOOK):
        limit = rule[verdict]
        if value <= limit if rule.get("low_is_bad") else value >= limit:
            return verdict
    return GOOD


def inspect_image(
    image: Image8, *, name: str, asked: Asked, thresholds: Thresholds, file: Path | bytes | None = None
) -> Inspected:
    """Measure one scan.

    Parameters
    ----------
    image : ndarray of shape (rows, columns, 3), uint8
        The whole scan, upright.
    name : str
        For the report.
    asked : Asked
        What it should be.
    thresholds : mapping
        From `read_thresholds`.
    file : Path or bytes, optional
        The file, for the quality of a JPEG.
    """
    import cv2

    height, width = image.shape[:2]
    view = look_at(image)
    if view.is_blank:
        says = "nothing was exposed" if view.level < 128 else "fogged or exposed to the limit"
        blank = Finding("blank", view.spread, LOOK, f"blank: {says}", "an even picture from edge to edge")
        return Inspected(name, width, height, (blank,), look=view)
    luma = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    made = _Maker(thresholds)
    _size(made, width, height, asked)
    _sharpness(made, np.asarray(luma), asked)
    _tones(made, image, file)
    _flaws(made, image, asked)
    along = asked.film.along_mm >= asked.film.across_mm
    lines = fine_lines(image, along_long_side=along)
    return Inspected(name, width, height, tuple(made.findings), tones.neutral_of(image), view, lines, along)


class _Maker:
    """Collects findings under one set of thresholds."""

    def __init__(self, thresholds: Thresholds) -> None:
        self.thresholds = thresholds
        self.findings: list[Finding] = []

    def add(self, name: str, value: float, says: str, boxes: Sequence[Box | None] = ()) -> None:
        """Judge a number and note it."""
        verdict = judge(name, value, self.thresholds)
        places = tuple(box for box in boxes if box is not None)
        self.findings.append(Finding(name, value, verdict, says, str(self.thresholds[name]["why"]), places))


def _size(made: _Maker, width: int, height: int, asked: Asked) -> None:
    long, short = max(width, height), min(width, height)
    ppi = long / asked.film.long_mm * 25.4
    made.add("resolution_ppi", ppi, f"{width} x {height} px, {ppi:.0f} ppi on the film")
    if asked.promised_px:
        part = long / asked.promised_px
        made.add("promised_pixels_part", part, f"{long} px on the long side of {asked.promised_px} promised")
    apart = abs(long / short / asked.film.aspect - 1)
    made.add("shape_apart", apart, f"sides {long / short:.2f} to 1, the format's are {asked.film.aspect:.2f} to 1")


def _centre(luma: NDArray[Any]) -> tuple[NDArray[Any], int, int]:
    """The middle of a large picture, and where it begins: sharpness needs all pixels, but not all of the picture."""
    rows, columns = luma.shape[:2]
    y, x = max(0, (rows - _SHARPNESS_PX) // 2), max(0, (columns - _SHARPNESS_PX) // 2)
    return luma[y : y + _SHARPNESS_PX, x : x + _SHARPNESS_PX], x, y


def _moved(box: Box, x: int, y: int) -> Box:
    return box[0] + x, box[1] + y, box[2], box[3]


def _sharpness(made: _Maker, whole: NDArray[Any], asked: Asked) -> None:
    ppi = max(whole.shape) / asked.film.long_mm * 25.4
    luma, x, y = _centre(whole)
    detail = finest_detail(luma)
    made.add(
        "finest_detail_cycles_px", detail, f"detail to {detail:.2f} cycles a pixel, like {2 * detail * ppi:.0f} ppi"
    )
    edges = find_edges(luma)
    if len(edges) < _LEAST_EDGES:
        return
    best = sorted(edges, key=lambda edge: -edge.mtf50_cycles_px)[: max(3, len(edges) // 3)]
    mtf50 = statistics.median(edge.mtf50_cycles_px for edge in best)
    per_mm = mtf50 * ppi / 25.4
    made.add("mtf50_cycles_px", mtf50, f"half contrast at {mtf50:.2f} cycles a pixel, {per_mm:.0f} a mm",
             [_moved(best[0].box, x, y)])  # fmt: skip
    halo = statistics.median(edge.overshoot for edge in edges)
    worst = max(edges, key=lambda edge: edge.overshoot)
    made.add("halo_part", halo, f"edges swing over by {halo:.0%} of their step", [_moved(worst.box, x, y)])


def _tones(made: _Maker, image: Image8, file: Path | bytes | None) -> None:
    clipped = tones.clipping(image)
    for name, shares, word in (
        ("clipped_high_part", clipped.high, "white"),
        ("clipped_low_part", clipped.low, "black"),
    ):
        # In one channel alone it is a strong colour; in all three drawing is lost.
        lost = min(shares)
        channel = ", ".join(f"{c} {s:.1%}" for c, s in zip(("red", "green", "blue"), shares, strict=True))
        made.add(name, lost, f"at the {word} end: {channel}", [clipped.box] if lost > 0.005 else [])
    black, white = tones.levels(image)
    made.add("black_level", black, f"black at level {black:.0f}")
    made.add("white_level", white, f"white at level {white:.0f}")
    grain = tones.noise(_centre(image)[0])
    made.add("noise_levels", grain, f"noise and grain {grain:.1f} levels in even parts")
    quality = tones.jpeg_quality(file) if file is not None else None
    if quality is not None:
        made.add("jpeg_quality", quality, f"JPEG quality {quality}")


def _flaws(made: _Maker, image: Image8, asked: Asked) -> None:
    specks = flaws.dust(image, is_negative=asked.is_negative)
    made.add("dust_specks", specks.count, f"{specks.count} specks of dust", specks.boxes)
    lines = flaws.scratches(image)
    made.add("scratches", lines.count, f"{lines.count} scratches", lines.boxes)
    if asked.film.is_perforated:
        beat, side = flaws.light_at_perforations(image, long_mm=asked.film.long_mm)
        made.add("light_at_perforations", beat, f"light beats by {beat:.0f} levels at the {side or 'perforations'}")
    warm, side = flaws.leak(image)
    made.add("leak", warm, f"warm light at the {side} edge" if warm else "no warm light at the edges")
    borders = flaws.rebate(image)
    part = max((w / image.shape[0 if s in ("top", "bottom") else 1] for s, w in borders.items()), default=0.0)
    words = ", ".join(f"{side} {px} px" for side, px in borders.items())
    made.add("rebate_part", part, f"rebate or mask shows: {words}" if borders else "no rebate shows")
    share, box = flaws.second_edge(image)
    raised = tones.levels(image)[0] >= _RAISED_BLACK
    value = share if raised else 0.0
    says = "the edge of a second picture runs across it" if raised and share > 0.9 else "no second exposure"
    made.add("second_edge_part", value, says, [box] if value else [])


def inspect_roll(scans: Sequence[Inspected], thresholds: Thresholds) -> list[Inspected]:
    """Add what only the roll shows: a cast against its neutral, its own cast, near-duplicates, scratches along it."""
    pictures = [scan for scan in scans if scan.look is not None and not scan.look.is_blank]
    shared = tones.roll_neutral([scan.neutral for scan in pictures])
    through = _scratched(scans)
    out = []
    for i, scan in enumerate(scans):
        if scan.look is None or scan.look.is_blank:
            out.append(scan)
            continue
        made = _Maker(thresholds)
        if len(pictures) >= 6:
            off = _distance(scan.neutral, shared)
            made.add("cast_from_roll", off, f"its neutral lies {off:.0f} from the roll's{_hue(scan.neutral, shared)}")
            whole = _distance(shared, (0.0, 0.0))
            made.add("cast_of_roll", whole, f"the roll's neutral lies {whole:.0f} from grey{_hue(shared, (0.0, 0.0))}")
        before = scans[i - 1] if i else None
        if before is not None and before.look is not None and is_same_view(scan.look, before.look):
            says = f"shows the same as {before.name}"
            made.findings.append(Finding("same_view", 1.0, LOOK, says, "two scans of one frame, or a frame sent twice"))
        if through[i]:
            boxes = [
                box_of(place, (scan.width, scan.height), along_long_side=scan.along_long_side)
                for place, _ in through[i]
            ]
            most = max(count for _, count in through[i])
            says = f"{_count(len(through[i]), 'fine line')} along the film, at one place through {most} frames"
            made.add("scratches_along_roll", len(through[i]), says, boxes)
        out.append(replace(scan, findings=(*scan.findings, *made.findings)))
    return out


def _scratched(scans: Sequence[Inspected]) -> list[list[tuple[float, int]]]:
    """Per scan, the scratches that run through it: the place across the film, and through how many frames."""
    looks = [scan.look for scan in scans]
    alike = [
        k > 0 and a is not None and (b := looks[k - 1]) is not None and same_view(a, b) > _TRIPOD
        for k, a in enumerate(looks)
    ]
    upright = [(scan.width >= scan.height) != scan.along_long_side for scan in scans]
    out: list[list[tuple[float, int]]] = [[] for _ in scans]
    for line in lines_through([scan.lines for scan in scans], alike=alike, upright=upright):
        for k in line.frames:
            near = min((seen.place for seen in scans[k].lines), key=lambda p: line.apart(p, upright=upright[k]))
            out[k].append((near, len(line.frames)))
    return out


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _distance(a: tuple[float, float], b: tuple[float, float]) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def _hue(neutral: tuple[float, float], against: tuple[float, float]) -> str:
    """The cast in a word: the larger of the two axes."""
    red, yellow = neutral[0] - against[0], neutral[1] - against[1]
    if max(abs(red), abs(yellow)) < 3:
        return ""
    if abs(red) >= abs(yellow):
        return ", to magenta" if red > 0 else ", to green"
    return ", to yellow" if yellow > 0 else ", to blue"
