"""Which scan is which frame: the delivery laid along the roll's log, in order, with gaps on either side.

All monotone alignments under all readings of the names are weighed together by dynamic programming (forward and
backward), so a pair's confidence is the share of the weight of those alignments that contain it. What could as well be
otherwise comes out near one half by itself, and is asked.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_NONE = -1e9  # log of 'never', finite so that sums stay numbers
_LABEL = re.compile(r"^(\d+)([A-Za-z]?)$")


@dataclass(frozen=True)
class ScanSeen:
    """What alignment knows of a scan: the number in its name, and what its picture shows.

    `number` is along the film (`film_number`); `like_previous` says that it looks like the scan before it; `shot_utc`
    is the time of the phone shot it was matched to with `shot_confidence`.
    """

    number: float | None = None
    blank: bool = False
    like_previous: bool = False
    shot_utc: float | None = None
    shot_confidence: float = 0.0


@dataclass(frozen=True)
class FrameLogged:
    """What alignment knows of a logged frame: its number along the film, whether it is blank, when it was taken."""

    number: float
    blank: bool = False
    taken_utc: float | None = None


@dataclass(frozen=True)
class Reason:
    """One named thing that counts for or against a pair, with its cost (log odds; above 0 is against)."""

    name: str
    cost: float
    says: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the book."""
        return {"name": self.name, "cost": round(self.cost, 2), "says": self.says}


@dataclass(frozen=True)
class Placed:
    """A scan's place: the frame (None: none of the logged ones), how sure, why, and what else it could be.

    `others` are (frame or None, probability), the likeliest first, without the chosen one. `also` is the second frame
    of a file that shows two.
    """

    frame: int | None
    confidence: float
    sure: bool
    reasons: tuple[Reason, ...]
    others: tuple[tuple[int | None, float], ...] = ()
    also: int | None = None


@dataclass(frozen=True)
class Alignment:
    """The whole delivery: a place for every scan, the frames that did not come, and the reading of the names."""

    places: tuple[Placed, ...]
    missing: tuple[int, ...]
    reading: str
    backwards: bool
    backwards_probability: float


@dataclass(frozen=True)
class _Reading:
    """One way to understand the names: film number = sign * number + shift.

    `counts` ignores the numbers; with `ordinal` the film's frames are numbered 1, 2, 3 whatever their labels.
    """

    name: str
    sign: int
    prior: float
    shift: float = 0.0
    counts: bool = False
    ordinal: bool = False


@cache
def settings() -> dict[str, dict[str, float]]:
    """Costs, readings, caps and limits from alignment.toml."""
    return tomllib.loads(files("dryside.scans").joinpath("alignment.toml").read_text("utf-8"))


def film_number(label: str) -> float | None:
    """A label as a place along the film, in frames: 00 is -1, 0 is 0, 12 is 12, 12A is 12.5; None for words."""
    match = _LABEL.match(label.strip())
    if match is None:
        return None
    if match.group(1) == "00":
        return -1.0
    return int(match.group(1)) + (0.5 if match.group(2) else 0.0)


def align(scans: Sequence[ScanSeen], frames: Sequence[FrameLogged], *, pairs: bool = False) -> Alignment:
    """Lay a delivery along a log.

    Parameters
    ----------
    scans : sequence of ScanSeen
        In the order of the delivery.
    frames : sequence of FrameLogged
        In order along the film.
    pairs : bool, optional
        Whether each file shows two frames side by side (half frame).

    Returns
    -------
    Alignment
        One `Placed` a scan. With an empty log nothing is placed and nothing is sure.
    """
    if not scans or not frames:
        nothing = Reason("no_log", 0.0, "the roll has no logged frames")
        places = tuple(Placed(None, 0.0, False, (nothing,)) for _ in scans)
        return Alignment(places, tuple(range(len(frames))), "nothing to align", False, 0.0)
    readings = _readings(scans, frames, step=2 if pairs else 1)
    ahead = [_weigh(scans, frames, readings, sign, pairs=pairs) for sign in (1, -1)]
    total = np.logaddexp.reduce([np.logaddexp.reduce(one.totals) for one in ahead if len(one.totals)])
    share = np.zeros((len(scans), len(frames)))
    best: tuple[float, _Reading] = (-np.inf, readings[0])
    backwards_weight = 0.0
    for sign, one in zip((1, -1), ahead, strict=True):
        weights = np.exp(one.totals - total)
        matched = np.tensordot(weights, one.matched, axes=1)
        # The weight of a file that shows two frames lies on the second it meets, which backwards is the film's first.
        share += np.roll(matched, -1 if pairs else 0, axis=1) if sign == 1 else matched[:, ::-1]
        backwards_weight += float(weights.sum()) if sign == -1 else 0.0
        for weight, reading in zip(weights, one.readings, strict=True):
            best = max(best, (float(weight), reading), key=lambda item: item[0])
    places = _choose(scans, frames, share, best[1], pairs=pairs)
    taken = {p.frame for p in places} | {p.also for p in places}
    missing = tuple(j for j in range(len(frames)) if j not in taken)
    return Alignment(places, missing, best[1].name, best[1].sign < 0, backwards_weight)


def _readings(scans: Sequence[ScanSeen], frames: Sequence[FrameLogged], *, step: int) -> list[_Reading]:
    """Every reading of the names that is worth weighing, in both directions."""
    prior = settings()["readings"]
    numbers = [scan.number for scan in scans if scan.number is not None]
    absent = len(numbers) * 2 <= len(scans)
    with_gaps = not absent and (min(numbers) < 1 or max(numbers) - min(numbers) >= len(scans))
    counting = prior["numbers_absent" if absent else "numbers_count_files"] + with_gaps * prior["numbers_with_gaps"]
    out = []
    for sign in (1, -1):
        back = 0.0 if sign > 0 else prior["backwards"]
        name = "numbers_absent" if absent else "numbers_count_files"
        out.append(_Reading(name, sign, back + counting, counts=True))
        if absent:
            continue
        for ordinal in (False, True):
            film = _film_numbers(frames, ordinal=ordinal, step=step)
            if ordinal and film == _film_numbers(frames, ordinal=False, step=step):
                continue
            labels = {0.0} if sign > 0 else {film[0] + film[-1]}
            starts = {film[0] - min(numbers), film[-1] - max(numbers)}
            if sign < 0:
                starts = {film[0] + max(numbers), film[-1] + min(numbers)}
            near = labels | {start + extra for start in starts for extra in (-2.0, -1.0, 0.0, 1.0, 2.0)}
            for shift in sorted(near):
                name = "numbers_are_labels" if shift in labels else "numbers_shifted"
                more = prior["numbers_count_frames"] if ordinal else 0.0
                more += prior["numbers_with_gaps"] if shift not in labels and min(numbers) < 0 else 0.0  # 00 is a label
                shown = "numbers_count_frames" if ordinal and shift in labels else name
                out.append(_Reading(shown, sign, back + prior[name] + more, shift=shift, ordinal=ordinal))
    return out


def _film_numbers(frames: Sequence[FrameLogged], *, ordinal: bool, step: int) -> list[float]:
    """Numbers of the frames along the film: their labels, or 1, 2, 3 with `step` frames to a number."""
    return [float(j // step + 1) for j in range(len(frames))] if ordinal else [frame.number for frame in frames]


@dataclass(frozen=True)
class _Weighed:
    """Log weights (readings,), and per reading the probability of each pair (readings, scans, frames)."""

    readings: tuple[_Reading, ...]
    totals: Floats
    matched: Floats


def _weigh(
    scans: Sequence[ScanSeen], frames: Sequence[FrameLogged], readings: Sequence[_Reading], sign: int, *, pairs: bool
) -> _Weighed:
    """Forward and backward over all alignments in one direction; frames are turned round for `sign` -1."""
    mine = tuple(reading for reading in readings if reading.sign == sign)
    order = list(frames) if sign > 0 else list(frames[::-1])
    pair_cost = _pair_costs(scans, frames, mine, step=2 if pairs else 1)[:, :, ::sign]
    skip_scan, skip_frame, repeat = _gap_costs(scans, order)
    forward, matched_forward = _forward(pair_cost, skip_scan, skip_frame, repeat, pairs)
    _, matched_backward = _backward(pair_cost, skip_scan, skip_frame, repeat, pairs)
    totals = forward[:, -1, -1] - np.array([reading.prior for reading in mine])
    log_share = matched_forward[:, 1:, 1:] + matched_backward[:, 1:, 1:] - forward[:, -1:, -1:]
    return _Weighed(mine, totals, np.exp(np.minimum(log_share, 0.0)))


def _pair_costs(
    scans: Sequence[ScanSeen], frames: Sequence[FrameLogged], readings: Sequence[_Reading], *, step: int
) -> Floats:
    """Cost of each pair under each reading, shape (readings, scans, frames); frames in the film's order."""
    cost = settings()["costs"]
    base = np.array(
        [[sum(r.cost for r in _picture_reasons(scan, frame)) for frame in frames] for scan in scans], dtype=float
    )
    out = np.repeat(base[None], len(readings), axis=0)
    for k, reading in enumerate(readings):
        if reading.counts:
            continue
        film = np.array(_film_numbers(frames, ordinal=reading.ordinal, step=step))
        for i, scan in enumerate(scans):
            if scan.number is not None:
                out[k, i] += cost["number_differs"] * (np.abs(reading.sign * scan.number + reading.shift - film) > 0.25)
    return out


def _picture_reasons(scan: ScanSeen, frame: FrameLogged) -> list[Reason]:
    """What the pictures say of a pair, whatever the names say."""
    cost = settings()["costs"]
    out = []
    if scan.blank and not frame.blank:
        out.append(Reason("blank_scan_for_picture", cost["blank_scan_for_picture"], "the scan is empty"))
    if scan.blank and frame.blank:
        out.append(Reason("blank_agrees", cost["blank_agrees"], "empty, as the log says"))
    if frame.blank and not scan.blank:
        out.append(Reason("picture_for_blank_frame", cost["picture_for_blank_frame"], "the log calls the frame blank"))
    if scan.shot_utc is not None and frame.taken_utc is not None:
        near = abs(scan.shot_utc - frame.taken_utc) <= SHOT_WINDOW_S
        name = "shot_agrees" if near else "shot_elsewhere"
        says = "the phone shot of the same view was made " + ("then" if near else "at another time")
        out.append(Reason(name, cost[name] * scan.shot_confidence, says))
    return out


SHOT_WINDOW_S = 120.0  # a phone shot is made beside the exposure: within two minutes (common practice)


def _gap_costs(scans: Sequence[ScanSeen], frames: Sequence[FrameLogged]) -> tuple[Floats, Floats, Floats]:
    """Costs of leaving out each scan at each place along the log, each frame at each scan, and of repeating a frame."""
    cost = settings()["costs"]
    n, m = len(scans), len(frames)
    skip_scan = np.full((n, m + 1), cost["scan_without_frame"])
    skip_scan[:, [0, m]] = cost["scan_without_frame_end"]
    skip_frame = np.full((n + 1, m), cost["frame_without_scan"])
    skip_frame[[0, n], :] = cost["frame_without_scan_end"]
    for i, scan in enumerate(scans):
        if scan.blank:
            skip_scan[i] = cost["blank_scan_without_frame"]
    for j, frame in enumerate(frames):
        if frame.blank:
            skip_frame[:, j] = cost["blank_frame_without_scan"]
    repeat = np.array([cost["repeat_alike"] if scan.like_previous else cost["repeat_unlike"] for scan in scans])
    return skip_scan, skip_frame, repeat


def _forward(pair: Floats, skip_scan: Floats, skip_frame: Floats, repeat: Floats, pairs: bool) -> tuple[Floats, Floats]:
    """Log weight of all ways to lay i scans along j frames, and of those that end in a pair."""
    readings, n, m = pair.shape
    width = 2 if pairs else 1
    whole = np.full((readings, n + 1, m + 1), _NONE)
    ended = np.full((readings, n + 1, m + 1), _NONE)
    whole[:, 0, 0] = 0.0
    for i in range(n + 1):
        for j in range(m + 1):
            if i == 0 and j == 0:
                continue
            sums = [whole[:, i, j]]
            if i and j >= width:
                first = whole[:, i - 1, j - width] - pair[:, i - 1, j - width]
                again = ended[:, i - 1, j] - repeat[i - 1] - pair[:, i - 1, j - width]
                ended[:, i, j] = np.logaddexp(first, again)
                sums.append(ended[:, i, j])
            if i:
                sums.append(whole[:, i - 1, j] - skip_scan[i - 1, j])
            if j:
                sums.append(whole[:, i, j - 1] - skip_frame[i, j - 1])
            whole[:, i, j] = np.logaddexp.reduce(sums)
    return whole, ended


def _backward(
    pair: Floats, skip_scan: Floats, skip_frame: Floats, repeat: Floats, pairs: bool
) -> tuple[Floats, Floats]:
    """Log weight of all ways to finish from (i, j), and of those after a pair that ended there."""
    readings, n, m = pair.shape
    width = 2 if pairs else 1
    whole = np.full((readings, n + 1, m + 1), _NONE)
    after = np.full((readings, n + 1, m + 1), _NONE)
    whole[:, n, m] = after[:, n, m] = 0.0
    for i in range(n, -1, -1):
        for j in range(m, -1, -1):
            if i == n and j == m:
                continue
            sums = [whole[:, i, j]]
            if i < n and j + width <= m:
                sums.append(after[:, i + 1, j + width] - pair[:, i, j])
            if i < n:
                sums.append(whole[:, i + 1, j] - skip_scan[i, j])
            if j < m:
                sums.append(whole[:, i, j + 1] - skip_frame[i, j])
            whole[:, i, j] = np.logaddexp.reduce(sums)
            after[:, i, j] = whole[:, i, j]
            if i < n and j >= width:
                again = after[:, i + 1, j] - repeat[i] - pair[:, i, j - width]
                after[:, i, j] = np.logaddexp(whole[:, i, j], again)
    return whole, after


def _choose(
    scans: Sequence[ScanSeen], frames: Sequence[FrameLogged], share: Floats, reading: _Reading, *, pairs: bool
) -> tuple[Placed, ...]:
    """The likeliest frame of each scan, or none, with reasons and caps."""
    out: list[Placed] = []
    film = _film_numbers(frames, ordinal=reading.ordinal, step=2 if pairs else 1)
    for i, scan in enumerate(scans):
        odds = [*share[i].tolist(), max(0.0, 1.0 - float(share[i].sum()))]
        order = sorted(range(len(odds)), key=lambda j: -odds[j])
        frame = order[0] if order[0] < len(frames) else None
        reasons = _reasons(scan, frames, film, frame, reading)
        if i and frame is not None and out[i - 1].frame == frame and scan.like_previous:
            reasons = (*reasons, Reason("repeat_alike", settings()["costs"]["repeat_alike"], "a second scan of it"))
        confidence = min([odds[order[0]], *(settings()["caps"].get(r.name, 1.0) for r in reasons)])
        others = tuple((j if j < len(frames) else None, round(odds[j], 3)) for j in order[1:4] if odds[j] > 0.01)
        also = frame + 1 if pairs and frame is not None and frame + 1 < len(frames) else None
        sure = confidence >= settings()["states"]["sure_from"]
        out.append(Placed(frame, round(float(confidence), 4), sure, reasons, others, also))
    return tuple(out)


def _reasons(
    scan: ScanSeen, frames: Sequence[FrameLogged], film: Sequence[float], frame: int | None, reading: _Reading
) -> tuple[Reason, ...]:
    """Everything that speaks for or against the chosen pair, named."""
    cost = settings()["costs"]
    if frame is None:
        return (Reason("scan_without_frame", cost["scan_without_frame"], "no logged frame fits it"),)
    out = _picture_reasons(scan, frames[frame])
    if reading.sign < 0:
        out.append(Reason("backwards", settings()["readings"]["backwards"], "the delivery runs from last to first"))
    if reading.counts or scan.number is None:
        known = scan.shot_utc is not None
        if reading.name == "numbers_absent" and not known:
            out.append(Reason("order_unknown", 0.0, "no number runs through the names"))
        return tuple(out)
    agrees = abs(reading.sign * scan.number + reading.shift - film[frame]) <= 0.25
    if agrees:
        out.append(Reason("number_agrees", 0.0, "the number in the name is this frame's"))
    else:
        out.append(Reason("number_differs", cost["number_differs"], "the number in the name is another frame's"))
    return tuple(out)
