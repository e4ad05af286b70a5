"""The cut plan: optimal against brute force, and right on the rolls that labs and cameras really make."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import SleevePage, sleeve_page
from dryside.sleeves.cutting import NO_CUT_BELOW_MM, Cost, plan_cuts, plan_for_page
from dryside.sleeves.frames_on_film import FrameOnFilm, SeenFrame, frames_from_captures, nominal_frames


def roll(count, format="135"):
    return nominal_frames([str(number) for number in range(1, count + 1)], format)


def counts(plan):
    return [strip.count for strip in plan.strips]


def frames_with_gaps(widths, gaps):
    frames, at = [], 0.0
    for index, width in enumerate(widths):
        frames.append(FrameOnFilm(str(index + 1), at, at + width))
        at += width + (gaps[index] if index < len(gaps) else 0)
    return tuple(frames)


# The oracle tries every subset of places to cut and judges whole plans by the sentences of the rule, not by sums along
# the film: frames are cut from each other only where at least NO_CUT_BELOW_MM of bare film lies between them.
def brute_force(frames, page):
    best = None
    gaps = [round(b.start_mm - a.end_mm, 6) for a, b in itertools.pairwise(frames)]
    allowed = [index for index, gap in enumerate(gaps) if gap >= NO_CUT_BELOW_MM]
    for many in range(len(allowed) + 1):
        for cuts in itertools.combinations(allowed, many):
            bounds = [-1, *cuts, len(frames) - 1]
            strips = [(a + 1, b) for a, b in itertools.pairwise(bounds)]

            def bare(after):
                return min(gaps[after] / 2, 3.0) if 0 <= after < len(gaps) else 1.0

            lengths = [frames[b].end_mm - frames[a].start_mm + bare(a - 1) + bare(b) for a, b in strips]
            if max(lengths) > page.row_length_mm + 1e-9:
                continue
            sizes = [b - a + 1 for a, b in strips]
            cost = (
                sum(size == 1 for size in sizes),
                -(-len(sizes) // page.rows),
                sum(size < 4 for size in sizes),
                sum(gaps[cut] < 1.0 for cut in cuts),
                len(sizes),
                sum(size**2 for size in sizes),
            )
            candidate = (cost, [-size for size in sizes])
            best = candidate if best is None else min(best, candidate)
    return best


GAPS = st.sampled_from([-3.0, 0.0, 0.3, 0.4, 0.7, 1.5, 2.0, 2.0, 2.0, 5.0, 11.0, 40.0])
WIDTHS = st.sampled_from([36.0, 36.0, 36.0, 18.0, 24.0, 65.0, 20.0])


@settings(max_examples=400, deadline=None)
@given(
    widths=st.lists(WIDTHS, min_size=1, max_size=11),
    gaps=st.lists(GAPS, min_size=10, max_size=10),
    rows=st.integers(1, 7),
    row_mm=st.sampled_from([100.0, 158.0, 196.0, 234.0]),
)
def test_no_plan_beats_it(widths, gaps, rows, row_mm):
    frames = frames_with_gaps(widths, gaps)
    page = SleevePage("any", "135", rows, 5, row_mm)
    best = brute_force(frames, page)
    if best is None:
        with pytest.raises(Refusal, match="without a place to cut"):
            plan_for_page(frames, page)
        return
    plan = plan_for_page(frames, page)
    assert (plan.cost, [-count for count in counts(plan)]) == (Cost(*best[0]), best[1])


@settings(max_examples=200, deadline=None)
@given(
    widths=st.lists(WIDTHS, min_size=1, max_size=40),
    gaps=st.lists(GAPS, min_size=39, max_size=39),
    row_mm=st.sampled_from([158.0, 196.0, 234.0]),
)
def test_no_cut_goes_through_a_picture_and_every_strip_fits(widths, gaps, row_mm):
    frames = frames_with_gaps(widths, gaps)
    try:
        plan = plan_for_page(frames, SleevePage("any", "135", 6, 5, row_mm))
    except Refusal:
        return
    for cut in plan.cuts:
        for at in (cut.at_mm, cut.again_at_mm or cut.at_mm):
            assert all(not frame.start_mm < at < frame.end_mm for frame in frames)
    assert all(strip.length_mm <= row_mm + 1e-6 for strip in plan.strips)
    assert [frame.label for strip in plan.strips for frame in frames[strip.first : strip.last + 1]] == [
        f.label for f in frames
    ]


@settings(max_examples=60, deadline=None)
@given(count=st.integers(1, 45), page=st.sampled_from(["7x5", "6x6", "7x6"]))
def test_the_same_roll_is_cut_the_same_way_each_time(count, page):
    shape = sleeve_page(page)
    assert plan_cuts(roll(count), [shape]) == plan_cuts(roll(count), [shape])


@pytest.mark.parametrize(
    ("count", "page", "expected"),
    [
        (36, "6x6", [6, 6, 6, 6, 6, 6]),
        (36, "7x5", [5, 5, 5, 5, 4, 4, 4, 4]),
        (37, "7x6", [6, 6, 5, 5, 5, 5, 5]),
        (38, "7x6", [6, 6, 6, 5, 5, 5, 5]),
        (39, "7x6", [6, 6, 6, 6, 5, 5, 5]),
        (24, "7x5", [5, 5, 5, 5, 4]),
        (7, "6x6", [4, 3]),
        (1, "7x5", [1]),
    ],
)
def test_rolls_as_they_come(count, page, expected):
    assert counts(plan_cuts(roll(count), [sleeve_page(page)])) == expected


def test_the_page_that_takes_the_roll_on_one_sheet_is_chosen():
    plan = plan_cuts(roll(38), [sleeve_page("6x6"), sleeve_page("7x6")])
    assert (plan.page.key, plan.pages) == ("7x6", 1)


def test_medium_format_goes_three_to_a_row():
    plan = plan_cuts(roll(12, "120-6x6"), [sleeve_page("4x3", film="120-6x6")])
    assert (counts(plan), plan.pages) == ([3, 3, 3, 3], 1)


def test_half_frames_lie_twice_as_many_in_a_row():
    plan = plan_cuts(roll(72, "half"), [sleeve_page("6x6")])
    assert counts(plan) == [12] * 6


def test_half_and_panoramic_frames_on_one_roll_are_held_by_their_length():
    frames = nominal_frames([str(n) for n in range(1, 13)], ["half"] * 4 + ["panoramic"] * 4 + ["135"] * 4)
    plan = plan_cuts(frames, [sleeve_page("7x5")])
    assert all(strip.length_mm <= plan.page.row_length_mm for strip in plan.strips)
    assert plan.cost.too_short == 0


def test_overlapping_frames_stay_on_one_strip():
    frames = frames_with_gaps([36] * 10, [2, 2, 2, 2, -1.5, 2, 2, 2, 2])
    plan = plan_cuts(frames, [SleevePage("7x5", "135", 7, 5, 196)])
    assert counts(plan) == [4, 4, 2] or 5 not in itertools.accumulate(counts(plan))
    assert "frames 5 and 6 overlap by 1.5 mm and stay together" in plan.remarks


def test_a_long_bare_piece_between_strips_is_left_out():
    frames = frames_with_gaps([36] * 8, [2, 2, 2, 60, 2, 2, 2])
    plan = plan_cuts(frames, [SleevePage("6x4", "135", 6, 4, 158)])
    assert counts(plan) == [4, 4]
    assert plan.cuts[0].again_at_mm > plan.cuts[0].at_mm


def test_frames_that_hold_together_for_longer_than_a_row_are_named():
    with pytest.raises(Refusal, match=r"frames 1 to 6: 2\d\d mm without a place to cut"):
        plan_cuts(frames_with_gaps([36] * 6, [0.1] * 5), [SleevePage("7x5", "135", 7, 5, 196)])


def test_no_frames_and_no_pages_are_refused():
    with pytest.raises(NotFound, match="no frames"):
        plan_cuts([], [sleeve_page("7x5")])
    with pytest.raises(Refusal, match="no page is named"):
        plan_cuts(roll(3), [])


def test_a_page_without_rows_is_refused():
    with pytest.raises(Refusal, match="it has no rows"):
        plan_cuts(roll(3), [SleevePage("0x5", "135", 0, 5, 196.0)])


def test_captures_that_share_a_frame_are_joined_by_it():
    one = [SeenFrame("1", 5.0, 41.0), SeenFrame("2", 43.5, 79.5)]
    two = [SeenFrame("2", 1.0, 37.0), SeenFrame("3", 38.0, 74.0)]
    frames = frames_from_captures([one, two], ["1", "2", "3"], "135")
    assert [round(f.start_mm - frames[0].start_mm, 6) for f in frames] == [0, 38.5, 75.5]


def test_frames_that_no_capture_shows_follow_the_cameras_own_advance():
    seen = [SeenFrame("1", 0.0, 36.0), SeenFrame("2", 38.4, 74.4)]
    frames = frames_from_captures([seen], ["1", "2", "3"], "135")
    assert frames[2].start_mm == pytest.approx(76.8)


def test_a_first_frame_cut_into_is_marked():
    seen = [SeenFrame("0", 0.0, 20.0), SeenFrame("1", 22.0, 58.0)]
    assert [frame.partial for frame in frames_from_captures([seen], ["0", "1"], "135")] == [True, False]


def test_a_frame_that_the_roll_does_not_have_is_refused():
    with pytest.raises(Refusal, match="the roll has no such frame"):
        frames_from_captures([[SeenFrame("9", 0, 36)]], ["1"], "135")
