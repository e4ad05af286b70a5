"""A book with orders of known prices, for the tests of this room."""

from datetime import date
from decimal import Decimal

import pytest

from dryside.book.frames import add_frames
from dryside.book.journey import RollState
from dryside.book.people import add_person
from dryside.book.rolls import add_roll
from dryside.book.rows import insert
from dryside.book.schema import developments, labs, order_lines, orders, stocks


@pytest.fixture
def ledger(book):
    """Functions that write labs' orders, rolls with frames, and developments into the book."""
    return Ledger(book)


class Ledger:
    """Writes what the tests need, by name."""

    def __init__(self, book):
        self.book = book
        self._ids = {}

    def lab(self, name):
        return self._once(("lab", name), lambda conn: insert(conn, labs, {"name": name, "active": True}))

    def person(self, name):
        return self._once(("person", name), lambda conn: add_person(conn, name).id)

    def stock(self, name):
        values = {"name": name, "process": "c41", "kind": "colour negative", "iso": 200}
        return self._once(("stock", name), lambda conn: insert(conn, stocks, values))

    def _once(self, key, make):
        if key not in self._ids:
            with self.book.write() as conn:
                self._ids[key] = make(conn)
        return self._ids[key]

    def roll(self, *, process="c41", owner=None, stock=None, ratings=(), day="2026-05-01"):
        owner_id = self.person(owner) if owner else None
        stock_id = self.stock(stock) if stock else None
        with self.book.write() as conn:
            roll = add_roll(conn, film_format="135", process=process, on=date.fromisoformat(day), owner_id=owner_id,
                            stock_id=stock_id, state=RollState.NEGATIVES_BACK)  # fmt: skip
            rows = [
                {"roll_id": roll.id, "position": n, "label": str(n + 1), "blank": rating == "blank"}
                | {"rating": None if rating == "blank" else rating}
                for n, rating in enumerate(ratings)
            ]
            add_frames(conn, rows)
            return roll

    def order(
        self,
        lab,
        lines,
        *,
        paid=None,
        paid_on=None,
        dropped="2026-05-10",
        ready=None,
        real=None,
        scans=None,
        currency="EUR",
    ):
        """Lines are (roll or None, service, estimate, amount on the receipt or None)."""
        lab_id = self.lab(lab)
        with self.book.write() as conn:
            number = f"O26-{len(conn.execute(orders.select()).all()) + 1:03}"
            values = {
                "lab_id": lab_id,
                "number": number,
                "dropped_on": dropped,
                "ready_on": ready,
                "ready_real_on": real,
                "scans_on": scans,
                "estimate": str(sum(Decimal(line[2]) for line in lines)),
                "paid": paid,
                "paid_on": paid_on,
                "currency": currency,
            }
            order_id = insert(conn, orders, values)
            for roll, service, estimated, amount in lines:
                insert(conn, order_lines, {"order_id": order_id, "roll_id": roll.id if roll else None,
                                           "owner_id": roll.owner_id if roll else None, "service": service,
                                           "estimate": estimated, "amount": amount})  # fmt: skip
            return number

    def development(self, roll, day, **values):
        with self.book.write() as conn:
            insert(conn, developments, {"roll_id": roll.id, "measured_on": day, **values})
