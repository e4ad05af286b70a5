"""When a lab is open, and when what was handed in is ready."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from dryside.film.nearest import nearest_names
from dryside.labs.lab import Developing, Lab

_ONE_DAY = timedelta(days=1)
# A year and a half without an open day is no lab; keeps a wrong calendar from searching for ever.
_LONGEST_SEARCH_DAYS = 550


@dataclass(frozen=True)
class Readiness:
    """The days of one roll at one lab: handed in, developed, ready."""

    drop_off: date
    developed: date
    ready: date


def is_open(lab: Lab, day: date) -> bool:
    """Whether a lab is open: no closed weekday, no closed date, no public holiday where it stands."""
    if day.weekday() in lab.closed or day in lab.closed_dates:
        return False
    return not (lab.country and is_public_holiday(lab.country, lab.subdivision, day))


def first_open(lab: Lab, day: date) -> date:
    """The first open day on or after `day`.

    Raises
    ------
    ValueError
        If there is none within a year and a half.
    """
    return _first(day, lambda one: is_open(lab, one), lab)


def next_open(lab: Lab, day: date) -> date:
    """The first open day after `day` (ValueError as `first_open`)."""
    return first_open(lab, day + _ONE_DAY)


def add_open_days(lab: Lab, day: date, count: int) -> date:
    """The open day `count` open days after `day`; `day` itself for 0."""
    for _ in range(count):
        day = next_open(lab, day)
    return day


def readiness(lab: Lab, developing: Developing, drop_off: date, *, working_days: int | None = None) -> Readiness:
    """When a roll handed in on an open day is ready.

    Without hand days the film is developed on the day it is handed in; with hand days on the first of them that is
    open, strictly after it. Ready is `working_days` open days after that.

    Parameters
    ----------
    drop_off : date
        An open day.
    working_days : int, optional
        Instead of the usual ones (rush).
    """
    developed = drop_off
    if developing.hand_days:
        developed = _first(
            drop_off + _ONE_DAY, lambda one: one.weekday() in developing.hand_days and is_open(lab, one), lab
        )
    days = developing.working_days if working_days is None else working_days
    return Readiness(drop_off, developed, add_open_days(lab, developed, days))


def first_ready(
    lab: Lab, developings: Sequence[Developing], drop_off: date, *, working_days: int | None = None
) -> Readiness:
    """`readiness` by whichever of several lines of one price is ready first."""
    days = (readiness(lab, one, drop_off, working_days=working_days) for one in developings)
    return min(days, key=lambda one: (one.ready, one.developed))


def is_public_holiday(country: str, subdivision: str | None, day: date) -> bool:
    """Whether `day` is a public holiday in a country (and its part) that `check_country` allows."""
    return day in _holidays_of(country, subdivision, day.year)


@cache
def _holidays_of(country: str, subdivision: str | None, year: int) -> frozenset[date]:
    import holidays

    return frozenset(holidays.country_holidays(country, subdiv=subdivision, years=year))


def check_country(country: str, subdivision: str | None) -> tuple[str, str] | None:
    """What is wrong with a country or its part, and the remedy; None if its public holidays are known."""
    import holidays

    # Asked for one place, the library loads that country alone; its list of all of them would load every one.
    with suppress(NotImplementedError):
        holidays.country_holidays(country, subdiv=subdivision)
        return None
    supported = holidays.list_supported_countries()
    if country not in supported:
        near = nearest_names(country, sorted(supported))[0]
        return (
            f"no public holidays are known for country '{country}'",
            f"Write its two letters (did you mean {near}?), or leave country out and list them in closed_dates.",
        )
    parts = sorted(supported[country])
    near_parts = ", ".join(nearest_names(subdivision or "", parts, count=3))
    remedy = f"Near it: {near_parts}." if parts else f'Write country = "{country}" alone.'
    return f"no part '{subdivision}' of {country} has public holidays of its own", remedy


def never_open(hand_days: frozenset[int], closed: frozenset[int]) -> bool:
    """Whether hand days are named and the lab is closed on every one of them."""
    return bool(hand_days) and hand_days <= closed


def _first(day: date, is_wanted: Callable[[date], bool], lab: Lab) -> date:
    for offset in range(_LONGEST_SEARCH_DAYS):
        candidate = day + offset * _ONE_DAY
        if is_wanted(candidate):
            return candidate
    raise ValueError(f"'{lab.name}' has no such day within {_LONGEST_SEARCH_DAYS} days after {day}")
