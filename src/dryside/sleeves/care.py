"""Care for what is kept: which binders hold acetate or nitrate-era film, and how standards say to store it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.schema import pages, rolls, stocks, strips
from dryside.film.processes import LAST_NITRATE_YEAR, Stock
from dryside.film.storage import (
    ACETATE_CAUTION,
    NITRATE_CAUTION,
    NITRATE_SIGNS,
    StorageAdvice,
    storage_advice,
    storage_material,
    warm_up_hours,
)
from dryside.sleeves.binders import BinderRow, list_binders

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class BinderCare:
    """What one binder holds, and what that asks for.

    Attributes
    ----------
    binder, shelf : str
        The binder, and where it stands.
    materials : tuple of str
        As `film.storage` names them, the most delicate first; empty for an empty binder whose base is not told.
    nitrate_rolls : tuple of str
        Codes of rolls that are, or by their year may be, nitrate.
    advice : tuple of StorageAdvice
        Temperature and humidity for the most delicate material, for as long as there is advice.
    cautions : tuple of str
        Dangers, in full words.
    """

    binder: str
    shelf: str
    materials: tuple[str, ...]
    nitrate_rolls: tuple[str, ...]
    advice: tuple[StorageAdvice, ...]
    cautions: tuple[str, ...]


# The most delicate first: a binder is kept for the worst of what is in it.
_DELICATE = ("nitrate or acetate holdings", "colour", "silver on acetate", "silver on polyester")
WARM_UP = (
    f"Film from a refrigerator warms up closed for {warm_up_hours(4):g} h, from a freezer for {warm_up_hours(-18):g} h "
    "or longer, before its bag is opened."
)


def care_of_binders(conn: Connection) -> list[BinderCare]:
    """Every binder with what it holds, those with nitrate-era film first."""
    found = [_care(conn, binder) for binder in list_binders(conn)]
    return sorted(found, key=lambda care: (not care.nitrate_rolls and not _is_nitrate(care), care.binder))


def _is_nitrate(care: BinderCare) -> bool:
    return NITRATE_CAUTION in care.cautions


def _care(conn: Connection, binder: BinderRow) -> BinderCare:
    rows = _rolls_in(conn, binder)
    nitrate = tuple(row.code for row in rows if _may_be_nitrate(row))
    materials = {_material(row) for row in rows}
    if binder.holds == "nitrate" or nitrate:
        materials.add("nitrate or acetate holdings")
    if not rows and binder.holds in ("acetate", "polyester"):
        materials.add(f"silver on {binder.holds}")
    ordered = tuple(material for material in _DELICATE if material in materials)
    cautions = []
    if "nitrate or acetate holdings" in materials:
        cautions += [NITRATE_CAUTION, NITRATE_SIGNS]
    if binder.holds != "polyester" and any(row.base in ("acetate", "unknown", None) for row in rows):
        cautions.append(ACETATE_CAUTION)
    advice = storage_advice(ordered[0]) if ordered else ()
    return BinderCare(binder.name, binder.place or "", ordered, nitrate, advice, tuple(cautions))


def _rolls_in(conn: Connection, binder: BinderRow) -> list[Any]:
    """Rolls with a strip in the binder, with what is known of their stock."""
    from sqlalchemy import select

    lying = select(strips.c.roll_id).select_from(strips.join(pages)).where(pages.c.binder_id == binder.id)
    columns = (
        rolls.c.code, rolls.c.process, rolls.c.loaded_on, rolls.c.exposed_on,
        stocks.c.name, stocks.c.kind, stocks.c.base, stocks.c.iso, stocks.c.process.label("made_for"),
    )  # fmt: skip
    query = select(*columns).select_from(rolls.outerjoin(stocks)).where(rolls.c.id.in_(lying)).order_by(rolls.c.code)
    return list(conn.execute(query))


def _may_be_nitrate(row: Any) -> bool:
    """Nitrate by the stock's base; or its base is not known and the roll was exposed while nitrate was still made."""
    if row.base not in (None, "unknown"):
        return bool(row.base == "nitrate")
    days = [day for day in (row.exposed_on, row.loaded_on) if day]
    return bool(days) and min(int(day[:4]) for day in days) <= LAST_NITRATE_YEAR


def _material(row: Any) -> str:
    if _may_be_nitrate(row):
        return "nitrate or acetate holdings"
    if row.name is None:
        return "silver on acetate" if row.process == "bw" else "colour"
    return storage_material(Stock(row.name, row.made_for, row.iso, row.kind, base=row.base))
