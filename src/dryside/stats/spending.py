"""Spending by month, lab, process, owner, roll; what a frame costs, or a kept one; unpaid; the shelf's worth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from dryside.book.money import Money
from dryside.book.schema import frames, labs, orders, shelf
from dryside.film.refusal import Refusal
from dryside.stats.charges import Charge

if TYPE_CHECKING:
    from sqlalchemy import Connection

By = Literal["month", "lab", "process", "owner", "roll", "service"]
KEPT_RATING = 3
"""A frame rated so or higher, or printed, is one that was kept."""
NOBODY = "(not told)"

_KEYS: Mapping[str, Callable[[Charge], str | None]] = {
    "month": lambda charge: charge.day[:7],
    "lab": lambda charge: charge.lab,
    "process": lambda charge: charge.process,
    "owner": lambda charge: charge.owner,
    "roll": lambda charge: charge.roll,
    "service": lambda charge: charge.service,
}
WAYS: tuple[str, ...] = tuple(_KEYS)


@dataclass(frozen=True)
class SpendingRow:
    """One line of a table: what it is about, and what it cost. Currencies are never added: each has its own row.

    `per_roll`, `per_frame` and `per_kept_frame` are None where there is none to divide by.
    """

    key: str
    total: Money
    unpaid: Money
    rolls: int
    frames: int
    kept_frames: int
    per_roll: Money | None
    per_frame: Money | None
    per_kept_frame: Money | None


@dataclass(frozen=True)
class FrameCounts:
    """Frames of a roll that are not blank, and those that were kept."""

    frames: int
    kept: int


def count_frames(conn: Connection) -> dict[int, FrameCounts]:
    """Frames and kept frames of every roll."""
    from sqlalchemy import case, func, select

    kept = case(((frames.c.rating >= KEPT_RATING) | frames.c.printed, 1), else_=0)
    query = (
        select(frames.c.roll_id, func.count(), func.sum(kept))
        .where(frames.c.blank.is_(False))
        .group_by(frames.c.roll_id)
    )
    return {roll_id: FrameCounts(count, int(good or 0)) for roll_id, count, good in conn.execute(query)}


def spending(charges: Iterable[Charge], counts: Mapping[int, FrameCounts], by: str) -> list[SpendingRow]:
    """A table of what was spent.

    Parameters
    ----------
    charges : iterable of Charge
        See `charges.list_charges`.
    counts : mapping
        See `count_frames`.
    by : str
        One of `WAYS`.

    Returns
    -------
    list of SpendingRow
        Months in order, else the dearest first; one row for each currency.

    Raises
    ------
    Refusal
        If `by` is none of them.
    """
    if by not in _KEYS:
        raise Refusal(f"--by {by}", "spending is not told so", f"Use one of: {', '.join(WAYS)}.")
    groups: dict[tuple[str, str], list[Charge]] = {}
    for charge in charges:
        groups.setdefault((_KEYS[by](charge) or NOBODY, charge.cost.currency), []).append(charge)
    rows = [_row(key, found, counts) for (key, _), found in groups.items()]
    if by in ("month", "roll"):
        return sorted(rows, key=lambda row: (row.key, row.total.currency))
    return sorted(rows, key=lambda row: (row.total.currency, -row.total.amount, row.key))


def whole(charges: Iterable[Charge], counts: Mapping[int, FrameCounts]) -> list[SpendingRow]:
    """The same over everything: one row for each currency."""
    groups: dict[str, list[Charge]] = {}
    for charge in charges:
        groups.setdefault(charge.cost.currency, []).append(charge)
    return [_row("all", found, counts) for _, found in sorted(groups.items())]


def _row(key: str, found: Sequence[Charge], counts: Mapping[int, FrameCounts]) -> SpendingRow:
    total = _sum(charge.cost for charge in found)
    unpaid = [charge.cost for charge in found if not charge.is_paid]
    ids = {charge.roll_id for charge in found if charge.roll_id is not None}
    counted = [counts.get(roll_id, FrameCounts(0, 0)) for roll_id in ids]
    taken, kept = sum(one.frames for one in counted), sum(one.kept for one in counted)
    return SpendingRow(
        key=key,
        total=total,
        unpaid=_sum(unpaid) if unpaid else Money.zero(total.currency),
        rolls=len(ids),
        frames=taken,
        kept_frames=kept,
        per_roll=_each(total, len(ids)),
        per_frame=_each(total, taken),
        per_kept_frame=_each(total, kept),
    )


def _sum(costs: Iterable[Money]) -> Money:
    first, *rest = costs
    return sum(rest, first)


def _each(total: Money, count: int) -> Money | None:
    return Money.rounded(total.amount / count, total.currency) if count else None


@dataclass(frozen=True)
class Unpaid:
    """An order that waits to be paid: its number, lab, day of drop-off and estimate."""

    order: str
    lab: str
    dropped_on: str
    estimate: Money


def list_unpaid(conn: Connection) -> list[Unpaid]:
    """Orders that are not paid yet, the oldest first."""
    from sqlalchemy import select

    columns = (orders.c.number, labs.c.name, orders.c.dropped_on, orders.c.estimate, orders.c.currency)
    query = select(*columns).select_from(orders.join(labs)).where(orders.c.paid.is_(None)).order_by(orders.c.dropped_on)
    return [
        Unpaid(row.number, row.name, row.dropped_on, Money.parse(row.estimate, row.currency))
        for row in conn.execute(query)
    ]


@dataclass(frozen=True)
class ShelfWorth:
    """Film on the shelf: rolls with a price, what they are worth in each currency, and rolls without a price."""

    worth: tuple[Money, ...]
    rolls: int
    without_price: int
    expired: int


def shelf_worth(conn: Connection, today: str) -> ShelfWorth:
    """What the unexposed film cost that is still there.

    Parameters
    ----------
    conn : Connection
        To read from.
    today : str
        Day, ISO 8601: film with an earlier expiry date counts as expired.
    """
    worth: dict[str, Money] = {}
    rolls = without = expired = 0
    for row in conn.execute(shelf.select().where(shelf.c.quantity > 0)):
        rolls += row.quantity
        expired += row.quantity if row.expires_on and row.expires_on < today else 0
        if row.price_each is None or row.currency is None:
            without += row.quantity
            continue
        cost = Money.parse(row.price_each, row.currency) * row.quantity
        worth[row.currency] = worth.get(row.currency, Money.zero(row.currency)) + cost
    return ShelfWorth(tuple(worth[code] for code in sorted(worth)), rolls, without, expired)


def as_data(row: SpendingRow) -> dict[str, Any]:
    """A row for JSON: money as amount and currency."""
    return {name: value.as_dict() if isinstance(value, Money) else value for name, value in vars(row).items()}
