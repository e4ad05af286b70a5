"""Lab figures and control charts, against a published example and orders worked out by hand."""

import io
import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from dryside.stats.charges import list_charges
from dryside.stats.control_chart import RUN, control_chart
from dryside.stats.lab_figures import lab_figures, newest, process_series
from dryside.stats.plots import control_charts, spending_by_month

# The example of an individuals chart in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten batches, mean
# 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159 (values and results from memory).
BATCHES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
HALF_LAST_DIGIT = 0.00005


def test_limits_are_those_of_the_published_example():
    chart = control_chart(BATCHES)
    assert chart.mean == pytest.approx(50.81, abs=HALF_LAST_DIGIT)
    assert (chart.high, chart.low) == pytest.approx((55.8041, 45.8159), abs=HALF_LAST_DIGIT)
    assert chart.in_control


def test_a_value_beyond_a_limit_and_a_shift_are_seen():
    assert control_chart([*BATCHES, 60.0], baseline=10).outside == (10,)
    steady = [0.20, 0.21, 0.19, 0.20, 0.21, 0.19]
    assert control_chart([*steady, *[0.205] * RUN], baseline=6).shifted == (13,)
    assert control_chart([*steady, *[0.205] * (RUN - 1)], baseline=6).shifted == ()


def test_a_few_values_have_no_limits():
    assert control_chart(BATCHES[:4]) is None
    assert control_chart([]) is None


@given(st.lists(st.floats(-10, 10), min_size=5, max_size=40), st.floats(-5, 5), st.floats(0.1, 10))
def test_limits_move_and_stretch_with_the_values(values, offset, factor):
    chart = control_chart(values)
    moved = control_chart([factor * value + offset for value in values])
    assert moved.mean == pytest.approx(factor * chart.mean + offset, abs=1e-6)
    assert moved.high - moved.low == pytest.approx(factor * (chart.high - chart.low), abs=1e-6)


def test_days_promised_and_taken_and_the_share_of_good_frames(book, ledger):
    one, two = ledger.roll(ratings=[5, 3, 2, None]), ledger.roll(ratings=[0, 1])
    ledger.order(
        "Low Wharf", [(one, "develop", "7.00", None)], dropped="2026-05-04", ready="2026-05-07", real="2026-05-09"
    )
    ledger.order(
        "Low Wharf", [(two, "develop", "7.00", None)], dropped="2026-05-11", ready="2026-05-14", scans="2026-05-14"
    )
    ledger.order("Low Wharf", [(two, "scan", "5.00", None)], dropped="2026-05-20", ready="2026-05-21")
    with book.read() as conn:
        (figures,) = lab_figures(conn)
    # Promised 3 and 3 days, taken 5 and 3; the third order is not back. Rated 5, 3, 2 and 1: two of four are good.
    assert (figures.orders, figures.measured, figures.promised_days, figures.real_days, figures.late) == (3, 2, 3, 4, 1)
    assert (figures.rated, figures.good, figures.good_pct) == (4, 2, 50.0)


@pytest.fixture
def drifting(ledger):
    """Twelve rolls of one stock at one lab: blue base steady at 0.90 but for the last two; one roll at another lab."""
    rolls = []
    for n in range(12):
        roll = ledger.roll(stock="Tern 200")
        ledger.order("Low Wharf", [(roll, "develop", "7.00", None)], paid="7.00", paid_on=f"2026-{1 + n // 2:02}-10")
        blue = 0.90 + 0.005 * (n % 2) + (0.12 if n >= 11 else 0)
        ledger.development(roll, f"2026-{1 + n // 2:02}-{11 + n % 2}", base_blue=blue, base_red=0.2, contrast=None)
        rolls.append(roll)
    other = ledger.roll(stock="Tern 200")
    ledger.order("Far Pier", [(other, "develop", "7.00", None)], paid="7.00", paid_on="2026-06-10")
    ledger.development(other, "2026-06-11", base_blue=0.9)
    return rolls


def test_a_drifting_process_is_seen_and_named(book, drifting):
    with book.read() as conn:
        far, low = process_series(conn)
    assert (far.lab, far.charts, far.remarks) == ("Far Pier", {}, ())
    assert set(low.charts) == {"base_red", "base_blue"}
    assert low.charts["base_red"].in_control
    assert low.remarks == (f"Low Wharf, Tern 200: film base, blue density outside its limits on {drifting[-1].code}",)


def test_contrast_that_drifts_is_seen_apart_for_charts_and_for_pictures(book, ledger):
    """Twelve rolls: pictures' range rises from the ninth on; the few charts are too few for limits."""
    for n in range(12):
        roll = ledger.roll(stock="Tern 200")
        ledger.order("Low Wharf", [(roll, "develop", "7.00", None)], paid="7.00", paid_on="2026-06-10")
        ledger.development(
            roll, f"2026-06-{11 + n}", base_red=0.2, contrast=0.6 if n % 4 == 0 else None,
            picture_range=1.0 + 0.02 * (n % 2) + (0.3 if n >= 9 else 0), picture_range_error=0.05,
        )  # fmt: skip
    with book.read() as conn:
        (series,) = process_series(conn)
    assert set(series.charts) == {"base_red", "picture_range"}
    assert series.developments[0].picture_range_error == 0.05
    assert newest(series, "contrast") == 0.6
    (remark,) = series.remarks
    assert "density range of the pictures outside its limits" in remark
    (plot,) = control_charts([series])
    with Image.open(io.BytesIO(plot.png)) as png:
        assert png.size[1] > png.size[0] / 3


def test_plots_are_drawn_the_same_each_time_and_can_be_read(book, drifting):
    with book.read() as conn:
        charges, series = list_charges(conn), process_series(conn)
    plots = [*spending_by_month(charges), *control_charts(series)]
    assert [plot.name for plot in plots] == ["spending-EUR", "process-low wharf-tern 200"]
    for plot in plots:
        assert ElementTree.fromstring(plot.svg).tag.endswith("svg")
        with Image.open(io.BytesIO(plot.png)) as png:
            assert min(png.size) > 300
    again = [*spending_by_month(charges), *control_charts(series)]
    assert [plot.svg for plot in again] == [plot.svg for plot in plots]
    assert [plot.png for plot in again] == [plot.png for plot in plots]
    assert spending_by_month([]) == []
