"""Invented labs and rolls for tests, small to write."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

from dryside.book.money import Money
from dryside.labs.lab import Developing, Lab, Printing, Rush, Scanning
from dryside.labs.rolls import RollWish

QUAY = """\
name = "Quay Street Film"
currency = "EUR"
country = "PT"
closed = ["Sunday", "Monday"]
closed_dates = [2026-12-24]
holds_negatives_days = 60
prices_as_of = 2026-09-01
minimum_order = "0.00"
postage = "0.00"

[[develop]]
process = "c41"
formats = ["135", "120"]
price = "7.00"
push_per_stop = "2.50"
working_days = 1
hand_days = []

[[scan]]
name = "standard"
long_edge_px = 3000
price = "5.00"

[[print]]
size = "4R"
price = "0.50"
"""

TERN = """\
name = "Tern & Daughter"
currency = "EUR"
country = "PT"
closed = ["Saturday", "Sunday"]
holds_negatives_days = 90
scans_kept_days = 30
prices_as_of = 2026-08-01
minimum_order = "20.00"
postage = "4.50"
machine = "dip-and-dunk"

[[develop]]
process = "c41"
formats = ["135", "half"]
price = "5.00"
working_days = 5

[[develop]]
process = "bw"
formats = ["135", "120-6x6"]
price = "9.00"
push_per_stop = "3.00"
working_days = 2
hand_days = ["Wednesday"]

[[develop]]
process = "e6"
formats = ["135", "120"]
price = "12.00"
working_days = 3
hand_days = ["Tuesday", "Friday"]

[[scan]]
name = "standard"
price = "4.00"

[[print]]
size = "4R"
price = "0.40"

[[print]]
size = "8R"
price = "4.00"

[[rush]]
processes = ["c41"]
working_days = 1
price = "6.00"
"""


def euro(text: str | int) -> Money:
    return Money(Decimal(text), "EUR")


def make_lab(name: str = "Low Wharf", **changes) -> Lab:
    """A lab open every day of the year that takes C-41 in 135 for 7.00 and scans for 5.00."""
    fields = {
        "name": name,
        "currency": "EUR",
        "develop": (make_developing(),),
        "minimum_order": euro(0),
        "postage": euro(0),
        "scan": (Scanning("standard", 3000, euro(5)),),
        "print": (Printing("4R", euro("0.50")),),
        "rush": (Rush(("c41",), 0, euro(4)),),
        "prices_as_of": date(2026, 8, 1),
    }
    return Lab(**fields | changes)


def make_developing(**changes) -> Developing:
    fields = {
        "process": "c41",
        "formats": ("135",),
        "price": euro(7),
        "push_per_stop": euro("2.50"),
        "working_days": 1,
        "hand_days": frozenset(),
    }
    return Developing(**fields | changes)


def make_wish(roll: str = "A1", **changes) -> RollWish:
    fields = {"process": "c41", "format": "135", "push_stops": Fraction(0), "scan": None}
    return RollWish(roll=roll, **fields | changes)
