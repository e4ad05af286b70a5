"""The order sheet: what a lab's counter gets with the rolls, so that nothing can be misread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from dryside.paper.codes import qr_svg
from dryside.paper.typeset import PAGES, typeset


@dataclass(frozen=True)
class SheetRoll:
    """A roll's line. Everything is text as it shall be read, money with two digits and no currency.

    Attributes
    ----------
    code : str
        What stands on the roll.
    warnings : tuple of str
        Printed white on black: PUSH +1, ECN-2, DO NOT CUT.
    instructions : str
        In the person's own words.
    amount : str
        What the roll comes to; empty where no price shall be shown.
    own : str
        Its owner's own number of it.
    """

    code: str
    film: str
    format: str
    process: str
    push: str = ""
    scan: str = ""
    prints: str = ""
    returns: str = ""
    owner: str = ""
    warnings: tuple[str, ...] = ()
    instructions: str = ""
    amount: str = ""
    own: str = ""


@dataclass(frozen=True)
class OrderSheet:
    """One order on paper.

    Attributes
    ----------
    order : str
        Its number, also as a QR code; empty before it is recorded.
    lab : tuple of str
        The lab's name, then address, phone, hours: a line each.
    contact : tuple of str
        The customer's name, phone and so on, a line each; empty where she chose not to print them.
    fees, owners : tuple of (str, str)
        Words and amount.
    notes : tuple of str
        Sentences under the table: how film comes back, how old the prices are.
    """

    order: str
    lab: tuple[str, ...]
    drop_off: date
    ready: date | None
    rolls: tuple[SheetRoll, ...]
    currency: str
    contact: tuple[str, ...] = ()
    fees: tuple[tuple[str, str], ...] = ()
    owners: tuple[tuple[str, str], ...] = ()
    total: str = ""
    notes: tuple[str, ...] = ()
    only_owner: str = ""


def order_sheet(sheet: OrderSheet, *, page: str = "a4", templates: Path | None = None) -> bytes:
    """Print an order sheet, in black only.

    Parameters
    ----------
    page : str, optional
        ``"a4"`` or ``"letter"``.
    templates : Path, optional
        A folder with a person's own ``order-sheet.typ``.

    Returns
    -------
    bytes
        PDF/A; more than one page where there are many rolls, each with the order's number and its own.

    Raises
    ------
    ValueError
        If `page` is neither.
    Refusal
        If an own template does not compile.
    """
    if page not in PAGES:
        raise ValueError(f"page is {page!r}; it must be a4 or letter")
    data = asdict(sheet) | {"page": page, "made_on": sheet.drop_off, "title": _title(sheet)}
    data["drop_off"], data["ready"] = _day(sheet.drop_off), _day(sheet.ready) if sheet.ready else ""
    data["has_push"] = any(roll.push for roll in sheet.rolls)
    data["has_owner"] = len({roll.owner for roll in sheet.rolls}) > 1
    data["has_prices"] = any(roll.amount for roll in sheet.rolls)
    data["has_film"] = any(roll.film for roll in sheet.rolls)
    images = {"order.svg": qr_svg(sheet.order)} if sheet.order else {}
    return typeset("order-sheet", data, images=images, templates=templates)


def order_sheets(sheets: Sequence[OrderSheet], *, page: str = "a4", templates: Path | None = None) -> list[bytes]:
    """A sheet for each order or owner."""
    return [order_sheet(sheet, page=page, templates=templates) for sheet in sheets]


def _title(sheet: OrderSheet) -> str:
    return " ".join(part for part in ("Film order", sheet.order, sheet.lab[0]) if part)


def _day(day: date) -> str:
    """A day that nobody reads the wrong way round: Tue 29 September 2026."""
    return f"{day:%a} {day.day} {day:%B %Y}"
