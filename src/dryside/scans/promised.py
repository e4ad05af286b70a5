"""What a scan tier promised: pixels on the long side, from the lab's price list as it stood when the order was made."""

from __future__ import annotations

import tomllib
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from dryside.book.schema import order_lines, orders, price_lists

if TYPE_CHECKING:
    from sqlalchemy import Connection


def promised_long_edge_px(conn: Connection, roll_id: int) -> int | None:
    """Pixels on the long side that the roll's latest order for scans promised.

    The order's line has the price, and the price list the tiers: the tier is the one of that price, or the only one.

    Returns
    -------
    int or None
        None where no scans were ordered, the tier cannot be told, or the lab does not say its pixels.
    """
    from sqlalchemy import select

    line = conn.execute(
        select(order_lines.c.estimate, order_lines.c.quantity, price_lists.c.toml)
        .join(orders, orders.c.id == order_lines.c.order_id)
        .join(price_lists, price_lists.c.id == orders.c.price_list_id)
        .where(order_lines.c.roll_id == roll_id, order_lines.c.service.like("scan%"))
        .order_by(orders.c.id.desc())
    ).first()
    if line is None:
        return None
    try:
        tiers = tomllib.loads(line.toml).get("scan", [])
        each = Decimal(line.estimate) / max(line.quantity, 1)
    except (tomllib.TOMLDecodeError, InvalidOperation):
        return None
    return _pixels(tiers, each)


def _pixels(tiers: list[dict[str, Any]], each: Decimal) -> int | None:
    fitting = [tier for tier in tiers if len(tiers) == 1 or _price(tier) == each]
    pixels = {tier.get("long_edge_px") for tier in fitting}
    found = pixels.pop() if len(pixels) == 1 else None
    return int(found) if found else None


def _price(tier: dict[str, Any]) -> Decimal | None:
    try:
        return Decimal(str(tier.get("price")))
    except InvalidOperation:
        return None
