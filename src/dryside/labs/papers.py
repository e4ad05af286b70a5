"""Order sheets and labels of an order, drawn up from the book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryside.book.money import Money, total
from dryside.book.people import PersonRow
from dryside.film.processes import process_name
from dryside.film.speed import format_push
from dryside.labs.lab import Lab
from dryside.labs.planning import PlannedOrder, PlannedRoll
from dryside.labs.waiting import WaitingRoll, Wish
from dryside.paper.order_sheet import OrderSheet, SheetRoll, order_sheet
from dryside.paper.roll_labels import (
    PLAIN_A4,
    PLAIN_LETTER,
    TWIN_A4,
    TWIN_LETTER,
    LabelGrid,
    RollLabel,
    roll_labels,
)

CONTACT_PARTS = ("name", "phone", "email", "address")
"""What of a person can be printed; nothing is unless she asks for it."""


@dataclass(frozen=True)
class PaperChoices:
    """How the papers of an order are made.

    Attributes
    ----------
    page : str
        ``"a4"`` or ``"letter"``.
    contact : tuple of str
        Which of `CONTACT_PARTS` of the keeper are printed.
    per_owner : bool
        A sheet for each owner besides the whole.
    prices : bool
        Whether the estimate is printed.
    grid : LabelGrid or None
        Of a sticker sheet; None: plain paper with cut marks.
    skip : int
        Stickers already used on the first sheet.
    twin : bool
        Labels twice: for the roll and for the bag.
    templates : Path or None
        A person's own templates.
    """

    page: str = "a4"
    contact: tuple[str, ...] = ()
    per_owner: bool = False
    prices: bool = True
    grid: LabelGrid | None = None
    skip: int = 0
    twin: bool = False
    templates: Path | None = None


def order_papers(
    order: PlannedOrder,
    rolls: Sequence[WaitingRoll],
    choices: PaperChoices,
    *,
    keeper: PersonRow | None = None,
    number: str = "",
) -> dict[str, bytes]:
    """All papers of an order by file name: the sheet, a sheet for each owner if chosen, the labels.

    Parameters
    ----------
    order : PlannedOrder
    rolls : sequence of WaitingRoll
        The book's rolls by whose codes the order names them; a roll that is not among them prints what its wish says.
    keeper : PersonRow, optional
        Whose contact details are printed, where they are chosen.
    number : str, optional
        The order's number, once it has one.
    """
    by_code = {one.roll.code: one for one in rolls}
    name = f"{number or 'order'}-{_slug(order.lab.name)}-{order.drop_off.isoformat()}"
    contact = _contact(keeper, choices.contact)
    sheet = draw_up_sheet(order, by_code, contact=contact, number=number, prices=choices.prices)
    papers = {f"{name}.pdf": order_sheet(sheet, page=choices.page, templates=choices.templates)}
    owners = sorted({one.wish.owner or "" for one in order.rolls})
    if choices.per_owner and len(owners) > 1:
        for owner in owners:
            part = draw_up_sheet(
                order, by_code, contact=contact, number=number, prices=choices.prices, only_owner=owner
            )
            pdf = order_sheet(part, page=choices.page, templates=choices.templates)
            papers[f"{name}-{_slug(owner) or 'nobody'}.pdf"] = pdf
    labels = [_label(one, by_code.get(one.wish.roll)) for one in order.rolls]
    papers[f"{name}-labels.pdf"] = roll_labels(
        labels,
        choices.grid or _plain_grid(choices),
        twin=choices.twin,
        skip=choices.skip,
        made_on=order.drop_off,
        templates=choices.templates,
    )
    return papers


def draw_up_sheet(
    order: PlannedOrder,
    rolls: Mapping[str, WaitingRoll],
    *,
    contact: tuple[str, ...] = (),
    number: str = "",
    prices: bool = True,
    only_owner: str | None = None,
) -> OrderSheet:
    """The order sheet as data; `only_owner` narrows it to one owner's rolls and her part of the fees."""
    kept = [one for one in order.rolls if only_owner is None or (one.wish.owner or "") == only_owner]
    owed = draft_shares(order)
    fees = [(line.detail, str(line.amount.amount)) for line in order.fees]
    whole = order.total
    if only_owner is not None:
        own = total((one.offer.price for one in kept), whole.currency)
        shared = owed[only_owner] - own
        fees = [("part of the fees", str(shared.amount))] if shared else []
        whole = owed[only_owner]
    return OrderSheet(
        order=number,
        lab=tuple(row for row in (order.lab.name, order.lab.address, order.lab.phone, order.lab.hours) if row),
        drop_off=order.drop_off,
        ready=order.ready,
        rolls=tuple(_sheet_roll(one, rolls.get(one.wish.roll), prices=prices) for one in kept),
        currency=whole.currency,
        contact=contact,
        fees=tuple(fees) if prices else (),
        owners=tuple((name or "nobody", str(amount.amount)) for name, amount in owed.items())
        if prices and only_owner is None
        else (),
        total=str(whole.amount) if prices else "",
        notes=_notes(order, prices=prices),
        only_owner=only_owner or "",
    )


def draft_shares(order: PlannedOrder) -> dict[str, Money]:
    """What each owner owes of an order not yet made, by name; fees are divided without losing a coin."""
    own: dict[str, Money] = {}
    for one in order.rolls:
        name = one.wish.owner or ""
        own[name] = own.get(name, Money.zero(order.total.currency)) + one.offer.price
    fees = total((line.amount for line in order.fees), order.total.currency)
    names = sorted(own)
    parts = fees.split([own[name].amount for name in names])
    return {name: own[name] + part for name, part in zip(names, parts, strict=True)}


def big_warnings(one: PlannedRoll, waiting: WaitingRoll | None) -> tuple[str, ...]:
    """What must not be overlooked, in capitals, the costliest mistakes first."""
    wish = Wish() if waiting is None else waiting.wish
    found = []
    if one.wish.process == "ecn2":
        found.append("ECN-2: NOT C-41")
    if waiting is not None and waiting.roll.cross_process:
        found.append(f"CROSS-PROCESS IN {process_name(one.wish.process)}")
    if one.wish.push_stops:
        found.append(f"{'PUSH' if one.wish.push_stops > 0 else 'PULL'} {format_push(one.wish.push_stops)}")
    if wish.clip_test:
        found.append("CLIP TEST")
    if wish.returns == "uncut":
        found.append("DO NOT CUT, RETURN UNCUT")
    if wish.returns == "sleeved":
        found.append("SLEEVE")
    if one.wish.rush:
        found.append("RUSH")
    return tuple(found)


def _sheet_roll(one: PlannedRoll, waiting: WaitingRoll | None, *, prices: bool) -> SheetRoll:
    wish = Wish() if waiting is None else waiting.wish
    film = one.wish.stock or ""
    if waiting is not None and waiting.stock is not None:
        film = waiting.stock.name
    push = format_push(one.wish.push_stops) if one.wish.push_stops else ""
    return SheetRoll(
        code=one.wish.roll,
        film=film,
        format=one.wish.format,
        process=f"{process_name(one.wish.process)} {push}".strip(),
        push=push,
        scan=one.wish.scan or "none",
        prints=", ".join(f"{copies} × {size}" for size, copies in one.wish.prints),
        returns=wish.returns or "",
        owner=one.wish.owner or "",
        warnings=big_warnings(one, waiting),
        instructions=wish.instructions or "",
        amount=str(one.offer.price.amount) if prices else "",
        own=", ".join(waiting.own_names) if waiting is not None else "",
    )


def _notes(order: PlannedOrder, *, prices: bool) -> tuple[str, ...]:
    lab: Lab = order.lab
    notes = []
    if lab.holds_negatives_days is not None:
        notes.append(f"By your terms negatives are kept for {lab.holds_negatives_days} days; they will be fetched.")
    if prices and lab.prices_as_of is not None:
        age = (order.drop_off - lab.prices_as_of).days
        old = f", {age} days old: please check" if lab.prices_are_old(order.drop_off) else ""
        notes.append(f"Estimate by the price list of {lab.prices_as_of}{old}.")
    return tuple(notes)


def _label(one: PlannedRoll, waiting: WaitingRoll | None) -> RollLabel:
    push = format_push(one.wish.push_stops) if one.wish.push_stops else ""
    film = waiting.stock.name if waiting is not None and waiting.stock is not None else one.wish.stock
    own = ", ".join(waiting.own_names) if waiting is not None else ""
    lines = tuple(line for line in (own, film, one.wish.format, one.wish.owner) if line)
    process = f"{process_name(one.wish.process)} {push}".strip()
    return RollLabel(one.wish.roll, process, lines, big_warnings(one, waiting))


def _plain_grid(choices: PaperChoices) -> LabelGrid:
    if choices.twin:
        return TWIN_A4 if choices.page == "a4" else TWIN_LETTER
    return PLAIN_A4 if choices.page == "a4" else PLAIN_LETTER


def _contact(keeper: PersonRow | None, parts: Sequence[str]) -> tuple[str, ...]:
    if keeper is None:
        return ()
    found = {"name": keeper.name, "phone": keeper.phone, "email": keeper.email, "address": keeper.address}
    return tuple(text for part in CONTACT_PARTS if part in parts and (text := found[part]))


def _slug(text: str) -> str:
    """A file name's part: letters and digits of any script, the rest a hyphen."""
    words = "".join(sign if sign.isalnum() else " " for sign in text.casefold()).split()
    return "-".join(words)[:60]
