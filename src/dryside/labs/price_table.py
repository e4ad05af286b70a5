"""Every roll at every lab: what it costs there and when it is ready, or why it is not taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dryside.labs.lab import Lab
from dryside.labs.offers import Offer, survey
from dryside.labs.rolls import RollWish


@dataclass(frozen=True)
class RollAtLab:
    """One roll at one lab, in the lab's own currency; `offer` is None where it is not taken, and `reasons` say why.

    `is_old` tells that the price list is more than 180 days old.
    """

    roll: str
    lab: str
    offer: Offer | None
    reasons: tuple[str, ...]
    is_old: bool


def price_table(labs: Sequence[Lab], wishes: Sequence[RollWish], start: date) -> tuple[RollAtLab, ...]:
    """Each roll at each lab on the lab's first open day, by roll, then lab; fees of orders are not in it."""
    found = []
    for lab in labs:
        ground = survey([lab], wishes, start, currency=lab.currency)
        old = lab.prices_are_old(start)
        for wish, offers in zip(ground.wishes, ground.offers, strict=True):
            found.append(RollAtLab(wish.roll, lab.name, offers[0], (), old))
        for refused in ground.refused:
            reasons = tuple(word for reason in refused.labs for word in reason.reasons)
            found.append(RollAtLab(refused.roll, lab.name, None, reasons, old))
    places = {wish.roll: number for number, wish in enumerate(wishes)}
    return tuple(sorted(found, key=lambda one: (places[one.roll], one.lab)))
