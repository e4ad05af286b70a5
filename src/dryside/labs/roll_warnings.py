"""Warnings that save a roll: what to know before it is handed over or put in the post."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from dryside.book.stocks import StockRow
from dryside.film.processes import BASES, KINDS, Stock, process_name, process_warnings
from dryside.labs.lab import Lab
from dryside.labs.waiting import WaitingRoll

LONG_EXPOSED_DAYS = 60
"""Exposed film ages faster than unexposed; change is seen from weeks on (maker's 'Storage and care', read)."""
_FAST_ISO = 800
# Countries south of the equator far enough to have their summer from December; the rest of the world counts as north.
_SOUTHERN = frozenset(
    ("AR", "AU", "BO", "BR", "CL", "FK", "LS", "MG", "MU", "MZ", "NA", "NC", "NZ", "PE", "PY", "RE", "SZ", "UY", "ZA",
     "ZM", "ZW")
)  # fmt: skip
_SUMMER = {False: (6, 7, 8, 9), True: (12, 1, 2, 3)}


@dataclass(frozen=True)
class RollWarning:
    """One thing to know of a roll.

    Attributes
    ----------
    roll : str
        Its code; empty for what concerns a whole order.
    code : str
        A stable word for programs: `rem-jet`, `push`, `unlabelled`, `long exposed`, `expired`, `heat`, `x-ray`, ...
    is_refusal : bool
        True if the roll must not go.
    text : str
        What is the matter and what to do, in sentences.
    """

    roll: str
    code: str
    is_refusal: bool
    text: str


def warnings_for(waiting: WaitingRoll, lab: Lab | None, day: date) -> tuple[RollWarning, ...]:
    """Everything to know of a roll before it goes, refusals first.

    Parameters
    ----------
    waiting : WaitingRoll
    lab : Lab or None
        Where it would go; None: not decided.
    day : date
        When it would go.
    """
    found = [*_of_stock(waiting), *_of_labelling(waiting), *_of_age(waiting, day)]
    if lab is not None:
        found += _of_machine(waiting, lab)
    return tuple(sorted(found, key=lambda one: not one.is_refusal))


def mail_warnings(rolls: tuple[WaitingRoll, ...], lab: Lab, day: date) -> tuple[RollWarning, ...]:
    """What to know before a parcel: heat on the way, X-ray machines. None for a lab that asks no postage."""
    if not lab.postage:
        return ()
    found = []
    if is_hot_season(lab.country, day):
        text = (
            "The post is hot at this time of year, a van or a letter box hotter. Send it early in the week, not over a"
            " week-end, insulated, and keep exposed film cool until then."
        )
        found.append(RollWarning("", "heat", False, text))
    fast = [one.roll.code for one in rolls if one.stock is not None and one.stock.iso >= _FAST_ISO]
    which = f", first of all {', '.join(fast)}" if fast else ""
    text = (
        f"Parcels may be X-rayed, by CT machines too, which fog undeveloped film{which}. Write 'Undeveloped film: do"
        " not X-ray' on it, send it overland where you can, or carry it there and ask for inspection by hand."
    )
    found.append(RollWarning("", "x-ray", False, text))
    return tuple(found)


def is_hot_season(country: str | None, day: date) -> bool:
    """Whether it is summer there; common practice, not a forecast."""
    return day.month in _SUMMER[country in _SOUTHERN]


def film_stock(row: StockRow) -> Stock:
    """A stock of the book as the film room knows stocks."""
    return Stock(
        name=row.name,
        process=row.process,
        iso=row.iso,
        kind=next((kind for kind in KINDS if kind == row.kind), KINDS[0]),
        remjet="yes" if row.remjet == "yes" else "no" if row.remjet == "no" else "unknown",
        base=next((base for base in BASES if base == row.base), "unknown"),
    )


def _of_stock(waiting: WaitingRoll) -> list[RollWarning]:
    if waiting.stock is None:
        return []
    roll = waiting.roll
    return [
        RollWarning(roll.code, one.code, one.is_refusal, one.text)
        for one in process_warnings(
            film_stock(waiting.stock),
            roll.process,
            push_stops=Fraction(roll.push_stops).limit_denominator(6),
            cross_process_asked=roll.cross_process,
        )
    ]


def _of_labelling(waiting: WaitingRoll) -> list[RollWarning]:
    if waiting.stock is not None:
        return []
    text = "Nothing says which film it is. Read it off the cassette or its backing paper, and label it."
    return [RollWarning(waiting.roll.code, "unlabelled", False, text)]


def _of_age(waiting: WaitingRoll, day: date) -> list[RollWarning]:
    found = []
    roll = waiting.roll
    if roll.exposed_on and (age := (day - date.fromisoformat(roll.exposed_on)).days) > LONG_EXPOSED_DAYS:
        text = f"Exposed {age} days ago: the latent image fades, colours shift. Hand it in soon; keep it cool."
        found.append(RollWarning(roll.code, "long exposed", False, text))
    if roll.expires_on and roll.expires_on < (roll.exposed_on or day.isoformat()):
        text = f"Its film expired on {roll.expires_on}. Tell the lab; a clip test is worth asking for."
        found.append(RollWarning(roll.code, "expired", False, text))
    return found


def _of_machine(waiting: WaitingRoll, lab: Lab) -> list[RollWarning]:
    if not waiting.roll.push_stops or lab.machine != ("roller",):
        return []
    line = process_name(waiting.roll.process)
    text = f"'{lab.name}' runs {line} on a roller line, whose times are fixed: ask whether a push is made there at all."
    return [RollWarning(waiting.roll.code, "roller push", False, text)]
