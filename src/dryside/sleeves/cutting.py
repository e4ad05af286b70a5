"""Where to cut a roll: strips that fit the pages at hand, on the fewest pages, and never through a picture.

A plan is the best of all plans, not a good one: frames lie in order along the film, so the best way to cut what is left
of the roll does not depend on how the part before was cut, and dynamic programming finds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import GOOD_STRIP_FRAMES, SHORTEST_STRIP_FRAMES, SleevePage
from dryside.sleeves.frames_on_film import FrameOnFilm

# Common practice, no source. Below the first a cutter's blade cannot be kept off both pictures; below the second it
# takes care; more than the third beside a picture is not needed to hold the strip.
NO_CUT_BELOW_MM = 0.4
NARROW_BELOW_MM = 1.0
ENOUGH_MARGIN_MM = 3.0
END_MARGIN_MM = 1.0  # of bare film kept beyond the first and the last picture of the roll


@dataclass(frozen=True)
class Cut:
    """One cut between two frames.

    Attributes
    ----------
    number : int
        From 1, along the film.
    after : int
        Index of the frame before the cut.
    at_mm : float
        Where the blade goes, along the film in the frames' own millimetres.
    again_at_mm : float or None
        A second cut, where the bare film between two strips is too long for either row: the piece between is left out.
    gap_mm : float
        Bare film between the two frames.
    """

    number: int
    after: int
    at_mm: float
    again_at_mm: float | None
    gap_mm: float

    @property
    def is_narrow(self) -> bool:
        """Whether it asks for a steady hand."""
        return self.gap_mm < NARROW_BELOW_MM


@dataclass(frozen=True)
class Strip:
    """A strip: frames `first` to `last` (indices, both in it), from `start_mm` to `end_mm` along the film."""

    number: int
    first: int
    last: int
    start_mm: float
    end_mm: float

    @property
    def count(self) -> int:
        """Frames on it."""
        return self.last - self.first + 1

    @property
    def length_mm(self) -> float:
        """From cut to cut."""
        return self.end_mm - self.start_mm


@dataclass(frozen=True, order=True)
class Cost:
    """What makes one plan better than another, the weightiest first; smaller is better."""

    too_short: int  # strips of one frame
    pages: int
    short: int  # strips of fewer than four frames
    narrow: int  # cuts that ask for a steady hand
    strips: int
    unevenness: int  # sum of the squares of the strips' frames


@dataclass(frozen=True)
class CutPlan:
    """Where to cut, and what lies in which row.

    Attributes
    ----------
    frames : tuple of FrameOnFilm
        In order along the film.
    page : SleevePage
        One strip lies in each row, from the top of the first page on.
    strips : tuple of Strip
        In order along the film.
    cuts : tuple of Cut
        One fewer than the strips; the ends of the film are trimmed at the outer strips' `start_mm` and `end_mm`.
    cost : Cost
        What no other plan for this page undercuts.
    remarks : tuple of str
        What a person should know before cutting.
    """

    frames: tuple[FrameOnFilm, ...]
    page: SleevePage
    strips: tuple[Strip, ...]
    cuts: tuple[Cut, ...]
    cost: Cost
    remarks: tuple[str, ...]

    @property
    def pages(self) -> int:
        """How many pages the roll fills or begins."""
        return self.cost.pages

    def place_of(self, strip: Strip) -> tuple[int, int]:
        """Page and row of a strip, both from 1."""
        page, row = divmod(strip.number - 1, self.page.rows)
        return page + 1, row + 1

    def labels_of(self, strip: Strip) -> tuple[str, ...]:
        """Labels of the strip's frames, in order."""
        return tuple(frame.label for frame in self.frames[strip.first : strip.last + 1])


def plan_cuts(frames: Sequence[FrameOnFilm], pages: Sequence[SleevePage]) -> CutPlan:
    """The best plan over the pages at hand.

    Parameters
    ----------
    frames : sequence of FrameOnFilm
        In order along the film.
    pages : sequence of SleevePage
        The pages at hand, in the order in which they are preferred where plans are equally good.

    Returns
    -------
    CutPlan

    Raises
    ------
    NotFound
        If there is no frame.
    Refusal
        If no page is given, a page has no rows, or frames that no cut can part are longer than every row.
    """
    if not frames:
        raise NotFound("cut plan", "the roll has no frames", "Log its frames, or give their number: --exposures 36.")
    if not pages:
        raise Refusal("cut plan", "no page is named", "Name the pages at hand: --pages 7x5,6x6.")
    plans, refusals = [], []
    for page in pages:
        try:
            plans.append(plan_for_page(frames, page))
        except Refusal as refusal:
            refusals.append(refusal)
    if not plans:
        raise refusals[0]
    return min(plans, key=lambda plan: plan.cost)  # the first of equals: the page named first


def plan_for_page(frames: Sequence[FrameOnFilm], page: SleevePage) -> CutPlan:
    """The best plan for one kind of page; among equals the one whose earlier strips are longer.

    Raises
    ------
    Refusal
        If the page has no rows, or frames that no cut can part are longer than its rows.
    """
    film = _Film(tuple(frames), page)
    counts, cost = _cheapest(film)
    strips, cuts = _lay_cuts(film, counts)
    plan = CutPlan(film.frames, page, strips, cuts, cost, ())
    return CutPlan(film.frames, page, strips, cuts, cost, _remarks(plan))


@dataclass(frozen=True)
class _Film:
    """The frames and the page, and what may be cut."""

    frames: tuple[FrameOnFilm, ...]
    page: SleevePage

    @cached_property
    def gaps_mm(self) -> tuple[float, ...]:
        """Bare film after each frame but the last; below 0 where frames overlap."""
        return tuple(later.start_mm - earlier.end_mm for earlier, later in pairwise(self.frames))

    def margin_mm(self, index: int) -> float:
        """The least film kept beside a cut after frame `index`; at the film's ends a millimetre."""
        if 0 <= index < len(self.gaps_mm):
            return min(self.gaps_mm[index] / 2, ENOUGH_MARGIN_MM)
        return END_MARGIN_MM

    def least_length_mm(self, first: int, last: int) -> float:
        """Length of the strip with no more film at its ends than it needs."""
        bare = self.margin_mm(first - 1) + self.margin_mm(last)
        return self.frames[last].end_mm - self.frames[first].start_mm + bare

    def may_cut_after(self, index: int) -> bool:
        """Whether a blade fits between frames `index` and `index` + 1; always at the film's end."""
        return index == len(self.frames) - 1 or self.gaps_mm[index] >= NO_CUT_BELOW_MM - 1e-9

    def is_narrow_after(self, index: int) -> bool:
        """Whether a cut after frame `index` asks for a steady hand."""
        return index < len(self.gaps_mm) and self.gaps_mm[index] < NARROW_BELOW_MM

    def ends_from(self, first: int) -> list[int]:
        """Indices of the last frames of all strips that may begin with frame `first`, the longest strip first."""
        ends = []
        for last in range(first, len(self.frames)):
            if self.least_length_mm(first, last) > self.page.row_length_mm + 1e-9:
                break
            if self.may_cut_after(last):
                ends.append(last)
        return ends[::-1]


# What a strip adds: one-frame strips, short strips, narrow cuts, unevenness. Sums of these compare as plans of one
# number of strips do.
_Sum = tuple[int, int, int, int]


def _strip_cost(film: _Film, first: int, last: int) -> _Sum:
    count = last - first + 1
    return count < SHORTEST_STRIP_FRAMES, count < GOOD_STRIP_FRAMES, film.is_narrow_after(last), count * count


def _cheapest(film: _Film) -> tuple[list[int], Cost]:
    """Frames of each strip of the best plan, and its cost.

    best[k][i] is the cheapest way to cut the frames from i on into k strips. Strips, and with them pages, are fixed by
    k, so within one k the remaining parts of the cost simply add up.
    """
    if film.page.rows < 1:
        raise Refusal(f"page {film.page.key}", "it has no rows", "Write rows x frames in a row: 7x5.")
    total = len(film.frames)
    ends = [film.ends_from(first) for first in range(total)]
    steps = [[(last, _strip_cost(film, first, last)) for last in ends[first]] for first in range(total)]
    best: list[dict[int, _Sum]] = [{total: (0, 0, 0, 0)}]
    chosen: list[dict[int, int]] = [{}]
    answers: list[tuple[Cost, int]] = []
    for strips in range(1, total + 1):
        row, choice = {}, {}
        for first in range(total):
            ways = [(_plus(cost, best[-1][last + 1]), last) for last, cost in steps[first] if last + 1 in best[-1]]
            if ways:
                row[first], choice[first] = min(ways, key=lambda way: way[0])  # the first of equals: the longest strip
        best.append(row)
        chosen.append(choice)
        if 0 in row:
            too_short, short, narrow, uneven = row[0]
            answers.append((Cost(too_short, -(-strips // film.page.rows), short, narrow, strips, uneven), strips))
    if not answers:
        raise _no_plan(film, ends)
    cost, strips = min(answers)
    return _follow(chosen, strips), cost


def _plus(a: _Sum, b: _Sum) -> _Sum:
    return a[0] + b[0], a[1] + b[1], a[2] + b[2], a[3] + b[3]


def _follow(chosen: list[dict[int, int]], strips: int) -> list[int]:
    counts, first = [], 0
    for left in range(strips, 0, -1):
        last = chosen[left][first]
        counts.append(last - first + 1)
        first = last + 1
    return counts


def _no_plan(film: _Film, ends: list[list[int]]) -> Refusal:
    """Which frames stand in the way: the first from which no strip that fits can be cut."""
    # Without a reachable end the film from some frame on holds together for longer than a row.
    reachable = {0}
    for first in range(len(film.frames)):
        if first in reachable:
            reachable |= {last + 1 for last in ends[first]}
    first = max(reachable)
    last = next(index for index in range(first, len(film.frames)) if film.may_cut_after(index))
    labels = f"{film.frames[first].label} to {film.frames[last].label}" if last > first else film.frames[first].label
    length, row = film.least_length_mm(first, last), film.page.row_length_mm
    return Refusal(
        f"frames {labels}" if last > first else f"frame {labels}",
        f"{length:.0f} mm without a place to cut, and a row of page {film.page.key} holds {row:.0f} mm",
        "Name a page with longer rows, or measure the frames' positions again.",
    )


def _lay_cuts(film: _Film, counts: list[int]) -> tuple[tuple[Strip, ...], tuple[Cut, ...]]:
    """Put each cut in the middle of its gap, moved, or made twice, only where a row would not hold the strip."""
    strips: list[Strip] = []
    cuts: list[Cut] = []
    first = 0
    start = film.frames[0].start_mm - film.margin_mm(-1)
    for number, count in enumerate(counts, 1):
        last = first + count - 1
        if number == len(counts):
            end = again = film.frames[last].end_mm + film.margin_mm(last)
        else:
            longest_end = start + film.page.row_length_mm
            following = last + counts[number]
            earliest_start = film.frames[following].end_mm + film.margin_mm(following) - film.page.row_length_mm
            end, again = _place(film, last, longest_end, earliest_start)
            cuts.append(Cut(number, last, end, None if again == end else again, film.gaps_mm[last]))
        strips.append(Strip(number, first, last, start, end))
        first, start = last + 1, again
    return tuple(strips), tuple(cuts)


def _place(film: _Film, after: int, latest_mm: float, earliest_mm: float) -> tuple[float, float]:
    """Where the strip before ends and the one after begins: the same place, unless the bare film is too long."""
    margin = film.margin_mm(after)
    low = film.frames[after].end_mm + margin
    high = film.frames[after + 1].start_mm - margin
    if earliest_mm > latest_mm:
        return max(low, latest_mm), min(high, earliest_mm)
    at = (low + high) / 2
    at = min(max(at, earliest_mm), latest_mm)
    return at, at


def _remarks(plan: CutPlan) -> tuple[str, ...]:
    """What to say before the blade comes down."""
    remarks = []
    for strip in plan.strips:
        labels = plan.labels_of(strip)
        if strip.count < SHORTEST_STRIP_FRAMES and len(plan.frames) > 1:
            remarks.append(f"strip {strip.number} is frame {labels[0]} alone: no cut around it gives a longer strip")
    for cut in plan.cuts:
        before, after = plan.frames[cut.after].label, plan.frames[cut.after + 1].label
        if cut.is_narrow:
            remarks.append(f"cut {cut.number}: only {cut.gap_mm:.1f} mm between {before} and {after}")
        if cut.again_at_mm is not None:
            left_out = cut.again_at_mm - cut.at_mm
            remarks.append(
                f"cut {cut.number}: cut twice, {left_out:.0f} mm of bare film between {before} and {after} is left out"
            )
    for earlier, later in pairwise(plan.frames):
        gap = later.start_mm - earlier.end_mm
        if gap < 0:
            remarks.append(f"frames {earlier.label} and {later.label} overlap by {-gap:.1f} mm and stay together")
        elif gap < NO_CUT_BELOW_MM:
            remarks.append(f"frames {earlier.label} and {later.label} touch and stay together")
    remarks += [
        f"frame {frame.label} is cut into at its edge: keep what there is" for frame in plan.frames if frame.partial
    ]
    return tuple(remarks)
