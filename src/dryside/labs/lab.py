"""What a lab is to Dryside: what it takes, what it asks for it, and when it is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dryside.book.money import Money

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""As `date.weekday` counts them."""

MACHINES = ("roller", "dip-and-dunk", "rotary", "by hand")
RETURNS = ("strips", "uncut", "sleeved")
OLD_AFTER_DAYS = 180
"""A price list older than this is flagged beside each of its figures."""


@dataclass(frozen=True)
class Developing:
    """One line of a lab's list: a process in some formats.

    Attributes
    ----------
    process : str
        `c41`, `ecn2`, `bw` or `e6`.
    formats : tuple of str
        As `film.formats.covers` compares them.
    price : Money
        For one roll.
    push_per_stop : Money or None
        For each stop of push or pull; None where neither is done.
    working_days : int
        Open days from developing to ready, 0 or more.
    hand_days : frozenset of int
        Weekdays (Monday 0) on which this is developed; empty: every open day.
    """

    process: str
    formats: tuple[str, ...]
    price: Money
    push_per_stop: Money | None
    working_days: int
    hand_days: frozenset[int]


@dataclass(frozen=True)
class Scanning:
    """Scans of a roll, asked for by `name`; `long_edge_px` is None where the lab does not say."""

    name: str
    long_edge_px: int | None
    price: Money


@dataclass(frozen=True)
class Printing:
    """One print of a size as `film.printsizes` or the lab names it."""

    size: str
    price: Money


@dataclass(frozen=True)
class Rush:
    """Sooner for more money: `working_days` instead of the usual ones, `price` per roll on top."""

    processes: tuple[str, ...]
    working_days: int
    price: Money


@dataclass(frozen=True)
class Lab:
    """A lab as one price list describes it.

    Attributes
    ----------
    country, subdivision : str or None
        ISO 3166-1 and the part after the hyphen of ISO 3166-2; their public holidays are closed days.
    closed : frozenset of int
        Weekdays it is closed, Monday 0.
    holds_negatives_days, scans_kept_days : int or None
        How long, from ready, negatives wait to be fetched and scans can be downloaded; None where it does not say.
    minimum_order, postage : Money
        Per order.
    """

    name: str
    currency: str
    develop: tuple[Developing, ...]
    minimum_order: Money
    postage: Money
    scan: tuple[Scanning, ...] = ()
    print: tuple[Printing, ...] = ()
    rush: tuple[Rush, ...] = ()
    country: str | None = None
    subdivision: str | None = None
    closed: frozenset[int] = frozenset()
    closed_dates: frozenset[date] = frozenset()
    holds_negatives_days: int | None = None
    scans_kept_days: int | None = None
    prices_as_of: date | None = None
    machine: tuple[str, ...] = ()
    returns: tuple[str, ...] = ()
    returns_minimum_rolls: int | None = None
    address: str | None = None
    phone: str | None = None
    web: str | None = None
    hours: str | None = None
    notes: str | None = None

    def prices_are_old(self, day: date) -> bool:
        """Whether the list is more than `OLD_AFTER_DAYS` old on `day`, or does not say how old it is."""
        return self.prices_as_of is None or (day - self.prices_as_of).days > OLD_AFTER_DAYS
