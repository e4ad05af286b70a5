"""What waits for the person herself, at her own table: doubts to decide, rolls to sleeve, film that runs out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.book.journey import RollState
from dryside.book.schema import rolls, scans, shelf

if TYPE_CHECKING:
    from sqlalchemy import Connection

FEW_ROLLS = 2
"""Unexposed rolls on the whole shelf at which film should be bought."""


@dataclass(frozen=True)
class Work:
    """Something to do; `kind` is `decide`, `sleeve` or `buy film`, `count` how many scans or rolls it is about."""

    kind: str
    count: int
    title: str
    detail: str


def work_at_home(conn: Connection) -> tuple[Work, ...]:
    """Everything that waits at the person's own table; nothing where all is done."""
    from sqlalchemy import func, select

    asked = int(conn.execute(select(func.count()).where(scans.c.state == "asked")).scalar_one())
    codes = [
        row.code
        for row in conn.execute(
            select(rolls.c.code).where(rolls.c.state == str(RollState.NEGATIVES_BACK)).order_by(rolls.c.id)
        )
    ]
    left = int(conn.execute(select(func.coalesce(func.sum(shelf.c.quantity), 0))).scalar_one())
    has_rolls = conn.execute(select(rolls.c.id).limit(1)).first() is not None
    found = []
    if asked:
        what = "One scan has" if asked == 1 else f"{asked} scans have"
        found.append(Work("decide", asked, f"{what} no sure frame", "Look at them side by side and say which it is."))
    if codes:
        what = "Sleeve 1 roll" if len(codes) == 1 else f"Sleeve {len(codes)} rolls"
        shown = ", ".join(codes[:4]) + (f" and {len(codes) - 4} more" if len(codes) > 4 else "")
        found.append(Work("sleeve", len(codes), what, f"{shown}. Loose negatives get scratched."))
    if has_rolls and left <= FEW_ROLLS:
        rest = "No roll is" if left == 0 else "1 roll is" if left == 1 else f"{left} rolls are"
        found.append(Work("buy film", left, "Buy film", f"{rest} left on the shelf."))
    return tuple(found)
