"""Match scans to the phone shots made beside their frames: by what they show, and by the order in time.

Every scan is held against a shortlist of shots; how well one lies in the other becomes log odds; all ways to pair them
in order (rising or falling, with gaps on both sides) are weighed together, and a pair's confidence is the share of the
weight that contains it. Rather no pair than a wrong one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.likeness import Likeness, View, compare, mirrored, see, shared_points
from dryside.scans.laid_over import Overlay, lay_over, overlay_of, shot_detail
from dryside.scans.match_odds import log_odds, same_view, settings
from dryside.scans.order_in_time import Pairing, pair_in_time
from dryside.scans.parcel import Aside, open_parcel, plain_names
from dryside.scans.phone import PhoneShot, read_phone_folder
from dryside.scans.picture_files import SUFFIXES, media_type, read_rgb8

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

WORKERS = 2
LONGEST_PX = 640
POINTS = 1000
SHORTLIST = 5
DEEPER = 10  # shots looked at more closely for a scan that has none, between its neighbours' shots
_NO_POINTS = np.zeros((0, 2), np.float32)


@dataclass(frozen=True)
class Pair:
    """A scan and its shot (None: none), how sure; for a pair also how the scan lies in the shot.

    `second` is how it lies in another shot that shows something else: the sign of a double exposure.
    """

    scan: str
    reference: str | None
    confidence: float
    likeness: Likeness | None = None
    second: Likeness | None = None


@dataclass(frozen=True)
class Matching:
    """A pair for each scan, whether the shots run with the scans or against them, and what was left out."""

    pairs: tuple[Pair, ...]
    order: str
    shots: tuple[PhoneShot, ...]
    asides: tuple[Aside, ...]

    def as_dict(self) -> dict[str, Any]:
        """The form that `dryside match --json` prints; it is fixed."""
        pairs = [{"scan": p.scan, "reference": p.reference, "confidence": p.confidence} for p in self.pairs]
        return {"pairs": pairs, "order": self.order}

    def shot_of(self, pair: Pair) -> PhoneShot | None:
        """The shot of a pair with its time and place."""
        return next((shot for shot in self.shots if shot.name == pair.reference), None)


def match_folders(
    scans: Path, references: Path, *, step: Callable[[str], None] | None = None, workers: int = WORKERS
) -> Matching:
    """Match a folder of scans to a folder of phone pictures.

    Parameters
    ----------
    scans, references : Path
        The folders; pictures in folders below count too.
    step : callable, optional
        Called with a name as each picture has been looked at.
    workers : int, optional
        Threads.

    Raises
    ------
    NotFound
        If a folder is not there or holds no picture.
    """
    if not scans.is_dir():
        raise NotFound(str(scans), "there is no such folder", "Name the folder with the scans.")
    parcel = open_parcel([scans])
    entries = [entry for entry in parcel.entries if media_type(entry.source) in SUFFIXES]
    if not entries:
        raise NotFound(str(scans), "no picture is in it", "Name the folder with the scans.")
    phone = read_phone_folder(references)
    pictures = [(entry.name, entry.source) for entry in plain_names(entries)]
    found = match_pictures(pictures, phone.shots, step=step, workers=workers)
    return Matching(found.pairs, found.order, phone.shots, (*parcel.asides, *phone.asides, *found.asides))


def match_pictures(
    scans: Sequence[tuple[str, Path]],
    shots: Sequence[PhoneShot],
    *,
    step: Callable[[str], None] | None = None,
    workers: int = WORKERS,
) -> Matching:
    """Match scans (name and file, in the order of the delivery) to shots (in the order of time)."""
    with _one_thread_each(), ThreadPoolExecutor(workers) as pool:
        scan_views, scan_asides = _views(pool, scans, step)
        shot_views, shot_asides = _views(pool, [(shot.name, shot.path) for shot in shots], step)
        table = _Table(scan_views, shot_views, pool)
        table.look_at(table.shortlist())
        pairing = pair_in_time(table.odds())
        table.look_again(table.between(pairing))
        pairing = pair_in_time(table.odds())
    pairs = []
    for i, (name, _) in enumerate(scans):
        j, confidence = pairing.choice(i)
        likeness = table.chosen[i, j] if j is not None else None
        second = table.second_view(i, j) if j is not None else None
        pairs.append(Pair(name, shots[j].name if j is not None else None, round(confidence, 4), likeness, second))
    order = "descending" if pairing.is_descending else "ascending"
    return Matching(tuple(pairs), order, tuple(shots), (*scan_asides, *shot_asides))


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """OpenCV on one thread while a pool keeps the cores busy: its own threads would only wait for each other."""
    import cv2

    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)


def _views(
    pool: ThreadPoolExecutor, pictures: Sequence[tuple[str, Path]], step: Callable[[str], None] | None
) -> tuple[list[View], list[Aside]]:
    """Points of every picture; one that cannot be read has none, and is named."""

    def one(picture: tuple[str, Path]) -> View | Aside:
        name, path = picture
        try:
            view: View | Aside = see(read_rgb8(path, longest=LONGEST_PX), longest=LONGEST_PX, points=POINTS)
        except Refusal as refusal:
            view = Aside(name, refusal.found, refusal.remedy)
        if step is not None:
            step(name)
        return view

    seen = list(pool.map(one, pictures))
    nothing = View(_NO_POINTS, np.zeros((0, 128), np.float32), np.zeros((2, 2), np.uint8))
    views = [nothing if isinstance(view, Aside) else view for view in seen]
    return views, [view for view in seen if isinstance(view, Aside)]


def _goodness(likeness: Likeness) -> tuple[bool, float]:
    return bool(likeness), likeness.points * likeness.agreement


class _Table:
    """What is known of each scan against each shot, filled in as pairs are looked at."""

    def __init__(self, scans: Sequence[View], shots: Sequence[View], pool: ThreadPoolExecutor) -> None:
        self.scans, self.shots, self.pool = scans, shots, pool
        self.mirrored = [mirrored(view) for view in scans]
        half = math.ceil(len(scans) / 2)
        parts = [scans[:half], scans[half:], self.mirrored[:half], self.mirrored[half:]]
        votes = list(pool.map(lambda part: shared_points(part, shots), parts))
        self.plain_votes = np.concatenate(votes[:2])
        self.mirrored_votes = np.concatenate(votes[2:])
        self.tries: dict[tuple[int, int], list[Likeness]] = {}
        self.chosen: dict[tuple[int, int], Likeness] = {}

    def shortlist(self) -> set[tuple[int, int]]:
        """The shots that share most points with each scan."""
        votes = np.maximum(self.plain_votes, self.mirrored_votes)
        # A shot that many scans share points with says less of each.
        eased = votes / np.sqrt(1.0 + votes.mean(axis=0, keepdims=True))
        best = np.argsort(-eased, axis=1)[:, :SHORTLIST]
        return {(i, int(j)) for i in range(len(self.scans)) for j in best[i]}

    def between(self, pairing: Pairing) -> set[tuple[int, int]]:
        """For scans without a shot: the free shots between those of their neighbours, the likeliest first.

        The neighbours' own shots too: of two frames of one subject the wrong one may have got it.
        """
        out: set[tuple[int, int]] = set()
        votes = np.maximum(self.plain_votes, self.mirrored_votes)
        for i in range(len(self.scans)):
            if pairing.choice(i)[0] is None:
                free = [j for j in pairing.room(i) if not self.chosen.get((i, j))]
                out |= {(i, j) for j in sorted(free, key=lambda j: -votes[i, j])[:DEEPER]}
                taken = [pairing.choice(k)[0] for k in (i - 1, i + 1) if 0 <= k < len(self.scans)]
                out |= {(i, j) for j in taken if j is not None and not self.chosen.get((i, j))}
        return out

    def look_at(self, pairs: Iterable[tuple[int, int]]) -> None:
        """Compare pairs that were not compared yet."""
        todo = sorted(set(pairs) - set(self.tries))
        self.tries |= dict(zip(todo, self.pool.map(self._compare, todo), strict=True))

    def look_again(self, pairs: set[tuple[int, int]]) -> None:
        """Lay those pairs over each other: in a grainy or plain scan only large things are still there."""
        self.look_at(pairs)
        scans, shots = sorted({i for i, _ in pairs}), sorted({j for _, j in pairs})
        overlays = dict(zip(scans, self.pool.map(self._overlays, scans), strict=True))
        details = dict(zip(shots, self.pool.map(lambda j: shot_detail(self.shots[j]), shots), strict=True))

        def one(pair: tuple[int, int]) -> list[Likeness]:
            i, j = pair
            laid = [lay_over(overlay, self.shots[j], details[j]) for overlay in overlays[i]]
            return [*self.tries[pair], *laid]

        todo = sorted(pairs)
        self.tries |= dict(zip(todo, self.pool.map(one, todo), strict=True))

    def _overlays(self, i: int) -> list[Overlay]:
        """A scan as it is and mirrored; one of them where all clear pairs of the roll are so."""
        known = {found.mirrored for found in self.chosen.values() if same_view(found) >= settings()["order"]["strong"]}
        ways = [(self.scans[i], False), (self.mirrored[i], True)]
        return [overlay_of(view, is_mirrored=turned) for view, turned in ways if known in (set(), {turned})] or [
            overlay_of(view, is_mirrored=turned) for view, turned in ways
        ]

    def _compare(self, pair: tuple[int, int]) -> list[Likeness]:
        """Compare one pair, mirrored or not as more points speak for; both where that is not clear."""
        i, j = pair
        plain, turned = self.plain_votes[i, j], self.mirrored_votes[i, j]
        tries = []
        if plain * 2 >= turned:
            tries.append(compare(self.scans[i], self.shots[j]))
        if turned * 2 >= plain:
            tries.append(compare(self.mirrored[i], self.shots[j], is_mirrored=True))
        return tries

    def second_view(self, i: int, j: int) -> Likeness | None:
        """How scan `i` lies in a shot that shows something else than its own, shot `j`; None where it lies in none."""
        strong = settings()["order"]["strong"]
        mine = {k: found for (scan, k), found in self.chosen.items() if scan == i and k != j}
        others = [k for k, found in mine.items() if same_view(found) >= strong]
        apart = [k for k in others if not compare(self.shots[k], self.shots[j])]
        return max((mine[k] for k in apart), key=_goodness, default=None)

    def odds(self) -> NDArray[np.float64]:
        """Log odds of every pair, shape (scans, shots); pairs not looked at are as good as impossible."""
        out = np.full((len(self.scans), len(self.shots)), settings()["order"]["never"])
        for place, (value, likeness) in log_odds(self.tries).items():
            out[place] = value
            self.chosen[place] = likeness
        return out
