"""From how scans lie in phone shots to the log odds that a shot was made beside a frame."""

from __future__ import annotations

import math
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from dryside.negatives.likeness import LEAST_POINTS, Likeness

Place = tuple[int, int]  # scan, shot


@dataclass(frozen=True)
class Habit:
    """How the frames of a roll lie in its shots.

    `across` and `down` are the middle's usual place less the shot's, in parts of the shot's sides; `spread` is its
    standard deviation on either axis. `log_size` is the usual logarithm of the frame's part of the shot's diagonal.
    `mirrored` is the share of mirrored scans: a roll is mirrored as a whole, or scans are one by one.
    """

    across: float
    down: float
    spread: float
    log_size: float
    size_spread: float
    mirrored: float


@cache
def settings() -> dict[str, dict[str, float]]:
    """Weights and limits from matching.toml."""
    return tomllib.loads(files("dryside.scans").joinpath("matching.toml").read_text("utf-8"))


def same_view(likeness: Likeness) -> float:
    """Log odds that two pictures show the same view at all."""
    if not likeness:
        return settings()["order"]["no_likeness"]
    weights = settings()["same_view"]
    total = (
        weights["per_log_points"] * math.log(likeness.points / LEAST_POINTS)
        + weights["per_agreement"] * (likeness.agreement - weights["usual_agreement"])
        + weights["per_outside"] * (1.0 - likeness.coverage)
    )
    return max(-weights["most"], min(weights["most"], total))


def log_odds(tries: Mapping[Place, Sequence[Likeness]]) -> dict[Place, tuple[float, Likeness]]:
    """Log odds of every pair that was compared, and the likeness they are of.

    The roll's habit is learnt from its clear pairs first; then each pair's tries (plain and mirrored, fine and coarse)
    are held against it, and the likeliest counts: a picture with a reflection in it lies in a shot in two ways.
    """
    best = {place: max(found, key=same_view) for place, found in tries.items()}
    habit = _habit([best[place] for place in _clear({place: same_view(one) for place, one in best.items()})])
    return {
        place: max(((_odds(one, habit), one) for one in found), key=lambda o: o[0]) for place, found in tries.items()
    }


def _odds(likeness: Likeness, habit: Habit) -> float:
    order = settings()["order"]
    total = same_view(likeness) + order["prior"] + (_placement(likeness, habit) if likeness else 0.0)
    return max(-order["most"], min(order["most"], total))


def _clear(odds: Mapping[Place, float]) -> list[Place]:
    """Pairs whose scan and whose shot have no other partner that shows the same view."""
    strong = [place for place, value in odds.items() if value >= settings()["order"]["strong"]]
    scans, shots = Counter(i for i, _ in strong), Counter(j for _, j in strong)
    alone = [(i, j) for i, j in strong if scans[i] == 1 and shots[j] == 1]
    if len(alone) >= 4:
        return alone
    best = {i: max((odds[p], p) for p in strong if p[0] == i)[1] for i, _ in strong}
    return list(best.values())


def _middle(likeness: Likeness) -> tuple[float, float]:
    xs, ys = zip(*likeness.corners, strict=True)
    return sum(xs) / 4 - 0.5, sum(ys) / 4 - 0.5


def _log_size(likeness: Likeness) -> float:
    """Logarithm of the frame's diagonal in parts of the shot's."""
    corners = likeness.corners
    diagonals = [math.dist(corners[a], corners[b]) for a, b in ((0, 2), (1, 3))]
    return math.log(max(sum(diagonals) / 2 / math.sqrt(2), 0.02))


def _habit(clear: Sequence[Likeness]) -> Habit:
    """Medians, and spreads drawn towards the usual ones while few pairs are clear."""
    rules = settings()["placement"]
    few = rules["usual_counts_as"]
    if not clear:
        return Habit(0.0, 0.0, 2 * rules["usual_spread"], math.log(0.7), 2 * rules["usual_size_spread"], 0.5)
    middles = np.array([_middle(likeness) for likeness in clear])
    sizes = np.array([_log_size(likeness) for likeness in clear])
    pull = len(clear) / (len(clear) + few)
    across, down = np.median(middles, axis=0) * pull
    size = float(np.median(sizes))
    spread = _robust_spread(np.concatenate([middles[:, 0] - across, middles[:, 1] - down]))
    size_spread = _robust_spread(sizes - size)
    return Habit(
        float(across),
        float(down),
        max(_pulled(spread, rules["usual_spread"], len(clear), few), rules["least_spread"]),
        size,
        max(_pulled(size_spread, rules["usual_size_spread"], len(clear), few), rules["least_size_spread"]),
        (sum(likeness.mirrored for likeness in clear) + 1) / (len(clear) + 2),
    )


def _robust_spread(apart: np.ndarray) -> float:
    """Standard deviation from the 80th percentile of the distances (1.2816 standard deviations of a normal law)."""
    return float(np.percentile(np.abs(apart), 80)) / 1.2816


def _pulled(spread: float, usual: float, count: int, few: float) -> float:
    return math.sqrt((count * spread**2 + few * usual**2) / (count + few))


def _placement(likeness: Likeness, habit: Habit) -> float:
    """Log of how much likelier this place is for the shot beside the frame than for another view of its subject."""
    rules = settings()["placement"]
    across, down = _middle(likeness)
    apart2 = (across - habit.across) ** 2 + (down - habit.down) ** 2
    other = max(rules["other_spread"], 1.5 * habit.spread)
    total = 2 * math.log(other / habit.spread) - 0.5 * apart2 / habit.spread**2 + 0.5 * apart2 / other**2
    size = _log_size(likeness) - habit.log_size
    other = max(rules["other_size_spread"], 1.5 * habit.size_spread)
    total += math.log(other / habit.size_spread) - 0.5 * (size / habit.size_spread) ** 2 + 0.5 * (size / other) ** 2
    # Of other views of a subject as many would lie mirrored as not.
    total += math.log((habit.mirrored if likeness.mirrored else 1 - habit.mirrored) / 0.5)
    return max(rules["most_against"], total)
