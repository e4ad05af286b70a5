"""Negatives that are out: lent, or at a lab for an enlargement; who has them since when, and when they are due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from dryside.book.instants import parse_day
from dryside.book.rolls import get_roll
from dryside.book.rows import fetch_one, must_be
from dryside.book.schema import binders, frame_strips, loans, pages, strips
from dryside.book.undoing import Ledger
from dryside.film.refusal import NotFound, Refusal
from dryside.sleeves.binders import BinderRow, PageRow, StripRow, find_page, strips_of_roll, strips_on_page

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.rolls import RollRow


@dataclass(frozen=True)
class Loan:
    """Something that is or was out.

    Attributes
    ----------
    id : int
        Number of the loan.
    what : str
        'strip 3 (frames 9 to 12) of roll 26-014-D' or 'page 4 of binder Harbour'.
    to_whom : str
        Who has it.
    why : str or None
        What for.
    lent_on, due_on, back_on : str or None
        Days, ISO 8601.
    """

    id: int
    what: str
    to_whom: str
    why: str | None
    lent_on: str
    due_on: str | None
    back_on: str | None

    def days_over(self, today: date) -> int:
        """Days past the day it was due; 0 where it is not, or is back."""
        if self.due_on is None or self.back_on is not None:
            return 0
        return max(0, (today - date.fromisoformat(self.due_on)).days)


def lend_strips(
    conn: Connection,
    roll: RollRow,
    chosen: Sequence[StripRow],
    to_whom: str,
    *,
    on: date,
    due_on: str | None = None,
    why: str | None = None,
) -> list[Loan]:
    """Note that strips of a roll were handed out.

    Raises
    ------
    NotFound
        If no strip is chosen.
    Refusal
        If one is out already, nobody is named, or it is due before it is lent.
    """
    if not chosen:
        raise NotFound(f"roll {roll.code}", "it has no strips to lend", "File it first: dryside sleeve file.")
    _check(to_whom, on, due_on)
    for strip in chosen:
        _refuse_if_out(conn, strip)
    ledger = Ledger(conn)
    values = {"to_whom": to_whom.strip(), "why": why, "lent_on": on.isoformat(), "due_on": due_on}
    ids = [ledger.insert(loans, {"strip_id": strip.id, **values}) for strip in chosen]
    many = "1 strip" if len(chosen) == 1 else f"{len(chosen)} strips"
    ledger.save(f"lend {many} of roll {roll.code} to {to_whom.strip()}")
    return [_loan(conn, row_id) for row_id in ids]


def lend_page(
    conn: Connection,
    binder: BinderRow,
    number: int,
    to_whom: str,
    *,
    on: date,
    due_on: str | None = None,
    why: str | None = None,
) -> Loan:
    """Note that a whole page was handed out.

    Raises
    ------
    NotFound
        If there is no such page.
    Refusal
        As `lend_strips`.
    """
    page = find_page(conn, binder, number)
    _check(to_whom, on, due_on)
    _refuse_if_page_out(conn, page)
    for strip in strips_on_page(conn, page.id):
        _refuse_if_out(conn, strip)
    ledger = Ledger(conn)
    values = {"to_whom": to_whom.strip(), "why": why, "lent_on": on.isoformat(), "due_on": due_on}
    row_id = ledger.insert(loans, {"page_id": page.id, **values})
    ledger.save(f"lend page {binder.name}/{number} to {to_whom.strip()}")
    return _loan(conn, row_id)


def bring_back(conn: Connection, loan_id: int, *, on: date) -> Loan:
    """Note that a loan came back.

    Raises
    ------
    NotFound
        If there is no such loan.
    Refusal
        If it is back already, or came back before it was lent.
    """
    loan = _loan(conn, loan_id)
    if loan.back_on is not None:
        raise Refusal(f"loan {loan_id}", f"{loan.what} came back on {loan.back_on} already")
    if on.isoformat() < loan.lent_on:
        raise Refusal(
            f"loan {loan_id}", f"it was lent on {loan.lent_on} and cannot be back on {on}", "Look at the day."
        )
    ledger = Ledger(conn)
    ledger.update(loans, {"id": loan_id}, {"back_on": on.isoformat()})
    ledger.save(f"{loan.what} back from {loan.to_whom}")
    return _loan(conn, loan_id)


def list_loans(conn: Connection, *, everything: bool = False, due_by: date | None = None) -> list[Loan]:
    """What is out, the soonest due first and what has no day last; with `everything`, also what came back.

    Parameters
    ----------
    conn : Connection
        To read from.
    everything : bool, optional
        Also loans that are over.
    due_by : date, optional
        Only loans due on that day or before: what `due` reminds of.
    """
    query = loans.select().order_by(loans.c.due_on.is_(None), loans.c.due_on, loans.c.id)
    if not everything:
        query = query.where(loans.c.back_on.is_(None))
    if due_by is not None:
        query = query.where(loans.c.due_on <= due_by.isoformat())
    return [_loan(conn, row.id) for row in conn.execute(query).all()]


def strips_meant(conn: Connection, roll: RollRow, label: str | None, number: int | None) -> list[StripRow]:
    """Strips of a roll: all, the one of a number, or the one that carries a frame.

    Raises
    ------
    NotFound
        If there is no such strip, or the frame lies on none.
    """
    from dryside.book.frames import find_frame

    known = strips_of_roll(conn, roll.id)
    if number is not None:
        known = [strip for strip in known if strip.number == number]
        if not known:
            raise NotFound(f"strip {number} of roll {roll.code}", "the roll has no such strip")
    if label is None:
        return known
    frame = find_frame(conn, roll.id, label)
    row = conn.execute(frame_strips.select().where(frame_strips.c.frame_id == frame.id)).first()
    if row is None:
        raise NotFound(f"frame {frame.label} of roll {roll.code}", "it lies on no strip", "File the roll first.")
    return [strip for strip in known if strip.id == row.strip_id]


def _check(to_whom: str, on: date, due_on: str | None) -> None:
    if not to_whom.strip():
        raise Refusal("loan", "nobody is named", "Say who has it: --to 'Low Wharf'.")
    if due_on is not None and parse_day(due_on) < on:
        raise Refusal("loan", f"due on {due_on}, before it is lent on {on}", "Look at the days.")


def _refuse_if_out(conn: Connection, strip: StripRow) -> None:
    row = conn.execute(loans.select().where(loans.c.strip_id == strip.id, loans.c.back_on.is_(None))).first()
    if row is None and strip.page_id is not None:
        row = conn.execute(loans.select().where(loans.c.page_id == strip.page_id, loans.c.back_on.is_(None))).first()
    if row is not None:
        thing = f"strip {strip.number} of roll {get_roll(conn, strip.roll_id).code}"
        remedy = f"Note first that it is back: dryside sleeve back {row.id}."
        raise Refusal(thing, f"lent to {row.to_whom} since {row.lent_on}", remedy)


def _refuse_if_page_out(conn: Connection, page: PageRow) -> None:
    row = conn.execute(loans.select().where(loans.c.page_id == page.id, loans.c.back_on.is_(None))).first()
    if row is not None:
        remedy = f"Note first that it is back: dryside sleeve back {row.id}."
        raise Refusal(f"page {page.number}", f"lent to {row.to_whom} since {row.lent_on}", remedy)


def _loan(conn: Connection, loan_id: int) -> Loan:
    row = must_be(
        conn.execute(loans.select().where(loans.c.id == loan_id)).first(),
        f"loan {loan_id}",
        "List them: dryside sleeve back.",
    )
    return Loan(
        row.id, _what(conn, row.strip_id, row.page_id), row.to_whom, row.why, row.lent_on, row.due_on, row.back_on
    )


def _what(conn: Connection, strip_id: int | None, page_id: int | None) -> str:
    """The thing in words; a strip or page that was taken out of the book since is called so."""
    from sqlalchemy import select

    from dryside.book.frames import list_frames

    if strip_id is not None:
        strip = fetch_one(conn, StripRow, strips, strips.c.id == strip_id)
        if strip is None:
            return "a strip that is no longer in the book"
        roll = get_roll(conn, strip.roll_id)
        labels = {frame.position: frame.label for frame in list_frames(conn, roll.id)}
        first, last = (labels.get(position, "?") for position in (strip.first_position, strip.last_position))
        span = f"frame {first}" if first == last else f"frames {first} to {last}"
        return f"strip {strip.number} ({span}) of roll {roll.code}"
    if page_id is None:
        return "a strip that was filed anew since"
    query = select(binders.c.name, pages.c.number).select_from(pages.join(binders)).where(pages.c.id == page_id)
    page = conn.execute(query).first()
    return f"page {page.number} of binder {page.name}" if page else "a page that is no longer in the book"
