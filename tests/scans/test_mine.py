"""Whose roll it is, what a lab may refund, and which roll a group of files is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.scans.mine import Delivered, HandedIn, changed_over, doubts_about, shows_sticker
from dryside.scans.which_roll import GroupSeen, RollWaited, assign_rolls
from scans.pictures import drawn


def group(words=(), *, count=36, aspect=1.5, grey=False, labels=()):
    return GroupSeen(tuple(words), count, aspect, grey, tuple(labels))


ONE = RollWaited("26-001-N", lab_numbers=("815",), frames=36)
TWO = RollWaited("26-002-L", names=("market",), lab_numbers=("816",), frames=24, is_bw=True)


def names(doubts, *, anothers=None):
    return {doubt.name for doubt in doubts if anothers is None or doubt.may_be_anothers == anothers}


def test_a_roll_that_fits_raises_no_doubt():
    assert doubts_about(Delivered(group()), HandedIn(ONE, "2026-05-03", (115, 4))) == []


def test_another_stock_on_the_edge_a_day_too_early_and_shots_that_show_nothing_of_it():
    seen = Delivered(group(), scanned_on="2026-05-01", edge_stocks=((79, 3), (79, 3)), shots_tried=20, shots_matched=0)
    found = doubts_about(seen, HandedIn(ONE, "2026-05-03", (115, 4)))
    assert names(found, anothers=True) == {"date", "edge_stock", "phone_shots"}
    assert "79-3" in next(doubt.says for doubt in found if doubt.name == "edge_stock")


def test_one_edge_code_alone_is_not_believed():
    # A quarter of the codes read backwards as another one (FACTS of the trade, DX edge codes).
    assert doubts_about(Delivered(group(), edge_stocks=((79, 3),)), HandedIn(ONE, None, (115, 4))) == []


def test_black_and_white_from_a_colour_roll_and_a_wrong_shape():
    assert names(doubts_about(Delivered(group(grey=True, aspect=1.0)), HandedIn(ONE)), anothers=True) == {
        "grey",
        "shape",
    }


def test_what_labs_refund_is_named():
    seen = Delivered(group(count=34), labels=tuple(map(str, range(1, 37))), missing=("36",), stickers=("01.jpg",))
    found = doubts_about(seen, HandedIn(ONE))
    assert names(found, anothers=False) == {"sticker", "splice"}
    assert all("refund" in doubt.remedy for doubt in found)


def test_a_blank_roll_is_named():
    assert names(doubts_about(Delivered(group(), blank=36), HandedIn(ONE))) == {"blank_roll"}


def test_two_rolls_changed_over_are_told_by_all_but_their_names():
    grey, colour = group(["26-001-N"], count=24, grey=True), group(["26-002-L"], count=36)
    found = changed_over([grey, colour], [ONE, TWO], ["26-001-N", "26-002-L"])
    assert [doubt.says for doubt in found] == ["rolls 26-001-N and 26-002-L fit better the other way round"]
    assert changed_over([colour, grey], [ONE, TWO], ["26-001-N", "26-002-L"]) == []


@pytest.mark.parametrize("words", [["order", "00815"], ["26 001 n"], ["x26-001-N"]])
def test_a_roll_is_known_by_the_labs_number_or_its_code(words):
    guess = assign_rolls([group(words)], [ONE, TWO])[0]
    assert (guess.code, guess.sure) == ("26-001-N", True)


def test_a_number_inside_another_is_no_sign():
    assert "lab_number_in_name" not in assign_rolls([group(["x4815162"], count=24)], [ONE, TWO])[0].reasons


def test_a_label_photographed_with_the_film_decides():
    guess = assign_rolls([group(labels=["dryside:roll:26-002-L"], count=30)], [ONE, TWO])[0]
    assert (guess.code, guess.sure) == ("26-002-L", True)


def test_many_groups_are_each_given_a_roll_of_their_own():
    rolls = [RollWaited(f"26-{k:03d}-A", frames=20 + k) for k in range(8)]
    groups = [group([f"26-{k:03d}-A"], count=20 + k) for k in (3, 1, 7, 0, 5)]
    assert [g.code for g in assign_rolls(groups, rolls)] == [f"26-{k:03d}-A" for k in (3, 1, 7, 0, 5)]


def test_no_roll_waited_for_is_none():
    guess = assign_rolls([group()], [])[0]
    assert (guess.code, guess.reasons) == (None, ("no_roll_fits",))


def test_a_sticker_over_the_picture_is_seen_and_a_picture_alone_is_none():
    image = drawn(2, width=512, height=340)
    assert not shows_sticker(image)
    cv2.rectangle(image, (380, 120), (511, 200), (250, 250, 250), -1)
    cv2.putText(image, "4815", (392, 175), cv2.FONT_HERSHEY_SIMPLEX, 1.3, (10, 10, 10), 4)
    assert shows_sticker(image)


def test_real_photographs_have_no_sticker():
    from scans.pictures import photographs

    for path in photographs():
        image = cv2.imread(str(path))[..., ::-1]
        small = np.ascontiguousarray(cv2.resize(image, None, fx=0.66, fy=0.66, interpolation=cv2.INTER_AREA))
        assert not shows_sticker(small), path.name
