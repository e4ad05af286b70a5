"""What each roll cost: a receipt shared out over its lines to the last cent. The one source of spending figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.money import Money
from dryside.book.schema import labs, order_lines, orders, people, rolls

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Charge:
    """What one line of an order cost.

    Attributes
    ----------
    order : str
        Number of the order.
    day : str
        The day it was paid; not paid yet: the day of the drop-off. ISO 8601.
    lab : str
        The lab.
    roll_id, roll : int and str, or None
        The roll; None where an order has no roll to share a fee over.
    process : str or None
        Of the roll.
    owner : str or None
        Whose roll it is.
    service : str
        `develop`, `scan`, `print 4R`, `postage`...
    cost : Money
        Its share of what was paid; not paid yet: the estimate.
    is_paid : bool
        Whether the order was paid.
    """

    order: str
    day: str
    lab: str
    roll_id: int | None
    roll: str | None
    process: str | None
    owner: str | None
    service: str
    cost: Money
    is_paid: bool


def list_charges(conn: Connection, *, since: str | None = None, until: str | None = None) -> list[Charge]:
    """Every line of every order with its true cost, by day.

    Where the receipt gives a line's amount, that stands; what the receipt's total differs from the lines is shared over
    them in proportion. Fees of the whole order (postage, topping up to a minimum) are shared evenly over its rolls. The
    charges of a paid order add up to what was paid, exactly.

    Parameters
    ----------
    conn : Connection
        To read from.
    since, until : str, optional
        Days, ISO 8601, both included.
    """
    lines = _lines(conn)
    found: list[Charge] = []
    for order in _orders(conn):
        day = order.paid_on or order.dropped_on
        if (since is None or day >= since) and (until is None or day <= until):
            found += _charges_of(order, lines.get(order.id, []), day)
    return sorted(found, key=lambda charge: (charge.day, charge.order))


def _orders(conn: Connection) -> list[Any]:
    from sqlalchemy import select

    columns = (orders.c.id, orders.c.number, orders.c.dropped_on, orders.c.paid, orders.c.paid_on, orders.c.estimate,
               orders.c.currency, labs.c.name.label("lab"))  # fmt: skip
    return list(conn.execute(select(*columns).select_from(orders.join(labs)).order_by(orders.c.id)))


def _lines(conn: Connection) -> dict[int, list[Any]]:
    from sqlalchemy import select

    source = order_lines.outerjoin(rolls, rolls.c.id == order_lines.c.roll_id).outerjoin(
        people, people.c.id == order_lines.c.owner_id
    )
    columns = (order_lines.c.order_id, order_lines.c.roll_id, order_lines.c.service, order_lines.c.estimate,
               order_lines.c.amount, rolls.c.code, rolls.c.process, people.c.name.label("owner"))  # fmt: skip
    found: dict[int, list[Any]] = {}
    for row in conn.execute(select(*columns).select_from(source).order_by(order_lines.c.id)):
        found.setdefault(row.order_id, []).append(row)
    return found


def _charges_of(order: Any, lines: Sequence[Any], day: str) -> list[Charge]:
    paid = order.paid is not None
    total = Money.parse(order.paid if paid else order.estimate, order.currency)
    if not lines:
        return [Charge(order.number, day, order.lab, None, None, None, None, "order", total, paid)]
    known = [Money.parse(line.amount if line.amount is not None else line.estimate, order.currency) for line in lines]
    costs = _shared(total, known)
    first = {line.roll_id: line for line in lines if line.roll_id is not None}
    found = []
    for line, cost in zip(lines, costs, strict=True):
        bearers = [line] if line.roll_id is not None or not first else list(first.values())
        for bearer, share in zip(bearers, cost.split([1] * len(bearers)), strict=True):
            found.append(
                Charge(
                    order.number,
                    day,
                    order.lab,
                    bearer.roll_id,
                    bearer.code,
                    bearer.process,
                    bearer.owner,
                    line.service,
                    share,
                    paid,
                )
            )
    return found


def _shared(total: Money, known: Sequence[Money]) -> list[Money]:
    """The lines' costs so that they add up to the total: the difference in proportion to what they cost, or evenly."""
    rest = total - sum(known[1:], known[0])
    if not rest:
        return list(known)
    weights = [abs(one.amount) for one in known]
    shares = rest.split(weights if any(weights) else [1] * len(known))
    return [one + share for one, share in zip(known, shares, strict=True)]
