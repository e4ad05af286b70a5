"""Orders in the book: recorded whole or not at all, receipts kept, differences line by line, shares to the cent."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.files import original_path
from dryside.book.money import Money, total
from dryside.book.rolls import get_roll
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.book_labs import add_lab, get_lab, list_labs, price_lists_of
from dryside.labs.collecting import collect
from dryside.labs.drafts import draft_order
from dryside.labs.order_words import describe_order, order_document
from dryside.labs.orders import differences, get_order, lines_of, list_orders, record_order, set_receipt, shares_of
from dryside.labs.papers import draft_shares
from dryside.labs.waiting import Wish, get_wish, set_wish, waiting_rolls
from labs.conftest import TODAY
from labs.lab_maker import QUAY, euro, make_lab, make_wish

AT = "2026-09-07T12:00:00+01:00"


def order_at(shop, name, *, day=TODAY, told=None, ready=None, at=AT):
    """Record all that waits at one lab."""
    known = shop.labs[name]
    with shop.book.write() as conn:
        wishes = [one.as_wish() for one in waiting_rolls(conn)]
        return record_order(conn, known, draft_order(known.lab, wishes, day, told=told, ready=ready), at=at)


def test_an_order_has_its_lines_days_and_estimate_and_its_rolls_are_at_the_lab(shop):
    roll = shop.roll(push_stops=0)
    with shop.book.write() as conn:
        set_wish(conn, roll.id, Wish(scan="standard", prints=(("4R", 5),), returns="uncut"))
    order = order_at(shop, "tern")
    assert (order.number, order.dropped_on, order.estimate, order.currency) == ("O26-001", "2026-09-07", "24.50", "EUR")
    # Five open days from Monday; 90 and 30 days from then.
    assert (order.ready_on, order.negatives_until, order.download_ends_on) == ("2026-09-14", "2026-12-13", "2026-10-14")
    with shop.book.read() as conn:
        assert [(line.service, line.quantity, line.estimate, line.returns) for line in lines_of(conn, order.id)] == [
            ("develop", 1, "5.00", "uncut"), ("scan", 1, "4.00", "uncut"), ("print 4R", 5, "2.00", "uncut"),
            ("minimum", 1, "9.00", None), ("postage", 1, "4.50", None),
        ]  # fmt: skip
        assert get_roll(conn, roll.id).state == "at the lab"


def test_numbers_count_up_within_a_year_and_are_found_in_any_spelling(shop):
    for year in (2026, 2026, 2027):
        shop.roll()
        order_at(shop, "quay", day=date(year, 9, 8), at=f"{year}-09-08T12:00:00+01:00")
    with shop.book.read() as conn:
        assert [row.number for row in list_orders(conn)] == ["O26-001", "O26-002", "O27-001"]
        assert get_order(conn, "o26-2").number == get_order(conn, "26-002").number == "O26-002"
        with pytest.raises(NotFound, match=r"order O26-9: not in this book. Near it: O26-00"):
            get_order(conn, "O26-9")


def test_a_refused_order_leaves_nothing_behind(shop):
    shop.roll()
    gone = shop.roll()
    with shop.book.read() as conn:
        wishes = [one.as_wish() for one in waiting_rolls(conn)]
    order_at(shop, "quay")
    known = shop.labs["quay"]
    again = draft_order(known.lab, wishes, TODAY)
    with pytest.raises(Refusal, match=r"roll .*: it is at the lab"), shop.book.write() as conn:
        record_order(conn, known, again, at=AT)
    with shop.book.read() as conn:
        assert len(list_orders(conn)) == 1
        assert get_roll(conn, gone.id).state == "at the lab"


def test_what_the_counter_says_counts_more_than_the_list(shop):
    shop.roll(stock="grey", process="bw", film_format="120-6x7")
    with pytest.raises(Refusal, match=r"at Quay Street Film: black-and-white .* --told ROLL=PRICE"):
        order_at(shop, "quay")
    with shop.book.read() as conn:
        code = waiting_rolls(conn)[0].roll.code
    order = order_at(shop, "quay", told={code: euro("11.00")}, ready=date(2026, 9, 20))
    assert (order.estimate, order.ready_on) == ("11.00", "2026-09-20")


def test_rolls_kept_apart_are_not_handed_in_together(shop):
    shop.roll(irreplaceable="wedding")
    shop.roll(irreplaceable="wedding")
    with pytest.raises(Refusal, match=r"it is kept apart from .* \('wedding'\)"):
        order_at(shop, "quay")
    with pytest.raises(Refusal, match="there is no roll in it"):
        draft_order(make_lab(), [], TODAY)


def test_a_receipt_is_kept_as_an_original_and_differences_are_told_line_by_line(shop, tmp_path):
    roll = shop.roll(push_stops=1)
    order = order_at(shop, "quay")
    photo = tmp_path / "receipt.jpg"
    photo.write_bytes(b"\xff\xd8 a photo")
    amounts = {(roll.code, "push"): euro("3.00"), (roll.code, "tube"): euro("0.20"), ("", "bag"): euro("0.10")}
    with shop.book.write() as conn:
        order = set_receipt(
            conn, shop.book, order, number="4711", paid=euro("10.30"), file=photo, amounts=amounts,
            lab_numbers={roll.code: "T-88"}, at=AT,
        )  # fmt: skip
        found, whole = differences(conn, order)
        assert [(one.roll, one.service, str(one.more.amount)) for one in found] == [
            (roll.code, "push", "0.50"), (roll.code, "tube", "0.20"), ("", "bag", "0.10"),
        ]  # fmt: skip
        assert (whole.estimate, whole.amount, whole.more) == (euro("9.50"), euro("10.30"), euro("0.80"))
        assert {line.lab_roll_number for line in lines_of(conn, order.id) if line.roll_id} == {"T-88"}
        assert get_order(conn, "4711") == order
    assert original_path(shop.book, order.receipt_sha256).read_bytes() == photo.read_bytes()
    assert (order.paid, order.paid_on) == ("10.30", "2026-09-07")


def test_a_receipt_in_another_currency_or_for_a_strange_roll_is_refused_whole(shop):
    shop.roll()
    order = order_at(shop, "quay")
    other = shop.roll()
    with pytest.raises(Refusal, match=r"7.00 CHF is not in the order's currency, EUR"), shop.book.write() as conn:
        set_receipt(conn, shop.book, order, number="1", paid=Money(Decimal(7), "CHF"))
    with pytest.raises(Refusal, match="it is not in order O26-001"), shop.book.write() as conn:
        set_receipt(conn, shop.book, order, number="1", amounts={(other.code, "develop"): euro(7)})
    with shop.book.read() as conn:
        assert get_order(conn, order.id).receipt_number is None


def test_owners_share_fees_in_proportion_without_losing_a_cent(shop):
    shop.roll("ilse")
    shop.roll("rui")
    shop.roll("rui")
    shop.roll(None)
    order = order_at(shop, "tern")
    with shop.book.read() as conn:
        shares = {share.owner: share for share in shares_of(conn, order)}
    # Four rolls at 5.00 reach the minimum; 4.50 of postage over 5 : 10 : 5 is 1.125, 2.25, 1.125: the odd cent goes to
    # the first of the equal remainders (nobody's, by name).
    assert {name: (str(one.own.amount), str(one.shared.amount)) for name, one in shares.items()} == {
        "": ("5.00", "1.13"), "Ilse Marquardt": ("5.00", "1.12"), "Rui Tavora": ("10.00", "2.25"),
    }  # fmt: skip
    assert len(shares["Rui Tavora"].rolls) == 2
    assert sum(one.owes.amount for one in shares.values()) == Decimal(order.estimate)


def test_what_was_really_paid_is_what_is_shared(shop):
    shop.roll("ilse")
    shop.roll("rui")
    order = order_at(shop, "quay")
    for paid in ("13.99", "14.01", "9.00", "0.00"):
        with shop.book.write() as conn:
            order = set_receipt(conn, shop.book, order, paid=euro(paid))
            owed = [share.owes.amount for share in shares_of(conn, order)]
        assert sum(owed) == Decimal(paid)
        assert abs(owed[0] - owed[1]) <= Decimal("0.01")


@given(st.lists(st.sampled_from(["Ilse", "Rui", "Zoé", ""]), min_size=1, max_size=9), st.integers(0, 999))
def test_shares_of_a_draft_add_up_to_its_total_exactly(owners, postage_cents):
    lab = make_lab(postage=euro(Decimal(postage_cents) / 100), minimum_order=euro("33.33"))
    wishes = [make_wish(f"R{n}", owner=owner or None) for n, owner in enumerate(owners)]
    order = draft_order(lab, wishes, TODAY)
    assert total(draft_shares(order).values(), "EUR") == order.total


def test_an_order_is_shown_with_lines_shares_and_days(shop):
    roll = shop.roll()
    order_at(shop, "tern")
    with shop.book.read() as conn:
        words = describe_order(conn, "O26-001")
        document = order_document(conn, "O26-001")
    assert "O26-001 at Tern & Daughter, handed in 2026-09-07" in words.title
    assert words.lines[0][:2] == (roll.code, "develop") and words.lines[-1][3] == "24.50"
    assert document["shares"][0]["owes"] == {"amount": "24.50", "currency": "EUR"}


def test_collecting_closes_an_order_once_everything_is_back(shop):
    first, second = shop.roll(), shop.roll()
    with shop.book.write() as conn:
        set_wish(conn, first.id, Wish(prints=(("4R", 2),)))
    order = order_at(shop, "quay")
    with shop.book.write() as conn:
        part = collect(conn, order, at="2026-09-10T10:00:00+01:00", rolls=[first.code], prints=False)
        assert (part.rolls, part.still_there, part.is_closed) == ((first.code,), (second.code,), False)
        assert part.order.negatives_fetched_on is None
        rest = collect(conn, order, at="2026-09-12T10:00:00+01:00", prints=False)
        assert (rest.rolls, rest.is_closed, rest.order.negatives_fetched_on) == ((second.code,), False, "2026-09-12")
        done = collect(conn, rest.order, at="2026-09-13T10:00:00+01:00", negatives=False)
        assert (done.prints, done.is_closed, done.order.prints_fetched_on) == (True, True, "2026-09-13")
        again = collect(conn, done.order, at="2026-09-14T10:00:00+01:00")
        assert (again.rolls, again.prints, again.order) == ((), False, done.order)
        assert get_roll(conn, first.id).state == "negatives back"


def test_what_cannot_have_been_collected_is_refused(shop):
    shop.roll()
    order = order_at(shop, "quay")
    other = shop.roll()
    with pytest.raises(Refusal, match="it was handed in on 2026-09-07, after 2026-09-01"), shop.book.write() as conn:
        collect(conn, order, at="2026-09-01T10:00:00+01:00")
    with pytest.raises(Refusal, match=r"it is not in order O26-001. In it:"), shop.book.write() as conn:
        collect(conn, order, at="2026-09-10T10:00:00+01:00", rolls=[other.code])


def test_price_lists_are_dated_and_the_one_of_the_day_holds(shop):
    newer = QUAY.replace("2026-09-01", "2026-10-01").replace('"7.00"', '"8.00"')
    with shop.book.write() as conn:
        _, changed = add_lab(conn, newer, source="quay.toml", today=TODAY)
        assert changed
        assert not add_lab(conn, newer, source="quay.toml", today=TODAY)[1]
        assert [one.as_of for one in price_lists_of(conn, shop.labs["quay"].row.id)] == ["2026-09-01", "2026-10-01"]
        for day, price in (("2026-09-30", 7), ("2026-10-01", 8), ("2026-01-01", 7)):
            known = get_lab(conn, "quay", day=date.fromisoformat(day))
            assert known.lab.develop[0].price == euro(price)
    shop.roll()
    order_at(shop, "quay")
    with shop.book.write() as conn, pytest.raises(Refusal, match="1 order of 'Quay Street Film' stand"):
        add_lab(conn, QUAY.replace('"7.00"', '"9.00"'), source="quay.toml", today=TODAY)


def test_labs_are_found_by_the_beginning_of_their_name(shop):
    with shop.book.read() as conn:
        assert get_lab(conn, "TERN").lab.name == "Tern & Daughter"
        assert [one.lab.name for one in list_labs(conn)] == ["Quay Street Film", "Tern & Daughter"]
        with pytest.raises(NotFound, match=r"lab Quai: not in this book. Near it: Quay Street Film"):
            get_lab(conn, "Quai")


def test_wishes_are_kept_and_taken_away(book, shop):
    roll = shop.roll()
    wish = Wish("standard", (("4R", 3),), date(2026, 9, 30), True, "sleeved", True, "Careful: taped leader.")
    with book.write() as conn:
        set_wish(conn, roll.id, wish)
        assert get_wish(conn, roll.id) == wish
        set_wish(conn, roll.id, Wish())
        assert get_wish(conn, roll.id) == Wish()
        with pytest.raises(Refusal, match="film comes back strips, uncut or sleeved"):
            set_wish(conn, roll.id, Wish(returns="rolled"))
