"""Plans with their limits: currencies, budgets, owners, rolls kept apart; refusals lab by lab; the drawn trade-off."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import pytest
from PIL import Image

from dryside.book.money import Money
from dryside.film.refusal import Refusal
from dryside.labs.lab import Printing
from dryside.labs.lab_file import read_lab
from dryside.labs.plan_document import as_document, old_list_words, order_rows, overview_rows
from dryside.labs.plan_plot import draw_tradeoff
from dryside.labs.planning import PlanLimits, plan_drop_off
from labs.lab_maker import QUAY, TERN, euro, make_developing, make_lab, make_wish

START = date(2026, 9, 7)  # a Monday
quay, tern = read_lab(QUAY), read_lab(TERN)
slow = make_lab("Slow & Cheap", develop=(make_developing(price=euro(5), working_days=9),))
fast = make_lab("Fast & Dear", develop=(make_developing(price=euro(9), working_days=0),))


def francs(amount):
    return Money(Decimal(amount), "CHF")


def swiss(name="Uferweg Labor", price="6.00"):
    line = make_developing(price=francs(price), push_per_stop=None)
    return make_lab(
        name, currency="CHF", develop=(line,), minimum_order=francs("20.00"), postage=francs("3.33"), scan=(), rush=(),
        print=(Printing("4R", francs("0.55")),),
    )  # fmt: skip


def orders(plan):
    return {(order.lab.name, str(order.drop_off)): [one.wish.roll for one in order.rolls] for order in plan.orders}


def test_the_whole_tradeoff_is_told_cheapest_first():
    report = plan_drop_off([fast, slow], [make_wish("A"), make_wish("B")], START)
    assert [(plan.total, str(plan.ready)) for plan in report.plans] == [
        (euro(10), "2026-09-16"), (euro(18), "2026-09-07"),
    ]  # fmt: skip


def test_only_the_roll_that_is_needed_soon_goes_to_the_dear_lab():
    report = plan_drop_off([fast, slow], [make_wish("A", need_by=date(2026, 9, 8)), make_wish("B")], START)
    assert orders(report.plans[0]) == {("Fast & Dear", "2026-09-07"): ["A"], ("Slow & Cheap", "2026-09-07"): ["B"]}


def test_each_refused_roll_says_why_lab_by_lab():
    wishes = [make_wish("S", process="e6", format="half"), make_wish("L", need_by=date(2026, 9, 7)), make_wish("A")]
    report = plan_drop_off([quay, slow], wishes, START)
    why = {one.roll: one.why for one in report.refused}
    # Quay Street is closed on Mondays: Tuesday in, Wednesday ready.
    assert why["L"] == "Quay Street Film: ready 2 days late; Slow & Cheap: ready 9 days late"
    slide = "slide film (E-6) is not taken"
    assert why["S"] == f"Quay Street Film: {slide}; Slow & Cheap: {slide}"
    assert len(report.plans[0].orders) == 1


def test_one_day_late_is_said_in_the_singular():
    (refused,) = plan_drop_off([quay], [make_wish("L", need_by=date(2026, 9, 8))], START).refused
    assert refused.why == "Quay Street Film: ready 1 day late"


def test_top_up_and_postage_are_lines_of_their_own():
    report = plan_drop_off([tern], [make_wish("A")], START)
    assert [(fee.service, fee.amount) for fee in report.plans[0].orders[0].fees] == [
        ("minimum", euro("15.00")), ("postage", euro("4.50")),
    ]  # fmt: skip
    assert report.plans[0].total == euro("24.50")


def test_rolls_kept_apart_go_on_different_days_or_to_different_labs():
    wishes = [make_wish(name, apart=frozenset({"wedding"})) for name in "AB"]
    assert len(orders(plan_drop_off([slow], wishes, START).plans[0])) == 2
    assert {day for _, day in orders(plan_drop_off([slow], wishes, START).plans[0])} == {"2026-09-07", "2026-09-08"}
    cheap_twin = make_lab("Other Quay", develop=(make_developing(price=euro(5), working_days=9),))
    assert {lab for lab, _ in orders(plan_drop_off([slow, cheap_twin], wishes, START).plans[-1])} == {
        "Slow & Cheap", "Other Quay",
    }  # fmt: skip


def test_a_roll_that_cannot_be_kept_apart_in_time_is_refused_with_its_rival():
    wishes = [make_wish(name, apart=frozenset({"wedding"}), need_by=START) for name in "AB"]
    report = plan_drop_off([fast], wishes, START)
    (refused,) = report.refused
    assert "no day in time on which it travels apart from" in refused.why
    assert sum(len(order.rolls) for order in report.plans[0].orders) == 1


def test_one_lab_only_and_at_most_so_many():
    wishes = [make_wish("A", need_by=START), make_wish("B"), make_wish("C")]
    free = plan_drop_off([fast, slow], wishes, START)
    assert len(free.plans[0].orders) == 2
    assert free.one_lab.total == euro(27)
    one = plan_drop_off([fast, slow], wishes, START, PlanLimits(max_labs=1))
    assert orders(one.plans[0]) == {("Fast & Dear", "2026-09-07"): ["A", "B", "C"]}


def test_where_no_lab_takes_all_as_few_rolls_as_can_be_are_left_out():
    wishes = [make_wish("A"), make_wish("B"), make_wish("S", process="e6")]
    slides = make_lab("Slides", develop=(make_developing(process="e6"),))
    report = plan_drop_off([slow, slides], wishes, START, PlanLimits(max_labs=1))
    assert [(one.roll, one.why) for one in report.refused] == [
        ("S", "Slides: more than 1 lab would be needed; Slow & Cheap: slide film (E-6) is not taken")
    ]


def test_an_owner_is_kept_at_one_lab_where_that_is_asked():
    wishes = [make_wish("A", owner="Ilse", need_by=START), make_wish("B", owner="Ilse"), make_wish("C", owner="Rui")]
    report = plan_drop_off([fast, slow], wishes, START, PlanLimits(owners_together=frozenset({"Ilse"})))
    assert orders(report.plans[0]) == {
        ("Fast & Dear", "2026-09-07"): ["A", "B"], ("Slow & Cheap", "2026-09-07"): ["C"],
    }  # fmt: skip


def test_a_budget_leaves_out_dearer_plans_and_says_what_is_missing():
    wishes = [make_wish("A"), make_wish("B")]
    assert len(plan_drop_off([fast, slow], wishes, START, PlanLimits(budget=euro(12))).plans) == 1
    with pytest.raises(Refusal, match=r"budget 9.00 EUR: the cheapest plan costs 10.00 EUR, 1.00 EUR more\. Raise it"):
        plan_drop_off([fast, slow], wishes, START, PlanLimits(budget=euro(9)))


def test_currencies_are_never_added_but_reported_apart():
    report = plan_drop_off([slow, fast, swiss()], [make_wish("A")], START)
    assert report.currency == "EUR"
    assert {order.lab.currency for plan in report.plans for order in plan.orders} == {"EUR"}
    (apart,) = report.elsewhere
    assert (apart.currency, apart.plans[0].total) == ("CHF", francs("23.33"))
    assert as_document(report)["other_currencies"][0]["currency"] == "CHF"


def test_a_stated_rate_converts_line_by_line_and_is_told():
    limits = PlanLimits(currency="EUR", rates={"CHF": Decimal("1.05")})
    report = plan_drop_off(
        [fast, swiss(price="6.13")], [make_wish(n, prints=(("4R", 3),)) for n in "ABC"], START, limits
    )
    by_lab = {order.lab.name: order for plan in report.plans for order in plan.orders}
    order = by_lab["Uferweg Labor"]
    # By hand: 6.13 x 1.05 = 6.4365 -> 6.44; 3 x 0.55 = 1.65 x 1.05 = 1.7325 -> 1.73; minimum 21.00 is passed by 24.51;
    # postage 3.33 x 1.05 = 3.4965 -> 3.50.
    assert [str(line.amount) for line in order.lines[:2]] == ["6.44 EUR", "1.73 EUR"]
    assert order.total == euro("28.01")
    assert as_document(report)["converted"] == [{"lab": "Uferweg Labor", "rate": "1 CHF = 1.05 EUR"}]


def test_a_currency_that_no_lab_has_and_empty_lists_are_refused():
    with pytest.raises(Refusal, match="currency USD: no lab has prices in it"):
        plan_drop_off([slow], [make_wish()], START, PlanLimits(currency="USD"))
    with pytest.raises(Refusal, match="there is no lab"):
        plan_drop_off([], [make_wish()], START)
    with pytest.raises(Refusal, match="there is no roll to plan for"):
        plan_drop_off([slow], [], START)


def test_nothing_sendable_is_no_plan_and_all_refusals():
    report = plan_drop_off([slow], [make_wish("S", process="e6")], START)
    assert (report.plans, report.one_lab, [one.roll for one in report.refused]) == ((), None, ["S"])
    with pytest.raises(ValueError, match="nothing to draw"):
        draw_tradeoff(report)


def test_the_plan_does_not_hang_on_the_order_of_rolls_and_labs():
    wishes = [make_wish(f"R{n}", scan="standard" if n % 2 else None) for n in range(12)]
    twins = [make_lab(name, minimum_order=euro(20), postage=euro(3)) for name in ("B", "A", "C")]
    found = as_document(plan_drop_off(twins, wishes, START))
    assert found == as_document(plan_drop_off(twins[::-1], wishes[::-1], START))
    assert [one["roll"] for one in found["plans"][0]["orders"][0]["rolls"]] == [f"R{n}" for n in range(12)]


# 180 days before 7 September 2026 is 11 March 2026.
@pytest.mark.parametrize(("as_of", "is_old"), [(date(2026, 3, 11), False), (date(2026, 3, 10), True), (None, True)])
def test_an_old_price_list_is_flagged_beside_each_figure(as_of, is_old):
    report = plan_drop_off([make_lab(prices_as_of=as_of, postage=euro(1))], [make_wish(scan="standard")], START)
    document = as_document(report)
    order = document["plans"][0]["orders"][0]
    assert all(line.get("old_prices", False) == is_old for line in (*order["lines"], *order["fees"]))
    figures = [row[-1] for row in order_rows(report.plans[0], START) if row[-1]]
    assert all(figure.endswith("†") == is_old for figure in (*figures, overview_rows(report)[0][1]))
    assert len(old_list_words(report)) == len(document["old_price_lists"]) == is_old


def test_the_tradeoff_is_drawn_as_png_and_svg_and_the_same_each_time():
    report = plan_drop_off([fast, slow], [make_wish("A"), make_wish("B")], START)
    png = draw_tradeoff(report)
    assert Image.open(io.BytesIO(png)).size == (1600, 1000)
    assert png == draw_tradeoff(report)
    svg = draw_tradeoff(report, kind="svg").decode()
    assert svg == draw_tradeoff(report, kind="svg").decode()
    for words in ("1: 10.00", "2: 18.00", "total, EUR"):
        assert words in svg
    with pytest.raises(ValueError, match="must be png or svg"):
        draw_tradeoff(report, kind="gif")
