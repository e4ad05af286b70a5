"""Rolls of the book that wait for a lab, and what each shall have done.

A roll's wish (scan, prints, need-by day, how its film comes back) is kept in the book's settings under `wish/` and the
roll's row number until the roll is handed in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from dryside.book.journey import RollState
from dryside.book.people import list_people
from dryside.book.rolls import RollRow, list_rolls, names_of
from dryside.book.schema import settings
from dryside.book.stocks import StockRow, list_stocks
from dryside.film.nearest import in_words
from dryside.film.refusal import Refusal
from dryside.labs.lab import RETURNS
from dryside.labs.rolls import RollWish, parse_prints

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Wish:
    """What a roll of the book shall have done, besides what the roll itself says (process, push, apart).

    Attributes
    ----------
    scan : str or None
        Name of the scan; None: none wanted, or not said yet.
    returns : str or None
        How its film shall come back: strips, uncut or sleeved.
    clip_test : bool
        Whether a piece of the film shall be developed first.
    instructions : str or None
        For the order sheet, in the person's own words.
    """

    scan: str | None = None
    prints: tuple[tuple[str, int], ...] = ()
    need_by: date | None = None
    rush: bool = False
    returns: str | None = None
    clip_test: bool = False
    instructions: str | None = None


@dataclass(frozen=True)
class WaitingRoll:
    """A roll, its stock if known, its owner's name, its wish, and the owner's own numbers of it."""

    roll: RollRow
    stock: StockRow | None
    owner: str | None
    wish: Wish = field(default_factory=Wish)
    own_names: tuple[str, ...] = ()

    def as_wish(self) -> RollWish:
        """As the plan takes it."""
        return RollWish(
            roll=self.roll.code,
            process=self.roll.process,
            format=self.roll.format,
            push_stops=Fraction(self.roll.push_stops).limit_denominator(6),
            scan=self.wish.scan,
            prints=self.wish.prints,
            need_by=self.wish.need_by,
            owner=self.owner,
            rush=self.wish.rush,
            apart=frozenset((self.roll.irreplaceable or "").casefold().split()),
            stock=None if self.stock is None else self.stock.name,
        )


def waiting_rolls(conn: Connection) -> tuple[WaitingRoll, ...]:
    """Exposed rolls that are at no lab yet, by code."""
    return describe_rolls(conn, list_rolls(conn, states=[RollState.EXPOSED]))


def waiting_wishes(conn: Connection) -> tuple[RollWish, ...]:
    """The same as the plan takes them."""
    return tuple(one.as_wish() for one in waiting_rolls(conn))


def describe_rolls(conn: Connection, rolls: Sequence[RollRow]) -> tuple[WaitingRoll, ...]:
    """Rolls with their stocks, owners and wishes."""
    stocks = {stock.id: stock for stock in list_stocks(conn)}
    names = {person.id: person.name for person in list_people(conn)}
    return tuple(
        WaitingRoll(
            roll,
            stocks.get(roll.stock_id) if roll.stock_id is not None else None,
            names.get(roll.owner_id) if roll.owner_id is not None else None,
            get_wish(conn, roll.id),
            tuple(names_of(conn, roll.id)),
        )
        for roll in rolls
    )


def get_wish(conn: Connection, roll_id: int) -> Wish:
    """What is wished for a roll; an empty wish where nothing was said."""
    from sqlalchemy import select

    value = conn.execute(select(settings.c.value).where(settings.c.name == _key(roll_id))).scalar_one_or_none()
    return Wish() if value is None else _from_plain(value)


def set_wish(conn: Connection, roll_id: int, wish: Wish) -> None:
    """Keep what is wished for a roll, instead of what was.

    Raises
    ------
    Refusal
        If `returns` is none of strips, uncut, sleeved.
    """
    if wish.returns is not None and wish.returns not in RETURNS:
        raise Refusal(f"returns {wish.returns}", f"film comes back {in_words(RETURNS)}", "Name one of them.")
    conn.execute(settings.delete().where(settings.c.name == _key(roll_id)))
    if wish != Wish():
        conn.execute(settings.insert().values(name=_key(roll_id), value=_to_plain(wish)))


def _key(roll_id: int) -> str:
    return f"wish/{roll_id}"


def _to_plain(wish: Wish) -> dict[str, Any]:
    return {
        "scan": wish.scan,
        "prints": ";".join(f"{size}:{copies}" for size, copies in wish.prints),
        "need_by": None if wish.need_by is None else wish.need_by.isoformat(),
        "rush": wish.rush,
        "returns": wish.returns,
        "clip_test": wish.clip_test,
        "instructions": wish.instructions,
    }


def _from_plain(value: dict[str, Any]) -> Wish:
    return Wish(
        scan=value.get("scan"),
        prints=parse_prints(value.get("prints") or ""),
        need_by=date.fromisoformat(value["need_by"]) if value.get("need_by") else None,
        rush=bool(value.get("rush")),
        returns=value.get("returns"),
        clip_test=bool(value.get("clip_test")),
        instructions=value.get("instructions"),
    )
