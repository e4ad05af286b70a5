"""Spending: whole orders priced by hand, and laws that every receipt keeps."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryside.book.money import Money
from dryside.book.rows import insert
from dryside.book.schema import order_lines, orders, shelf
from dryside.film.refusal import Refusal
from dryside.stats.charges import list_charges
from dryside.stats.spending import count_frames, list_unpaid, shelf_worth, spending, whole


def eur(text):
    return Money.parse(text, "EUR")


def table(book, by, **span):
    with book.read() as conn:
        return spending(list_charges(conn, **span), count_frames(conn), by)


@pytest.fixture
def two_orders(ledger):
    """Priced by hand: 26-001 costs 7 + 5 + 1 (half the postage) = 13, 26-002 9 + 1 = 10; 26-003 is not paid, 8.50."""
    one = ledger.roll(owner="Ines", ratings=[5, 4, 1, None, "blank"])
    two = ledger.roll(process="bw", owner="Rui", ratings=[2, 3])
    three = ledger.roll(owner="Ines")
    lines = [(one, "develop", "7.00"), (one, "scan", "5.00"), (two, "develop", "9.00"), (None, "postage", "2.00")]
    ledger.order("Low Wharf", [(*line, None) for line in lines], paid="23.00", paid_on="2026-05-20")
    ledger.order("Quay Street Film", [(three, "develop", "8.50", None)], dropped="2026-06-02")
    return one, two, three


def test_each_roll_bears_its_lines_and_its_share_of_the_postage(book, two_orders):
    assert [(row.key, row.total, row.unpaid) for row in table(book, "roll")] == [
        ("26-001-N", eur("13.00"), eur("0")),
        ("26-002-L", eur("10.00"), eur("0")),
        ("26-003-J", eur("8.50"), eur("8.50")),
    ]


def test_months_labs_processes_owners_and_services(book, two_orders):
    assert [(row.key, row.total.amount) for row in table(book, "month")] == [
        ("2026-05", 23),
        ("2026-06", Decimal("8.50")),
    ]
    assert [(row.key, row.rolls) for row in table(book, "lab")] == [("Low Wharf", 2), ("Quay Street Film", 1)]
    assert [(row.key, row.total.amount) for row in table(book, "process")] == [("c41", Decimal("21.50")), ("bw", 10)]
    assert [(row.key, row.total.amount) for row in table(book, "owner")] == [("Ines", Decimal("21.50")), ("Rui", 10)]
    assert [row.key for row in table(book, "service")] == ["develop", "scan", "postage"]


def test_a_frame_and_a_kept_frame_have_their_price(book, two_orders):
    # 26-001: 4 frames that are not blank, of which 2 are rated 3 or better; 13.00 / 4 = 3.25, 13.00 / 2 = 6.50.
    first = table(book, "roll")[0]
    assert (first.frames, first.kept_frames, first.per_frame, first.per_kept_frame) == (4, 2, eur("3.25"), eur("6.50"))
    third = table(book, "roll")[2]
    assert (third.per_roll, third.per_frame, third.per_kept_frame) == (eur("8.50"), None, None)


def test_a_receipt_that_differs_is_shared_over_its_lines(book, ledger):
    one, two = ledger.roll(), ledger.roll()
    # Estimated 6.00 and 3.00, paid 10.00: the 1.00 more falls 2 : 1, 0.67 and 0.33.
    ledger.order(
        "Low Wharf",
        [(one, "develop", "6.00", None), (two, "develop", "3.00", None)],
        paid="10.00",
        paid_on="2026-05-20",
    )
    assert [row.total for row in table(book, "roll")] == [eur("6.67"), eur("3.33")]


def test_amounts_on_the_receipt_win_over_estimates(book, ledger):
    one, two = ledger.roll(), ledger.roll()
    ledger.order(
        "Low Wharf",
        [(one, "develop", "6.00", "4.00"), (two, "develop", "3.00", "6.00")],
        paid="10.00",
        paid_on="2026-05-20",
    )
    assert [row.total for row in table(book, "roll")] == [eur("4.00"), eur("6.00")]


def test_currencies_are_never_added(book, ledger):
    one, two = ledger.roll(), ledger.roll()
    ledger.order("Low Wharf", [(one, "develop", "7.00", None)], paid="7.00", paid_on="2026-05-20")
    ledger.order("Low Wharf", [(two, "develop", "900", None)], paid="900", paid_on="2026-05-21", currency="JPY")
    assert [(row.key, str(row.total)) for row in table(book, "lab")] == [
        ("Low Wharf", "7.00 EUR"),
        ("Low Wharf", "900 JPY"),
    ]
    with book.read() as conn:
        assert len(whole(list_charges(conn), {})) == 2


def test_a_span_of_days_holds_what_was_paid_in_it(book, two_orders):
    assert [row.key for row in table(book, "roll", since="2026-06-01")] == ["26-003-J"]
    assert [row.key for row in table(book, "roll", until="2026-05-31")] == ["26-001-N", "26-002-L"]


def test_what_waits_unpaid_is_named(book, two_orders):
    with book.read() as conn:
        assert [(one.order, one.lab, one.dropped_on, one.estimate) for one in list_unpaid(conn)] == [
            ("O26-002", "Quay Street Film", "2026-06-02", eur("8.50"))
        ]


def test_the_shelf_is_worth_what_was_paid_for_it(book, ledger):
    stock = ledger.stock("Tern 400")
    rows = [
        {"quantity": 3, "price_each": "8.00", "currency": "EUR", "expires_on": "2026-01-01"},
        {"quantity": 2, "price_each": None, "currency": None},
        {"quantity": 0, "price_each": "99.00", "currency": "EUR"},
        {"quantity": 1, "price_each": "900", "currency": "JPY"},
    ]
    with book.write() as conn:
        for row in rows:
            insert(conn, shelf, {"stock_id": stock, "format": "135", "kept": "cold", **row})
    with book.read() as conn:
        worth = shelf_worth(conn, "2026-06-01")
    assert ([str(one) for one in worth.worth], worth.rolls, worth.without_price, worth.expired) == (
        ["24.00 EUR", "900 JPY"],
        6,
        2,
        3,
    )


CENTS = st.integers(0, 5000).map(lambda cents: f"{cents / 100:.2f}")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(st.tuples(st.sampled_from([0, 1, 2, None]), CENTS, st.none() | CENTS), min_size=1, max_size=8),
    paid=CENTS,
)
def test_the_charges_of_a_paid_order_add_up_to_what_was_paid(book, ledger, lines, paid):
    rolls = [ledger.roll() for _ in range(3)]
    ledger.order(
        "Low Wharf",
        [(None if n is None else rolls[n], "develop", estimate, amount) for n, estimate, amount in lines],
        paid=paid, paid_on="2026-05-20",
    )  # fmt: skip
    with book.write() as conn:
        charges = list_charges(conn)
        by_roll = spending(charges, {}, "roll")
        conn.execute(order_lines.delete())
        conn.execute(orders.delete())
    assert sum(charge.cost.amount for charge in charges) == Decimal(paid)
    assert sum(row.total.amount for row in by_roll) == Decimal(paid)


def test_a_way_of_telling_that_is_none_is_refused(book):
    with pytest.raises(Refusal, match="Use one of: month, lab"):
        table(book, "weather")
