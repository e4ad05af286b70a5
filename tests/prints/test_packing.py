"""Packing: every print once, nothing over another, and no worse than what can be known to be best."""

import random
from collections import Counter
from itertools import combinations_with_replacement

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryside.film.refusal import NotFound, Refusal
from dryside.prints.packing import Piece, Stand, pack
from dryside.prints.sheet_choice import Spot, fewest_sheets
from dryside.prints.sheets import paper_stand

A3 = Stand(297, 420)
SIZES = st.sampled_from([(152.0, 102.0), (102.0, 152.0), (127.0, 89.0), (254.0, 203.0), (200.0, 200.0), (63.5, 89.0)])


def pieces(*sides):
    return [Piece(key, *side) for key, side in enumerate(sides)]


def overlap(a, b, gap):
    return (
        a.sheet == b.sheet
        and a.left_mm < b.left_mm + b.width_mm + gap - 0.02
        and b.left_mm < a.left_mm + a.width_mm + gap - 0.02
        and a.top_mm < b.top_mm + b.height_mm + gap - 0.02
        and b.top_mm < a.top_mm + a.height_mm + gap - 0.02
    )


# Whether a sheet can be taken apart by cuts from edge to edge: there is a straight cut that goes through no print and
# leaves prints on both sides, and both sides can be taken apart too.
def can_be_cut_apart(prints):
    if len(prints) <= 1:
        return True
    for low, size in (("left_mm", "width_mm"), ("top_mm", "height_mm")):
        for at in {getattr(one, low) for one in prints}:
            before = [one for one in prints if getattr(one, low) + getattr(one, size) <= at + 0.02]
            after = [one for one in prints if getattr(one, low) >= at - 0.02]
            if before and after and len(before) + len(after) == len(prints):
                return can_be_cut_apart(before) and can_be_cut_apart(after)
    return False


@settings(max_examples=60, deadline=None)
@given(
    sides=st.lists(SIZES, min_size=1, max_size=12), guillotine=st.booleans(), roll=st.booleans(), turning=st.booleans()
)
def test_every_print_lies_once_on_the_paper_and_on_no_other(sides, guillotine, roll, turning):
    stand = Stand(297, None if roll else 420)
    layout = pack(pieces(*sides), stand, guillotine=guillotine, turning=turning)
    assert sorted(one.key for one in layout.placed) == list(range(len(sides)))
    for one in layout.placed:
        side = sides[one.key]
        assert (one.width_mm, one.height_mm) == (side[::-1] if one.turned else side)
        assert one.left_mm >= 5 - 1e-6
        assert one.top_mm >= 5 - 1e-6
        assert one.left_mm + one.width_mm <= 292.01
        assert one.top_mm + one.height_mm <= layout.length_mm - 4.99
        assert turning or not one.turned
    placed = layout.placed
    assert not any(overlap(a, b, stand.gap_mm) for i, a in enumerate(placed) for b in placed[:i])
    assert layout.sheets >= layout.least_sheets
    if guillotine:
        for sheet in range(1, layout.sheets + 1):
            assert can_be_cut_apart([one for one in placed if one.sheet == sheet])


@settings(max_examples=25, deadline=None)
@given(sides=st.lists(SIZES, min_size=1, max_size=10))
def test_free_layouts_are_never_worse_than_guillotine_ones(sides):
    free, cut = (pack(pieces(*sides), A3, guillotine=guillotine) for guillotine in (False, True))
    assert free.sheets <= cut.sheets


# The oracle tries every choice of up to four sheets, with repeats.
@given(data=st.data())
def test_the_chosen_sheets_are_the_fewest_of_the_heap(data):
    shapes = [(1.0, 2.0), (2.0, 3.0), (3.0, 3.0)]
    sheet = st.lists(st.sampled_from(shapes), min_size=1, max_size=4)
    heap = [
        [Spot(0, 0, *shape) for shape in made]
        for made in [*data.draw(st.lists(sheet, min_size=1, max_size=5)), *[[one] for one in shapes]]
    ]
    wanted = Counter(data.draw(st.lists(st.sampled_from(shapes), min_size=1, max_size=4)))
    least = next(
        many
        for many in range(1, 5)
        if any(
            not wanted - Counter(spot.shape for sheet in chosen for spot in sheet)
            for chosen in combinations_with_replacement(heap, many)
        )
    )
    chosen = fewest_sheets(heap, wanted)
    assert len(chosen) == least
    assert not wanted - Counter(spot.shape for sheet in chosen for spot in sheet)


def test_sheets_of_several_rules_are_mixed_where_that_saves_one():
    rng = random.Random(60)
    sides = [
        rng.choice([(152.0, 102.0), (178.0, 127.0), (254.0, 203.0), (130.0, 90.0), (200.0, 200.0)]) for _ in range(30)
    ]
    layout = pack(pieces(*sides), A3)
    assert sorted(one.key for one in layout.placed) == list(range(30))
    assert layout == pack(pieces(*sides), A3)  # the same every time


def test_what_fits_exactly_is_packed_without_waste():
    # Four A6 of 148 x 105 mm fill an A4 of 296 x 210 without margins and gaps.
    layout = pack(pieces(*[(148.0, 105.0)] * 4), Stand(296, 210, 0, 0))
    assert (layout.sheets, round(layout.waste_pct, 6)) == (1, 0)


def test_a_known_puzzle_needs_one_sheet():
    # A 5 x 5 square cut into 1x3, 2x2, 3x2, 2x3, 3x1 and 1x3 parts, in centimetres, goes together again.
    parts = [(30.0, 20.0), (20.0, 30.0), (30.0, 20.0), (20.0, 30.0), (10.0, 10.0)]
    layout = pack(pieces(*parts), Stand(50, 50, 0, 0))
    assert (layout.sheets, round(layout.waste_pct, 6)) == (1, 0)


def test_a_roll_is_only_as_long_as_its_prints():
    # Three 8R standing need 3 x 203 mm and two gaps, 617 mm: too wide. Two and two lying need 2 x 203 mm and a gap.
    layout = pack(pieces(*[(254.0, 203.0)] * 4), Stand(610, None))
    assert layout.length_mm == pytest.approx(5 + 203 + 4 + 203 + 5, abs=0.05)


def test_what_does_not_fit_is_refused_with_its_size():
    with pytest.raises(Refusal, match="print of 305 x 203 mm: does not fit 210 x 297 mm"):
        pack(pieces((305.0, 203.0)), Stand(210, 297))
    with pytest.raises(Refusal, match="margins of 200 mm leave no paper"):
        pack(pieces((10.0, 10.0)), Stand(210, 297, 200))
    with pytest.raises(NotFound, match="nothing to print"):
        pack([], A3)


def test_paper_is_named_by_size_or_as_a_roll():
    assert paper_stand("A3", margin_mm=5, gap_mm=4) == A3
    assert paper_stand("roll 24in", margin_mm=5, gap_mm=4).width_mm == pytest.approx(609.6)
    with pytest.raises(Refusal, match="rolls are 50 mm to 3 m"):
        paper_stand("roll 24mm", margin_mm=5, gap_mm=4)
