"""Where the film lies: strips of a capture by their perforations, or by their edges where no perforations are seen."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.film.formats import FilmFormat, film_format
from dryside.film.perforations import FILM_WIDTH_MM, HOLE_CENTRE_FROM_EDGE_MM, PITCH_MM
from dryside.negatives.bare_film import find_bare_strip
from dryside.negatives.capture_as_frame import capture_as_strip, looks_like_one_frame
from dryside.negatives.film_pieces import find_pieces
from dryside.negatives.film_view import sample
from dryside.negatives.perforation_centres import measure_holes
from dryside.negatives.perforations import HoleRow, clearness, find_rows, pair_rows
from dryside.negatives.plane_fit import fit_plane, fit_similarity
from dryside.negatives.rebate_around import may_have_mask
from dryside.negatives.strip_ends import with_ends
from dryside.negatives.types import FilmPlane, FloatArray, Hole, LightArray, Strip, StripsFound

Floats = NDArray[np.floating[Any]]

_SCALES_DIFFER = 0.15  # between strips of one capture

ROWS_MM = (HOLE_CENTRE_FROM_EDGE_MM, FILM_WIDTH_MM - HOLE_CENTRE_FROM_EDGE_MM)
"""Film y of the middles of the two rows of holes."""


def find_strips(light: LightArray, *, format: str, scale: float, process: str | None = None) -> StripsFound:
    """All strips of a capture.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3), float32
        Linear light of the capture reduced by `scale`.
    format : str
        Key of `dryside.film.formats.FORMATS`.
    scale : float
        Capture pixels to one pixel of `light`.
    process : str, optional
        How the film was developed, if that is known: `c41`, `ecn2`, `bw`, `e6`.

    Returns
    -------
    StripsFound
        False, with the reason, where there is no film. Strips are ordered from the top of the capture down (from left
        to right where they stand upright). Which way up each is, is not known yet: see `orientation`.
    """
    facts = film_format(format)
    strips: list[Strip] = []
    if facts.is_perforated:
        clear = clearness(light)
        for one, other in pair_rows(find_rows(clear)):
            if strips and not _may_be_another(strips, one, other, scale):
                continue
            strip = _perforated(clear, one, other, facts, scale)
            if strip is not None:
                strips.append(with_ends(strip, light, scale=scale))
    if not strips:
        apart = [
            find_bare_strip(light, facts, scale=scale, process=process, piece=piece)
            for piece in find_pieces(light, scale=scale, process=process)
        ]
        strips = [one for one in apart if one is not None]
    if not strips:
        bare = find_bare_strip(light, facts, scale=scale, process=process)
        if (
            (bare is None or bare.scale_source == "frames")
            and may_have_mask(process)
            and looks_like_one_frame(light, facts)
        ):
            bare = capture_as_strip(light, facts, scale=scale)
        if bare is None:
            return StripsFound((), nothing_of(facts))
        strips.append(bare)
    return StripsFound(tuple(sorted(strips, key=_reading_order)))


def nothing_of(facts: FilmFormat) -> str:
    """That no film of this format was found, in words."""
    seen = "no rows of perforations and no frames" if facts.is_perforated else "no frames"
    return f"{seen} of {facts.frame_name} film were found in it"


def _may_be_another(strips: list[Strip], one: HoleRow, other: HoleRow | None, scale: float) -> bool:
    """Whether rows can be one more strip: of the same scale as those found, and not on one of them.

    Bars of edge codes, and windows in a picture, stand in rows too.
    """
    points = np.concatenate([row.points for row in (one, other) if row is not None]) * scale
    largest = max(strips, key=lambda strip: len(strip.holes))
    if abs(one.pitch * scale / (largest.pixels_per_mm * largest.pitch_mm) - 1) > _SCALES_DIFFER:
        return False
    for strip in strips:
        x, y = strip.plane.film(points).T
        on_it = (y > -1) & (y < strip.width_mm + 1) & (x > strip.x_from_mm - 1) & (x < strip.x_to_mm + 1)
        if on_it.mean() > 0.3:
            return False
    return True


def _reading_order(strip: Strip) -> tuple[float, float]:
    middle = strip.plane.capture(np.array([(strip.x_from_mm + strip.x_to_mm) / 2, strip.width_mm / 2]))
    return (middle[1], middle[0]) if abs(strip.tilt_degrees) < 45 else (middle[0], middle[1])


def _perforated(
    clear: NDArray[np.float32], one: HoleRow, other: HoleRow | None, facts: FilmFormat, scale: float
) -> Strip | None:
    size = (round(clear.shape[0] * scale), round(clear.shape[1] * scale))
    plane = _first_plane(clear, one, other, scale, size)
    for _ in range(3):
        sites, numbers = _sites(plane, size, both=other is not None)
        centres, found = measure_holes(clear, plane, sites, scale=scale)
        if found.sum() < 3:
            return None
        if other is not None and min(np.bincount(numbers[found, 0], minlength=2)) >= 3:
            plane, residuals = fit_plane(sites[found], centres[found], plane)
        else:
            plane = fit_similarity(sites[found], centres[found], size, mirrored=False)
            off = plane.capture(sites[found]) - centres[found]
            residuals = np.hypot(off[:, 0], off[:, 1])
    close = residuals < max(0.15 * plane.pixels_per_mm(np.median(sites[found], axis=0)), 0.3)
    if close.sum() < 3:
        return None
    holes = tuple(
        Hole(int(row), int(index), float(x), float(y), float(wrong))
        for (row, index), (x, y), wrong in zip(
            numbers[found][close], centres[found][close], residuals[close], strict=True
        )
    )
    return _strip_of(plane, holes, facts, size)


def _strip_of(plane: FilmPlane, holes: tuple[Hole, ...], facts: FilmFormat, size: tuple[int, int]) -> Strip:
    x_from, x_to = seen_range(plane, size, near_mm=float(np.median([hole.index for hole in holes])) * PITCH_MM)
    middle = np.array([(x_from + x_to) / 2, FILM_WIDTH_MM / 2])
    return Strip(
        format=facts.key,
        plane=plane,
        x_from_mm=x_from,
        x_to_mm=x_to,
        ends_seen=(False, False),
        width_mm=FILM_WIDTH_MM,
        pixels_per_mm=plane.pixels_per_mm(middle),
        tilt_degrees=tilt_degrees(plane, middle),
        scale_source="perforations",
        holes=holes,
    )


def tilt_degrees(plane: FilmPlane, film_mm: Floats) -> float:
    """Tilt of the film's long axis at a film point, clockwise positive, in (-90, 90]."""
    step = np.array([1.0, 0.0])
    before, after = plane.capture(np.stack([film_mm - step, film_mm + step]))
    tilt = float(np.rad2deg(np.arctan2(after[1] - before[1], after[0] - before[0])))
    folded = (tilt + 90) % 180 - 90
    return 90.0 if folded == -90 else folded


def seen_range(
    plane: FilmPlane, size: tuple[int, int], *, near_mm: float, width_mm: float = FILM_WIDTH_MM
) -> tuple[float, float]:
    """From where to where the film's middle third runs inside the capture, around `near_mm`."""
    x = near_mm + np.arange(-600, 600.5, 0.25)
    inside = np.zeros(len(x), bool)
    for part in (0.3, 0.5, 0.7):
        pixels = plane.capture(np.stack([x, np.full_like(x, part * width_mm)], axis=-1))
        inside |= ((pixels >= 0) & (pixels <= [size[1], size[0]])).all(axis=-1)
    middle = int(np.argmin(np.abs(x - near_mm)))
    if not inside[middle]:
        middle = (
            int(np.flatnonzero(inside)[np.argmin(np.abs(np.flatnonzero(inside) - middle))]) if inside.any() else middle
        )
    before = np.flatnonzero(~inside[:middle])
    after = np.flatnonzero(~inside[middle:])
    start = x[before[-1] + 1] if len(before) else x[0]
    stop = x[middle + after[0] - 1] if len(after) else x[-1]
    return float(start), float(max(stop, start))


def _first_plane(
    clear: NDArray[np.float32], one: HoleRow, other: HoleRow | None, scale: float, size: tuple[int, int]
) -> FilmPlane:
    along = one.direction
    across = np.array([-along[1], along[0]])
    if other is None:
        return _plane_of_one_row(clear, one, scale, size)
    upper, lower = (one, other) if across @ (other.points.mean(axis=0) - one.points.mean(axis=0)) > 0 else (other, one)
    start = upper.points[0]
    if upper.direction @ along < 0:
        raise AssertionError("rows run the same way")
    offset = round(float((lower.points[0] - start) @ along / one.pitch))
    film = np.concatenate([
        np.stack([upper.indices * PITCH_MM, np.full(len(upper.indices), ROWS_MM[0])], axis=-1),
        np.stack([(lower.indices + offset) * PITCH_MM, np.full(len(lower.indices), ROWS_MM[1])], axis=-1),
    ])  # fmt: skip
    pixels = np.concatenate([upper.points, lower.points]) * scale
    rough = fit_similarity(film, pixels, size, mirrored=False)
    return (
        fit_plane(film, pixels, rough)[0]
        if len(film) >= 10 and min(len(upper.indices), len(lower.indices)) >= 4
        else rough
    )


def _plane_of_one_row(clear: NDArray[np.float32], row: HoleRow, scale: float, size: tuple[int, int]) -> FilmPlane:
    """Which side of a single row the film lies on: where there is room, and where the film's edge is not."""
    best: tuple[float, FilmPlane] | None = None
    for turn in (1, -1):
        points = row.points[::turn]
        indices = (row.indices[-1] - row.indices[::-1]) if turn < 0 else row.indices
        film = np.stack([indices * PITCH_MM, np.full(len(indices), ROWS_MM[0])], axis=-1)
        plane = fit_similarity(film, points * scale, size, mirrored=False)
        x = np.linspace(0, indices[-1] * PITCH_MM, 60)
        score = _edge_beyond(clear, plane, x, scale)
        if best is None or score > best[0]:
            best = (score, plane)
    assert best is not None
    return best[1]


def _edge_beyond(clear: NDArray[np.float32], plane: FilmPlane, x: FloatArray, scale: float) -> float:
    """How much it looks as if the film ended above its upper row and went on below it."""

    def sampled(y: float) -> Floats:
        pixels = plane.capture(np.stack([x, np.full_like(x, y)], axis=-1))
        return sample(clear, pixels[None], scale=scale, outside=-1.0)[0]

    room = np.mean([np.mean(sampled(y) >= 0) for y in (8.0, 12.0, 16.0, 20.0, 24.0, 28.0)])
    holes = np.median(sampled(ROWS_MM[0]))
    beyond = np.concatenate([sampled(y) for y in (-0.8, -1.6)])
    beyond = beyond[beyond >= 0]
    if not len(beyond):
        return float(room) + 0.3
    bare = np.mean(np.abs(np.log(np.maximum(beyond, 1e-4) / max(holes, 1e-4))) < 0.12)
    black = np.mean(beyond < 0.02 * holes)
    return float(room) + float(max(bare, black))


def _sites(plane: FilmPlane, size: tuple[int, int], *, both: bool) -> tuple[FloatArray, NDArray[np.int64]]:
    """Every place in the capture where the pitch asks for a hole, and its row and number."""
    indices = np.arange(-130, 131)
    found, numbers = [], []
    for row in (0, 1) if both else (0,):
        film = np.stack([indices * PITCH_MM, np.full(len(indices), ROWS_MM[row])], axis=-1)
        pixels = plane.capture(film)
        margin = 1.6 * plane.pixels_per_mm(film[130])
        inside = ((pixels > margin) & (pixels < np.array([size[1], size[0]]) - margin)).all(axis=-1)
        found.append(film[inside])
        numbers.append(np.stack([np.full(inside.sum(), row), indices[inside]], axis=-1))
    return np.concatenate(found), np.concatenate(numbers)
