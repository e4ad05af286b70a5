"""A lab's own record: how long its past orders really took, in its open days."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from dryside.labs.calendar import add_open_days, is_open
from dryside.labs.lab import Lab

if TYPE_CHECKING:
    from dryside.labs.orders import OrderRow

ENOUGH_ORDERS = 5
"""From so many past orders on, a lab's own record counts besides its promise."""


@dataclass(frozen=True)
class LabRecord:
    """Open days from drop-off to scans over a lab's past orders.

    Attributes
    ----------
    orders : int
        How many it stands on, at least `ENOUGH_ORDERS`.
    median_days : int
        Half of them came within so many open days (rounded up).
    late_days : int
        Nine in ten did.
    """

    orders: int
    median_days: int
    late_days: int


def record_of(lab: Lab, past: Sequence[OrderRow]) -> LabRecord | None:
    """The record of a lab from its orders whose scans have come; None while they are fewer than `ENOUGH_ORDERS`."""
    taken = sorted(
        open_days_between(lab, date.fromisoformat(order.dropped_on), date.fromisoformat(order.scans_on))
        for order in past
        if order.scans_on is not None and order.scans_on >= order.dropped_on
    )
    if len(taken) < ENOUGH_ORDERS:
        return None
    return LabRecord(
        orders=len(taken),
        median_days=math.ceil(statistics.median(taken)),
        late_days=taken[math.ceil(0.9 * len(taken)) - 1],  # nearest rank: an order that really was, no interpolation
    )


def open_days_between(lab: Lab, start: date, end: date) -> int:
    """Open days after `start` up to and with `end`."""
    return sum(is_open(lab, start + timedelta(days=count)) for count in range(1, (end - start).days + 1))


def expected_days(lab: Lab, record: LabRecord, drop_off: date) -> tuple[date, date]:
    """The days by which half, and nine in ten, of such orders have come."""
    return add_open_days(lab, drop_off, record.median_days), add_open_days(lab, drop_off, record.late_days)
