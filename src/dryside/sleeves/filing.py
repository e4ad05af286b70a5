"""Filing a roll: which strip goes into which row of which page, first as a plan, then in the book."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.book.frames import FrameRow, list_frames, normal_label
from dryside.book.journey import RollState
from dryside.book.schema import frame_strips, frames, loans, pages, strips
from dryside.book.undoing import Ledger
from dryside.film.frame_labels import labels_along, parse_label
from dryside.film.refusal import Refusal
from dryside.film.sleeves import SleevePage
from dryside.sleeves.binders import (
    BinderRow,
    PageRow,
    StripRow,
    find_page,
    list_pages,
    strips_of_roll,
    strips_on_page,
)
from dryside.sleeves.cutting import CutPlan
from dryside.sleeves.frames_on_film import FrameOnFilm
from dryside.sleeves.laying import LooseLength, lay_strips

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.book.rolls import RollRow


@dataclass(frozen=True)
class StripToFile:
    """One strip and where it goes; `page` counts from the filing's first page, all numbers from 1."""

    number: int
    labels: tuple[str, ...]
    length_mm: float
    page: int
    row: int
    place: int


@dataclass(frozen=True)
class Filing:
    """What filing a roll will do.

    Attributes
    ----------
    layout : SleevePage
        The pages used.
    strips : tuple of StripToFile
        Along the film.
    missing : tuple of str
        Labels of logged frames that lie on no strip: thrown away, or still at the lab.
    remarks : tuple of str
        What a person should know.
    """

    layout: SleevePage
    strips: tuple[StripToFile, ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def pages(self) -> int:
        """Pages that are filled or begun."""
        return max(strip.page for strip in self.strips)


@dataclass(frozen=True)
class FiledStrip:
    """Where a strip lies now."""

    number: int
    labels: tuple[str, ...]
    binder: str
    page: int
    row: int
    place: int


def filing_of_plan(plan: CutPlan) -> Filing:
    """The filing of a roll that is cut by `plan`: one strip in each row, in order."""
    filed = []
    for strip in plan.strips:
        page, row = plan.place_of(strip)
        filed.append(StripToFile(strip.number, plan.labels_of(strip), round(strip.length_mm, 1), page, row, 1))
    return Filing(plan.page, tuple(filed), (), plan.remarks)


def filing_as_cut(
    film: Sequence[FrameOnFilm], strips_of_labels: Sequence[Sequence[str]], layouts: Sequence[SleevePage]
) -> Filing:
    """The filing of a roll that came back cut: strips as they lie, on the layout that needs the fewest pages.

    Parameters
    ----------
    film : sequence of FrameOnFilm
        All frames that the roll should have, in order.
    strips_of_labels : sequence of sequences of str
        Labels of each strip; see `parse_strips`.
    layouts : sequence of SleevePage
        Pages at hand, in order of preference.

    Raises
    ------
    Refusal
        If a frame is on two strips or not on the roll, or a strip fits no page.
    """
    known = {frame.label: frame for frame in film}
    _each_once(strips_of_labels, known)
    lengths = [
        LooseLength(n, _length_mm([known[label] for label in labels])) for n, labels in enumerate(strips_of_labels, 1)
    ]
    choices, refusals = [], []
    for layout in layouts:
        try:
            choices.append((layout, lay_strips(lengths, layout)))
        except Refusal as refusal:
            refusals.append(refusal)
    if not choices:
        raise refusals[0] if refusals else Refusal("pages", "none is named", "Name the pages at hand: --pages 7x5.")
    layout, lying = min(choices, key=lambda choice: max(one.page for one in choice[1]))
    filed = tuple(
        StripToFile(one.number, tuple(labels), round(length.length_mm, 1), one.page, one.row, one.place)
        for one, labels, length in zip(lying, strips_of_labels, lengths, strict=True)
    )
    on_a_strip = {label for labels in strips_of_labels for label in labels}
    missing = tuple(frame.label for frame in film if frame.label not in on_a_strip)
    return Filing(layout, filed, missing, _remarks(missing))


def parse_strips(text: str, labels: Sequence[str]) -> list[list[str]]:
    """Strips as typed: `0-3, 4-7, 8, 10-12`; a range runs through the roll's labels, or by number beyond them.

    Raises
    ------
    Refusal
        If a part is no label or range, or runs backwards.
    """
    parts = [part.strip() for part in re.split(r"[,;]", text) if part.strip()]
    if not parts:
        raise Refusal("strips", "none is named", "Write the frames of each strip: 1-4,5-8,9-12.")
    return [_range(part, list(labels)) for part in parts]


def strips_of_lengths(counts: Sequence[int], labels: Sequence[str]) -> list[list[str]]:
    """The roll's labels cut into strips of these numbers of frames, from its start.

    Raises
    ------
    Refusal
        If there are more frames on the strips than labels.
    """
    if sum(counts) > len(labels) or any(count < 1 for count in counts):
        found = f"{sum(counts)} frames on the strips, {len(labels)} on the roll"
        raise Refusal("strips", found, "Say how many there really are: --frames 38.")
    cut, start = [], 0
    for count in counts:
        cut.append(list(labels[start : start + count]))
        start += count
    return cut


def _range(part: str, labels: list[str]) -> list[str]:
    ends = [normal_label(end) for end in re.split(r"\s*(?:-|–|\.\.)\s*", part)]
    if len(ends) > 2:
        raise Refusal(f"strip '{part}'", "not a frame or a range of frames", "Write it like 5-8.")
    first, last = ends[0], ends[-1]
    if first in labels and last in labels:
        low, high = labels.index(first), labels.index(last)
        found = labels[low : high + 1]
    else:
        start, stop = parse_label(first), parse_label(last)
        count = (stop.half_index - start.half_index) // 2 + 1
        found = [str(label) for label in labels_along(start, max(count, 0))]
    if not found:
        raise Refusal(f"strip '{part}'", "it runs backwards", f"Write it {last}-{first}.")
    return found


def _each_once(strips_of_labels: Sequence[Sequence[str]], known: Mapping[str, FrameOnFilm]) -> None:
    on: dict[str, int] = {}
    for number, labels in enumerate(strips_of_labels, 1):
        for label in labels:
            if label in on:
                raise Refusal(f"frame {label}", f"on strip {on[label]} and on strip {number}", "A frame lies on one.")
            if label not in known:
                found = f"strip {number} has it, the roll has not"
                raise Refusal(f"frame {label}", found, "Log it first, or give the number of frames: --frames 38.")
            on[label] = number


def _length_mm(found: Sequence[FrameOnFilm]) -> float:
    """From the first picture's edge to the last one's, and a millimetre of bare film at either end."""
    return found[-1].end_mm - found[0].start_mm + 2.0


def _remarks(missing: Sequence[str]) -> tuple[str, ...]:
    if not missing:
        return ()
    many = "frames" if len(missing) > 1 else "frame"
    return (f"on no strip: {many} {', '.join(missing)}; ask the lab for the missing film",)


def carry_out(
    conn: Connection,
    roll: RollRow,
    filing: Filing,
    binder: BinderRow,
    *,
    first_page: int | None = None,
    again: bool = False,
    at: str | None = None,
) -> tuple[FiledStrip, ...]:
    """Write a filing into the book and move the roll to 'sleeved', in one transaction that can be undone.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    roll : RollRow
        The roll, its negatives back.
    filing : Filing
        What goes where.
    binder : BinderRow
        The binder.
    first_page : int, optional
        Where to begin; left out: a new page after the binder's last, or with `again` the page that was left empty.
        An existing page is filled from its first free row on.
    again : bool, optional
        Whether strips that are filed already are filed anew.
    at : str, optional
        Instant of the move; left out: now.

    Raises
    ------
    Refusal
        If the roll is filed already, its negatives are not back, or a page has another layout or too few free rows.
    """
    ledger = Ledger(conn)
    left = _clear(ledger, roll, again)
    if first_page is None:
        usable = [page for page in list_pages(conn, binder.id) if page.id in left and _is_free(conn, page, filing)]
        first_page = min((page.number for page in usable), default=None)
    ids = _frame_ids(ledger, roll, filing)
    places = _places(conn, binder, filing, first_page)
    made: dict[int, int] = {}
    filed = []
    for strip, (number, row) in zip(filing.strips, places, strict=True):
        if number not in made:
            made[number] = _page_id(ledger, binder, number, filing.layout)
        _insert_strip(ledger, roll, strip, ids, made[number], row)
        filed.append(FiledStrip(strip.number, strip.labels, binder.name, number, row, strip.place))
    if roll.place is not RollState.SLEEVED:
        detail = {"binder": binder.name, "pages": sorted(made), "missing": list(filing.missing)}
        ledger.move_roll(roll.id, RollState.SLEEVED, at=at, detail=detail)
    ledger.save(f"file roll {roll.code} in {binder.name}", at=at)
    return tuple(filed)


def _clear(ledger: Ledger, roll: RollRow, again: bool) -> set[int]:
    """Take the roll's strips out of their pages; the pages on which nothing is left."""
    old = strips_of_roll(ledger.conn, roll.id)
    if old and not again:
        found = f"its {len(old)} strips are filed already"
        raise Refusal(f"roll {roll.code}", found, "See where: dryside sleeve where. To file it anew: --again.")
    for strip in old:
        _let_go_of_loans(ledger, roll, strip)
        on_it = ledger.conn.execute(frame_strips.select().where(frame_strips.c.strip_id == strip.id)).all()
        for row in on_it:
            ledger.delete(frame_strips, {"frame_id": row.frame_id})
        ledger.delete(strips, {"id": strip.id})
    return {strip.page_id for strip in old if strip.page_id and not strips_on_page(ledger.conn, strip.page_id)}


def _let_go_of_loans(ledger: Ledger, roll: RollRow, strip: StripRow) -> None:
    """A strip that is out cannot be filed anew; loans that are over stay, in words, without the strip."""
    for loan in ledger.conn.execute(loans.select().where(loans.c.strip_id == strip.id)).all():
        thing = f"strip {strip.number} of roll {roll.code}"
        if loan.back_on is None:
            remedy = f"Note first that it is back: dryside sleeve back {loan.id}."
            raise Refusal(thing, f"lent to {loan.to_whom} since {loan.lent_on}", remedy)
        why = "; ".join(part for part in (loan.why, f"was {thing}") if part)
        ledger.update(loans, {"id": loan.id}, {"strip_id": None, "why": why})


def _frame_ids(ledger: Ledger, roll: RollRow, filing: Filing) -> dict[str, FrameRow]:
    """The frames by label; those that were not logged are added after the last."""
    known = {frame.label: frame for frame in list_frames(ledger.conn, roll.id)}
    position = max((frame.position for frame in known.values()), default=-1)
    for label in (label for strip in filing.strips for label in strip.labels):
        if label not in known:
            position += 1
            # Through the ledger, so that undoing takes the frame out again.
            values = {"roll_id": roll.id, "position": position, "label": label, "blank": False, "printed": False}
            ledger.insert(frames, values)
            known = {frame.label: frame for frame in list_frames(ledger.conn, roll.id)}
    return known


def _places(conn: Connection, binder: BinderRow, filing: Filing, first_page: int | None) -> list[tuple[int, int]]:
    """Page number and row of each strip, behind what lies on the first page already."""
    existing = {page.number: page for page in list_pages(conn, binder.id)}
    first = first_page if first_page is not None else max(existing, default=0) + 1
    taken = 0
    if first in existing:
        page = find_page(conn, binder, first)
        if page.layout != filing.layout.key:
            found = f"a {page.layout} page, the plan is for {filing.layout.key}"
            raise Refusal(f"page {first} of binder {binder.name}", found, f"Plan with --pages {page.layout}.")
        taken = max((strip.row or 0 for strip in strips_on_page(conn, page.id)), default=0)
    places = []
    for strip in filing.strips:
        offset = (strip.page - 1) * filing.layout.rows + strip.row - 1 + taken
        places.append((first + offset // filing.layout.rows, offset % filing.layout.rows + 1))
    blocked = sorted(
        {number for number, _ in places if number > first and not _is_free(conn, existing.get(number), filing)}
    )
    if blocked:
        found = f"page {blocked[0]} is there already, and {len(filing.strips)} rows are needed from page {first} on"
        raise Refusal(f"binder {binder.name}", found, "Leave --page out to begin after the last page.")
    return places


def _is_free(conn: Connection, page: PageRow | None, filing: Filing) -> bool:
    """Whether a page of that number can be begun: none is there, or an empty one of the same layout."""
    return page is None or (page.layout == filing.layout.key and not strips_on_page(conn, page.id))


def _page_id(ledger: Ledger, binder: BinderRow, number: int, layout: SleevePage) -> int:
    existing = {page.number: page.id for page in list_pages(ledger.conn, binder.id)}
    if number in existing:
        return existing[number]
    return ledger.insert(pages, {"binder_id": binder.id, "number": number, "layout": layout.key})


def _insert_strip(
    ledger: Ledger, roll: RollRow, strip: StripToFile, known: Mapping[str, FrameRow], page_id: int, row: int
) -> None:
    found = [known[label] for label in strip.labels]
    values = {
        "roll_id": roll.id,
        "number": strip.number,
        "first_position": found[0].position,
        "last_position": found[-1].position,
        "length_mm": strip.length_mm,
        "page_id": page_id,
        "row": row,
        "place": strip.place,
    }
    strip_id = ledger.insert(strips, values)
    for place, frame in enumerate(found, 1):
        ledger.insert_keyed(frame_strips, {"frame_id": frame.id}, {"strip_id": strip_id, "place": place})
