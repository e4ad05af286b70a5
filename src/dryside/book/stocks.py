"""Film stocks and what lies on the shelf."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.instants import parse_day
from dryside.book.money import Money
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import shelf, stocks
from dryside.film.formats import parse_format
from dryside.film.processes import BASES, KINDS, OLD_PROCESSES, PROCESSES, REMJET, Stock
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy import Connection

KEPT = ("room", "cool", "cold", "frozen")


@dataclass(frozen=True)
class StockRow:
    """A film stock: how it is to be developed, its speed, its base."""

    id: int
    name: str
    process: str
    kind: str
    iso: int
    remjet: str
    base: str
    dx_part1: int | None
    dx_part2: int | None
    reciprocity: str | None
    notes: str | None


@dataclass(frozen=True)
class ShelfRow:
    """Unexposed rolls that lie together: one stock, format, price and expiry day."""

    id: int
    stock_id: int
    format: str
    exposures: int | None
    quantity: int
    bought_on: str | None
    expires_on: str | None
    price_each: str | None
    currency: str | None
    kept: str
    notes: str | None

    @property
    def worth(self) -> Money | None:
        """Quantity times price; None where the price is not known."""
        if self.price_each is None or self.currency is None:
            return None
        return Money.parse(self.price_each, self.currency) * self.quantity


def add_stock(conn: Connection, name: str, *, process: str, kind: str, iso: int, **columns: Any) -> StockRow:
    """Add a stock; the same name again is refused.

    Raises
    ------
    Refusal
        If the name is empty or taken, process, kind, rem-jet or base is no such word, or the speed is not above 0.
    """
    name = name.strip()
    if not name:
        raise Refusal("stock", "the name is empty", "Give a name.")
    allowed = {"process": (*PROCESSES, *OLD_PROCESSES), "kind": KINDS, "remjet": REMJET, "base": BASES}
    for column, words in allowed.items():
        said = {"process": process, "kind": kind, **columns}.get(column)
        if said is not None and said not in words:
            raise Refusal(f"stock {name}", f"{column} {said!r} is none of {', '.join(words)}", "Write one of them.")
    if iso <= 0:
        raise Refusal(f"stock {name}", f"ISO {iso} is no film speed", "Write it like 400.")
    if _by_name(conn, name):
        raise Refusal(f"stock {name}", "already in this book", "Use another name.")
    return get_stock(
        conn, insert(conn, stocks, {"name": name, "process": process, "kind": kind, "iso": iso, **columns})
    )


def get_stock(conn: Connection, stock: int | str) -> StockRow:
    """A stock by id or name (any case).

    Raises
    ------
    NotFound
        If there is none.
    """
    row = fetch_one(conn, StockRow, stocks, stocks.c.id == stock) if isinstance(stock, int) else _by_name(conn, stock)
    names = ", ".join(known.name for known in list_stocks(conn)) or "none yet"
    return must_be(row, f"stock {stock}", f"In it: {names}.")


def find_stock(conn: Connection, name: str) -> StockRow | None:
    """The stock of that name (any case), if the book has it."""
    return _by_name(conn, name)


def list_stocks(conn: Connection) -> list[StockRow]:
    """Every stock, by name."""
    return fetch(conn, StockRow, stocks, order=(stocks.c.name,))


def update_stock(conn: Connection, stock_id: int, **changes: Any) -> StockRow:
    """Change a stock's columns."""
    update(conn, stocks, stock_id, changes)
    return get_stock(conn, stock_id)


def add_to_shelf(
    conn: Connection,
    stock: int | str,
    *,
    film_format: str,
    quantity: int,
    exposures: int | None = None,
    bought_on: str | None = None,
    expires_on: str | None = None,
    price_each: Money | None = None,
    kept: str = "room",
    notes: str | None = None,
) -> ShelfRow:
    """Put rolls on the shelf.

    Raises
    ------
    Refusal
        If the quantity is below 1, a day is none, or `kept` is none of room, cool, cold, frozen.
    NotFound
        If the stock is not in the book.
    """
    known = get_stock(conn, stock)
    if quantity < 1:
        raise Refusal(f"{quantity} rolls of {known.name}", "at least 1 is needed", "Give --quantity.")
    if kept not in KEPT:
        raise Refusal(f"kept {kept!r}", f"it is none of {', '.join(KEPT)}", "Name one: --kept.")
    for day in (bought_on, expires_on):
        if day is not None:
            parse_day(day)
    values = {
        "stock_id": known.id,
        "format": parse_format(film_format),
        "exposures": exposures,
        "quantity": quantity,
        "bought_on": bought_on,
        "expires_on": expires_on,
        "price_each": str(price_each.amount) if price_each else None,
        "currency": price_each.currency if price_each else None,
        "kept": kept,
        "notes": notes,
    }
    return get_shelf(conn, insert(conn, shelf, values))


def get_shelf(conn: Connection, shelf_id: int) -> ShelfRow:
    """One lot of the shelf.

    Raises
    ------
    NotFound
        If there is none.
    """
    return must_be(fetch_one(conn, ShelfRow, shelf, shelf.c.id == shelf_id), f"shelf lot {shelf_id}")


def list_shelf(conn: Connection, *, with_empty: bool = False) -> list[ShelfRow]:
    """Lots of the shelf, those that expire first first."""
    where = () if with_empty else (shelf.c.quantity > 0,)
    rows = fetch(conn, ShelfRow, shelf, *where)
    return sorted(rows, key=lambda row: (row.expires_on or "9999", row.id))


def take_from_shelf(conn: Connection, stock_id: int, film_format: str) -> ShelfRow | None:
    """Take one roll, from the lot that expires first; None if the shelf has none of it."""
    lots = [row for row in list_shelf(conn) if row.stock_id == stock_id and row.format == film_format]
    if not lots:
        return None
    update(conn, shelf, lots[0].id, {"quantity": lots[0].quantity - 1})
    return get_shelf(conn, lots[0].id)


def shelf_worth(conn: Connection) -> dict[str, Money]:
    """What the shelf is worth, by currency; lots without a price are left out."""
    worth: dict[str, Money] = {}
    for row in list_shelf(conn):
        if row.worth is not None:
            worth[row.worth.currency] = worth.get(row.worth.currency, Money.zero(row.worth.currency)) + row.worth
    return worth


def days_to_expiry(row: ShelfRow, today: date) -> int | None:
    """Days until the lot expires (negative: past it); None where no day is printed on it."""
    return None if row.expires_on is None else (parse_day(row.expires_on) - today).days


def _by_name(conn: Connection, name: str) -> StockRow | None:
    wanted = name.strip().casefold()
    return next((row for row in list_stocks(conn) if row.name.casefold() == wanted), None)


def film_stock(row: StockRow) -> Stock:
    """The stock as the rules of film know it."""
    dx_number = None if row.dx_part1 is None else f"{row.dx_part1}-{row.dx_part2 or 0}"
    return Stock(
        name=row.name,
        process=row.process,
        iso=row.iso,
        kind=row.kind,  # type: ignore[arg-type]  # checked by Stock itself
        remjet=row.remjet,  # type: ignore[arg-type]
        base=row.base,  # type: ignore[arg-type]
        dx_number=dx_number,
        reciprocity=row.reciprocity,
    )
