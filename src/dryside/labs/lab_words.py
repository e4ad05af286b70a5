"""A lab as a person reads it, and as JSON holds it."""

from __future__ import annotations

from datetime import date
from typing import Any

from dryside.film.processes import process_name
from dryside.labs.lab import WEEKDAYS, Developing, Lab


def lab_rows(lab: Lab, day: date) -> list[tuple[str, str]]:
    """What to know of a lab, a row each: subject and words."""
    old = " †" if lab.prices_are_old(day) else ""
    rows: list[tuple[str, str | None]] = [("develop", _developing(one, lab.currency, old)) for one in lab.develop]
    for scan in lab.scan:
        edge = "" if scan.long_edge_px is None else f", {scan.long_edge_px} px"
        rows.append(("scan", f"{scan.name}{edge}: {scan.price}{old}"))
    rows += [("print", f"{one.size}: {one.price}{old}") for one in lab.print]
    for rush in lab.rush:
        names = ", ".join(process_name(process) for process in rush.processes)
        rows.append(("rush", f"{names}, {_days(rush.working_days)}: {rush.price}{old} more"))
    rows += [
        ("minimum order", f"{lab.minimum_order}{old}" if lab.minimum_order else None),
        ("postage", f"{lab.postage}{old}" if lab.postage else None),
        ("closed", ", ".join(WEEKDAYS[number] for number in sorted(lab.closed)) or None),
        ("closed on", ", ".join(one.isoformat() for one in sorted(lab.closed_dates)) or None),
        ("holidays of", "-".join(part for part in (lab.country, lab.subdivision) if part) or None),
        ("holds negatives", None if lab.holds_negatives_days is None else f"{lab.holds_negatives_days} days"),
        ("keeps scans", None if lab.scans_kept_days is None else f"{lab.scans_kept_days} days"),
        ("machine", ", ".join(lab.machine) or None),
        ("returns", ", ".join(lab.returns) or None),
        ("returns from", None if lab.returns_minimum_rolls is None else f"{lab.returns_minimum_rolls} rolls on"),
        ("prices as of", f"{lab.prices_as_of or 'no day said'}{old}"),
        ("address", lab.address),
        ("phone", lab.phone),
        ("web", lab.web),
        ("hours", lab.hours),
        ("notes", lab.notes),
    ]
    return [(subject, words) for subject, words in rows if words]


def lab_document(lab: Lab, day: date) -> dict[str, Any]:
    """The same as plain data, keys as in its file."""
    return {
        "name": lab.name,
        "currency": lab.currency,
        "country": lab.country,
        "subdivision": lab.subdivision,
        "closed": [WEEKDAYS[number] for number in sorted(lab.closed)],
        "closed_dates": [one.isoformat() for one in sorted(lab.closed_dates)],
        "holds_negatives_days": lab.holds_negatives_days,
        "scans_kept_days": lab.scans_kept_days,
        "prices_as_of": None if lab.prices_as_of is None else lab.prices_as_of.isoformat(),
        "prices_are_old": lab.prices_are_old(day),
        "minimum_order": str(lab.minimum_order.amount),
        "postage": str(lab.postage.amount),
        "develop": [
            {
                "process": one.process,
                "formats": list(one.formats),
                "price": str(one.price.amount),
                "push_per_stop": None if one.push_per_stop is None else str(one.push_per_stop.amount),
                "working_days": one.working_days,
                "hand_days": [WEEKDAYS[number] for number in sorted(one.hand_days)],
            }
            for one in lab.develop
        ],
        "scan": [
            {"name": one.name, "long_edge_px": one.long_edge_px, "price": str(one.price.amount)} for one in lab.scan
        ],
        "print": [{"size": one.size, "price": str(one.price.amount)} for one in lab.print],
        "rush": [
            {"processes": list(one.processes), "working_days": one.working_days, "price": str(one.price.amount)}
            for one in lab.rush
        ],
        "machine": list(lab.machine),
        "returns": list(lab.returns),
        "returns_minimum_rolls": lab.returns_minimum_rolls,
        "address": lab.address,
        "phone": lab.phone,
        "web": lab.web,
        "hours": lab.hours,
        "notes": lab.notes,
    }


def _developing(one: Developing, currency: str, old: str) -> str:
    push = "no push" if one.push_per_stop is None else f"push {one.push_per_stop.amount} a stop"
    by_hand = ", ".join(WEEKDAYS[number] for number in sorted(one.hand_days))
    hand = f", by hand on {by_hand}" if by_hand else ""
    formats = ", ".join(one.formats)
    price = f"{one.price.amount} {currency}{old}"
    return f"{process_name(one.process)} in {formats}: {price}, {push}, {_days(one.working_days)}{hand}"


def _days(count: int) -> str:
    return "the same day" if count == 0 else f"{count} open day{'s' if count > 1 else ''}"
