"""Papers drawn up from the book: what stands on an order sheet and its labels, and warnings that save a roll."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from dryside.book.people import get_person
from dryside.book.rolls import add_roll_name
from dryside.labs.drafts import draft_order
from dryside.labs.papers import PaperChoices, draw_up_sheet, order_papers
from dryside.labs.roll_warnings import is_hot_season, mail_warnings, warnings_for
from dryside.labs.waiting import Wish, set_wish, waiting_rolls
from labs.conftest import TODAY
from labs.lab_maker import euro, make_lab
from paper.pdf_reading import qr_texts, words


@pytest.fixture
def order(shop):
    """Three rolls of two owners at Tern & Daughter: one pulled, one uncut with prints."""
    uncut = shop.roll()
    shop.roll("rui", "grey", process="bw", push_stops=-1)
    shop.roll("rui")
    with shop.book.write() as conn:
        wish = Wish("standard", (("4R", 10),), returns="uncut", clip_test=True, instructions="Taped leader.")
        set_wish(conn, uncut.id, wish)
        rolls = waiting_rolls(conn)
        keeper = get_person(conn, "Ilse Marquardt")
    return draft_order(shop.labs["tern"].lab, [one.as_wish() for one in rolls], TODAY), rolls, keeper


def by_code(rolls):
    return {one.roll.code: one for one in rolls}


def test_a_sheet_says_what_must_not_be_overlooked(order):
    draft, rolls, _ = order
    sheet = draw_up_sheet(draft, by_code(rolls), number="O26-001")
    first, second, third = sheet.rolls
    assert first.warnings == ("CLIP TEST", "DO NOT CUT, RETURN UNCUT")
    assert (first.scan, first.prints, first.returns, first.instructions) == (
        "standard", "10 × 4R", "uncut", "Taped leader.",
    )  # fmt: skip
    assert (second.process, second.warnings, second.film) == ("B&W -1", ("PULL -1",), "Harbour Pan 125")
    assert (third.scan, third.warnings) == ("none", ())
    assert sheet.lab == ("Tern & Daughter",)


def test_an_owners_own_number_of_a_roll_is_printed_on_sheet_and_label(shop):
    roll = shop.roll()
    with shop.book.write() as conn:
        add_roll_name(conn, roll.id, "1998/3")
        rolls = waiting_rolls(conn)
    draft = draft_order(shop.labs["tern"].lab, [one.as_wish() for one in rolls], TODAY)
    papers = order_papers(draft, rolls, PaperChoices())
    assert len(papers) == 2
    for pdf in papers.values():
        assert roll.code in words(pdf)
        assert "1998/3" in words(pdf)


def test_totals_by_owner_add_up_to_the_order(order):
    draft, rolls, _ = order
    sheet = draw_up_sheet(draft, by_code(rolls))
    # Ilse: 5 + 4 + 10 x 0.40 = 13.00; Rui: 9 + 3 and 5 = 17.00; postage 4.50 over 13 : 17 is 1.95 and 2.55.
    assert sheet.owners == (("Ilse Marquardt", "14.95"), ("Rui Tavora", "19.55"))
    assert sheet.total == "34.50"
    part = draw_up_sheet(draft, by_code(rolls), only_owner="Rui Tavora")
    assert (len(part.rolls), part.total, part.fees) == (2, "19.55", (("part of the fees", "2.55"),))


def test_contact_is_printed_only_where_it_was_chosen(order):
    draft, rolls, keeper = order
    plain = order_papers(draft, rolls, PaperChoices(), keeper=keeper)
    chosen = order_papers(draft, rolls, PaperChoices(contact=("name", "phone")), keeper=keeper)
    name = "order-tern-daughter-2026-09-07.pdf"
    assert "000 111" not in words(plain[name]) and "000 111" in words(chosen[name])
    assert "ilse@post.example" not in words(chosen[name])


def test_an_order_has_a_sheet_labels_and_a_sheet_for_each_owner_if_chosen(order):
    draft, rolls, _ = order
    papers = order_papers(draft, rolls, PaperChoices(per_owner=True, twin=True), number="O26-001")
    assert sorted(papers) == [
        "O26-001-tern-daughter-2026-09-07-ilse-marquardt.pdf", "O26-001-tern-daughter-2026-09-07-labels.pdf",
        "O26-001-tern-daughter-2026-09-07-rui-tavora.pdf", "O26-001-tern-daughter-2026-09-07.pdf",
    ]  # fmt: skip
    codes = [one.roll.code for one in rolls]
    assert qr_texts(papers["O26-001-tern-daughter-2026-09-07-labels.pdf"]) == sorted(codes * 2)
    own = words(papers["O26-001-tern-daughter-2026-09-07-rui-tavora.pdf"])
    assert "rolls of Rui Tavora" in own and codes[0] not in own


def test_prices_can_be_left_off_and_old_ones_are_flagged(order):
    draft, rolls, _ = order
    bare = draw_up_sheet(draft, by_code(rolls), prices=False)
    assert (bare.total, bare.fees, bare.owners, {roll.amount for roll in bare.rolls}) == ("", (), (), {""})
    old = draft_order(make_lab(prices_as_of=date(2026, 1, 1)), [draft.rolls[2].wish], TODAY)
    assert "249 days old: please check" in draw_up_sheet(old, {}).notes[-1]


# --- warnings ----------------------------------------------------------------------------------------------------


def codes(shop, lab=None, day=TODAY):
    with shop.book.read() as conn:
        (waiting,) = waiting_rolls(conn)
    return {one.code: one.is_refusal for one in warnings_for(waiting, lab, day)}


def test_an_ordinary_roll_needs_no_warning(shop):
    shop.roll()
    assert codes(shop, make_lab()) == {}


@pytest.mark.parametrize(
    ("roll", "code", "is_refusal"),
    [
        ({"stock": "cine", "process": "c41"}, "rem-jet", True),
        ({"stock": "colour", "process": "e6"}, "cross process", True),
        ({"stock": "colour", "process": "e6", "cross_process": True}, "cross process", False),
        ({"stock": "grey", "process": "c41"}, "silver", True),
        ({"stock": "nitrate", "process": "bw"}, "nitrate", True),
        ({"stock": None}, "unlabelled", False),
        ({"push_stops": 1}, "push", False),
        ({"expires_on": "2019-05-01"}, "expired", False),
        ({"exposed_on": (TODAY - timedelta(days=61)).isoformat()}, "long exposed", False),
    ],
)
def test_each_danger_is_told(shop, roll, code, is_refusal):
    shop.roll(**roll)
    assert codes(shop, make_lab())[code] == is_refusal


def test_a_push_on_a_roller_line_is_asked_about(shop):
    shop.roll(push_stops=1)
    assert "roller push" in codes(shop, make_lab(machine=("roller",)))
    assert "roller push" not in codes(shop, make_lab(machine=("dip-and-dunk",)))


def test_sixty_days_exposed_is_not_yet_long(shop):
    shop.roll(exposed_on=(TODAY - timedelta(days=60)).isoformat())
    assert codes(shop) == {}


def test_parcels_are_warned_of_heat_and_x_rays_and_counters_are_not(shop):
    shop.roll()
    with shop.book.read() as conn:
        rolls = waiting_rolls(conn)
    by_post = make_lab(postage=euro(5), country="PT")
    assert [one.code for one in mail_warnings(rolls, by_post, date(2026, 7, 1))] == ["heat", "x-ray"]
    assert [one.code for one in mail_warnings(rolls, by_post, date(2026, 1, 10))] == ["x-ray"]
    assert mail_warnings(rolls, make_lab(), date(2026, 7, 1)) == ()
    assert is_hot_season("AU", date(2026, 1, 10)) and not is_hot_season("AU", date(2026, 7, 1))
