"""What a print costs at each lab. Prices come as plain data, so that this room knows nothing of labs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from dryside.film.printsizes import PrintSize, print_size, same_size
from dryside.film.refusal import Refusal


@dataclass(frozen=True)
class ListedPrice:
    """One line of a lab's list: the size as the lab writes it, and the price of one print."""

    lab: str
    size: str
    price: Decimal
    currency: str


@dataclass(frozen=True)
class PrintPrice:
    """What `copies` prints cost at a lab; `listed_as` is the lab's own name of the size."""

    lab: str
    listed_as: str
    copies: int
    each: Decimal
    total: Decimal
    currency: str


def prices_of(size: PrintSize, copies: int, listed: Iterable[ListedPrice]) -> tuple[PrintPrice, ...]:
    """The price at each lab that sells the size, by currency and then the cheapest first.

    A lab that lists one size twice under two names (4R and 10x15cm) gives the cheaper.

    Raises
    ------
    ValueError
        If `copies` is below 1.
    """
    if copies < 1:
        raise ValueError(f"copies is {copies}; it must be 1 or more")
    best: dict[str, PrintPrice] = {}
    for line in listed:
        if _is(line.size, size):
            price = PrintPrice(line.lab, line.size, copies, line.price, line.price * copies, line.currency)
            known = best.get(line.lab)
            best[line.lab] = price if known is None or price.each < known.each else known
    return tuple(sorted(best.values(), key=lambda price: (price.currency, price.total, price.lab)))


def _is(written: str, size: PrintSize) -> bool:
    """Whether the lab's word means the size; a word that is no size here (a photo book) is none of ours."""
    try:
        return same_size(print_size(written), size)
    except Refusal:
        return False


@dataclass(frozen=True)
class OrderPrice:
    """What a whole order costs at one lab; `not_sold` names the sizes it does not print."""

    lab: str
    total: Decimal
    currency: str
    not_sold: tuple[str, ...]


def order_prices(wanted: Iterable[tuple[PrintSize, int]], listed: Iterable[ListedPrice]) -> tuple[OrderPrice, ...]:
    """The total of an order (sizes with copies) at each lab that sells any of it; whole orders first."""
    lines, prices = list(wanted), list(listed)
    found: dict[tuple[str, str], list[PrintPrice]] = {}
    for size, copies in lines:
        for price in prices_of(size, copies, prices):
            found.setdefault((price.lab, price.currency), []).append(price)
    totals = []
    for (lab, currency), sold in found.items():
        names = [
            size.name for size, copies in lines if not any(one.lab == lab for one in prices_of(size, copies, prices))
        ]
        totals.append(OrderPrice(lab, sum((one.total for one in sold), Decimal(0)), currency, tuple(names)))
    return tuple(sorted(totals, key=lambda one: (len(one.not_sold), one.currency, one.total, one.lab)))
