"""`dryside dropoff`: papers for the counter, the order as it was made, its receipt, who owes what."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, say, table, today, with_options
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.labs.papers import PaperChoices
    from dryside.labs.planning import PlannedOrder
    from dryside.labs.waiting import Wish

app = typer.Typer(
    add_completion=False, no_args_is_help=True, help="Order sheets and labels; record the order and its receipt."
)


@dataclass(frozen=True)
class Meant:
    """Which order is meant, and how its papers are printed: what `papers` and `record` are both asked."""

    rolls: Annotated[
        list[str] | None, typer.Argument(metavar="[ROLL]...", help="Rolls for --lab; else all that wait.")
    ] = None
    lab: Annotated[str | None, typer.Option("--lab", metavar="LAB", help="Everything here, instead of a plan.")] = None
    plan: Annotated[int, typer.Option("--plan", min=1, metavar="N", help="Which plan of 'dryside plan'.")] = 1
    on: Annotated[str | None, typer.Option("--on", metavar="DAY", help="Day of the drop-off; else today.")] = None
    scan: Annotated[str | None, typer.Option(metavar="NAME", help="Scan for rolls that say none.")] = None
    told: Annotated[list[str] | None, typer.Option(metavar="ROLL=PRICE", help="A roll's price as the lab told it.")] = (
        None
    )
    ready: Annotated[str | None, typer.Option(metavar="DAY", help="Ready day as the lab promised it.")] = None
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Where the papers go; else the book's paper/.")] = None
    page: Annotated[str, typer.Option(help="a4 or letter.")] = "a4"
    contact: Annotated[
        list[str] | None, typer.Option(metavar="PART", help="Print of you: name, phone, email, address.")
    ] = None
    per_owner: Annotated[bool, typer.Option("--per-owner", help="Also a sheet for each owner.")] = False
    prices: Annotated[bool, typer.Option("--prices/--no-prices", help="Print the estimate.")] = True
    labels: Annotated[
        str | None, typer.Option(metavar="GRID", help="Stickers: '3x8 at 15,20 size 60x30 gap 2,0' (mm).")
    ] = None
    skip: Annotated[int, typer.Option(min=0, help="Stickers already used on the first sheet.")] = 0
    twin: Annotated[bool, typer.Option("--twin", help="Each label twice: roll and bag.")] = False
    templates: Annotated[Path | None, typer.Option(metavar="DIR", help="Your own templates.")] = None


@app.command()
def wish(
    ctx: typer.Context,
    rolls: Annotated[list[str], typer.Argument(metavar="ROLL...")],
    scan: Annotated[str | None, typer.Option(metavar="NAME", help="Name of the scan, or none.")] = None,
    prints: Annotated[str | None, typer.Option(metavar="4R:10;8R:1")] = None,
    need_by: Annotated[str | None, typer.Option(metavar="DAY", help="Ready by; 'none' takes it away.")] = None,
    rush: Annotated[bool | None, typer.Option("--rush/--no-rush")] = None,
    returns: Annotated[str | None, typer.Option(help="strips, uncut or sleeved.")] = None,
    clip_test: Annotated[bool | None, typer.Option("--clip-test/--no-clip-test")] = None,
    instructions: Annotated[str | None, typer.Option(help="For the order sheet.")] = None,
    as_json: AsJson = False,
) -> None:
    """Say what waiting rolls shall have done; what is not named stays as it was."""
    from dataclasses import replace

    from dryside.book.instants import parse_day
    from dryside.book.rolls import find_roll
    from dryside.labs.rolls import parse_prints
    from dryside.labs.waiting import get_wish, set_wish

    changes: dict[str, Any] = {"rush": rush, "returns": returns, "clip_test": clip_test, "instructions": instructions}
    changes = {name: value for name, value in changes.items() if value is not None}
    if scan is not None:
        changes["scan"] = None if scan.casefold() == "none" else scan
    if prints is not None:
        changes["prints"] = parse_prints(prints, where="--prints")
    if need_by is not None:
        changes["need_by"] = None if need_by.casefold() == "none" else parse_day(need_by)
    done = {}
    with book_from(ctx, create=False) as book, book.write() as conn:
        for text in rolls:
            roll = find_roll(conn, text)
            wished = replace(get_wish(conn, roll.id), **changes)
            set_wish(conn, roll.id, wished)
            done[roll.code] = wished
    if as_json:
        print_json({"wishes": [{"roll": code, **_plain(one)} for code, one in done.items()]})
    else:
        for code, one in done.items():
            say(f"{code}: {_wish_in_words(one)}")


def _wish_in_words(wish: Wish) -> str:
    said = [
        f"scan {wish.scan}" if wish.scan else "",
        *(f"{copies} prints {size}" for size, copies in wish.prints),
        f"ready by {wish.need_by}" if wish.need_by else "",
        "rush" if wish.rush else "",
        f"film back {wish.returns}" if wish.returns else "",
        "clip test" if wish.clip_test else "",
        wish.instructions or "",
    ]
    return ", ".join(part for part in said if part) or "develop only"


@app.command()
@with_options(Meant)
def papers(
    ctx: typer.Context,
    meant: Meant,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Print order sheets and labels, and what to know first; nothing is recorded."""
    from dryside.labs.handing_in import order_warnings, write_order_papers

    choices = _choices(meant)
    with book_from(ctx, create=False) as book, book.read() as conn:
        found = _orders(conn, meant, day)
        warnings = [vars(one) for one in order_warnings(conn, found)]
        written = [path for order in found for path in write_order_papers(book, conn, order, choices, folder=meant.out)]
    if as_json:
        print_json({"papers": written, "orders": [_draft(order) for order in found], "warnings": warnings})
        return
    _say_warnings(warnings)
    for path in written:
        say(str(path))


@app.command()
@with_options(Meant)
def record(
    ctx: typer.Context,
    meant: Meant,
    note: Annotated[str | None, typer.Option(help="Kept with the order.")] = None,
    who: Annotated[str | None, typer.Option(metavar="NAME", help="Who handed them in.")] = None,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Record the order, as planned or (with --lab and rolls) as it was made at the counter; print its papers."""
    from dryside.labs.handing_in import hand_in, order_warnings, write_order_papers

    choices = _choices(meant)
    with book_from(ctx, create=False) as book:
        with book.write() as conn:
            found = _orders(conn, meant, day)
            warnings = [vars(one) for one in order_warnings(conn, found)]
            moments = {order.drop_off: instant(order.drop_off.isoformat()) for order in found}
            made = hand_in(conn, found, moments=moments, who=who, notes=note)
        with book.read() as conn:
            written = [
                path
                for order, row in zip(found, made, strict=True)
                for path in write_order_papers(book, conn, order, choices, folder=meant.out, number=row.number)
            ]
    if as_json:
        orders = [{"order": row.number, **_draft(order)} for order, row in zip(found, made, strict=True)]
        print_json({"orders": orders, "papers": written, "warnings": warnings})
        return
    _say_warnings(warnings)
    for order, row in zip(found, made, strict=True):
        count = len(order.rolls)
        what = f"{count} roll{'s' if count > 1 else ''} at {order.lab.name}"
        say(f"{row.number}: {what} on {row.dropped_on}, {order.total}, ready {row.ready_on}.")
    for path in written:
        say(str(path))


@app.command()
def receipt(
    ctx: typer.Context,
    order: Annotated[str, typer.Argument(metavar="ORDER")],
    number: Annotated[str | None, typer.Option(help="The lab's receipt number.")] = None,
    paid: Annotated[str | None, typer.Option(metavar="AMOUNT")] = None,
    paid_on: Annotated[str | None, typer.Option(metavar="DAY", help="Else the day of the drop-off.")] = None,
    file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A photo or PDF of it, kept as an original.")
    ] = None,
    line: Annotated[
        list[str] | None, typer.Option(metavar="'ROLL SERVICE=AMOUNT'", help="As the receipt has it; no roll for fees.")
    ] = None,
    lab_number: Annotated[
        list[str] | None, typer.Option(metavar="ROLL=NUMBER", help="The lab's number of a roll.")
    ] = None,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Note what the lab's receipt says, and show where it differs from the estimate."""
    from dryside.book.instants import parse_day
    from dryside.book.money import Money
    from dryside.labs.orders import differences, get_order, set_receipt

    with book_from(ctx, create=False) as book, book.write() as conn:
        row = get_order(conn, order)
        row = set_receipt(
            conn,
            book,
            row,
            number=number,
            paid=Money.parse(paid, row.currency) if paid else None,
            paid_on=parse_day(paid_on) if paid_on else None,
            file=file,
            amounts=dict(_receipt_line(one, row.currency) for one in line or ()),
            lab_numbers=dict(_pair(one, "--lab-number") for one in lab_number or ()),
            at=instant(day),
        )
        found, whole = differences(conn, row)
    if as_json:
        print_json(
            {"order": row.number, "receipt": row.receipt_number, "paid": row.paid, "currency": row.currency,
             "receipt_sha256": row.receipt_sha256, "differences": [_difference(one) for one in found],
             "total": None if whole is None else _difference(whole)}
        )  # fmt: skip
        return
    say(f"{row.number}: receipt {row.receipt_number or 'without number'}, paid {row.paid or 'nothing yet'}.")
    _show_differences(found, whole)


@app.command("list")
def list_command(ctx: typer.Context, as_json: AsJson = False) -> None:
    """List the orders."""
    from dryside.labs.book_labs import get_lab
    from dryside.labs.orders import lines_of, list_orders

    with book_from(ctx, create=False) as book, book.read() as conn:
        rows = [
            (row, get_lab(conn, row.lab_id).row.name, len({one.roll_id for one in lines_of(conn, row.id)} - {None}))
            for row in list_orders(conn)
        ]
    if as_json:
        print_json({"orders": [{"lab": name, "rolls": count, **_plain(row)} for row, name, count in rows]})
        return
    cells = [
        (row.number, name, count, row.dropped_on, row.scans_on or "", row.negatives_fetched_on or "",
         f"{row.paid or row.estimate} {row.currency}{'' if row.paid else ' estimated'}")
        for row, name, count in rows
    ]  # fmt: skip
    table(("order", "lab", "rolls", "handed in", "scans", "negatives", "money"), cells, right=("rolls", "money"))


@app.command()
def show(ctx: typer.Context, order: Annotated[str, typer.Argument(metavar="ORDER")], as_json: AsJson = False) -> None:
    """Show an order: its lines, its days, what differs, who owes what and what is whose."""
    from dryside.labs.order_words import describe_order, order_document

    with book_from(ctx, create=False) as book, book.read() as conn:
        document = order_document(conn, order)
        words = describe_order(conn, order)
    if as_json:
        print_json(document)
        return
    say(words.title)
    table(("roll", "service", "owner", "estimate", "receipt"), words.lines, right=("estimate", "receipt"))
    table(("owner", "own", "of the rest", "owes", "gets back"), words.shares, right=("own", "of the rest", "owes"))


@app.command()
def templates(folder: Annotated[Path, typer.Argument(metavar="DIR")], as_json: AsJson = False) -> None:
    """Copy the templates of all papers to a folder, to be changed and named with --templates."""
    from dryside.paper.typeset import copy_templates

    written = copy_templates(folder)
    if as_json:
        print_json({"written": written})
    else:
        say("\n".join(map(str, written)) or "All of them were there already; nothing was changed.")


def _choices(meant: Meant) -> PaperChoices:
    from dryside.film.nearest import in_words
    from dryside.labs.papers import CONTACT_PARTS, PaperChoices
    from dryside.paper.roll_labels import parse_grid
    from dryside.paper.typeset import PAGES

    if meant.page not in PAGES:
        raise Refusal(f"--page {meant.page}", "paper is a4 or letter", "Name one of the two.")
    parts = [part.strip() for one in meant.contact or () for part in one.split(",")]
    for part in parts:
        if part not in CONTACT_PARTS:
            raise Refusal(f"--contact {part}", f"it is none of {in_words(CONTACT_PARTS)}", "Name one of them.")
    grid = parse_grid(meant.labels, page=meant.page) if meant.labels else None
    return PaperChoices(
        meant.page, tuple(parts), meant.per_owner, meant.prices, grid, meant.skip, meant.twin, meant.templates
    )


def _orders(conn, meant: Meant, day: str | None) -> list[PlannedOrder]:
    """The orders meant: rolls at one lab, or those of a plan over all that wait."""
    from dryside.book.instants import parse_day

    when = parse_day(meant.on) if meant.on else today(day)
    wishes = _wishes(conn, meant.rolls or [], meant.scan)
    if meant.lab is not None:
        ready = parse_day(meant.ready) if meant.ready else None
        return [_at_one_lab(conn, meant.lab, wishes, when, meant.told, ready)]
    if meant.told or meant.ready:
        raise Refusal("--told, --ready", "they belong to one lab's order", "Name it: --lab LAB.")
    return _of_plan(conn, wishes, when, meant.plan)


def _wishes(conn, rolls, scan):
    from dataclasses import replace

    from dryside.book.rolls import find_roll
    from dryside.labs.waiting import describe_rolls, waiting_rolls

    chosen = describe_rolls(conn, [find_roll(conn, text) for text in rolls]) if rolls else waiting_rolls(conn)
    if not chosen:
        raise Refusal("dropoff", "no roll waits for a lab", "Finish one first: dryside roll finish.")
    return [replace(one, scan=one.scan or scan) for one in (waiting.as_wish() for waiting in chosen)]


def _at_one_lab(conn, lab, wishes, when: date, told, ready):
    from dryside.book.money import Money
    from dryside.book.rolls import find_roll
    from dryside.labs.book_labs import get_lab
    from dryside.labs.drafts import draft_order

    known = get_lab(conn, lab, day=when)
    prices = {
        find_roll(conn, roll).code: Money.parse(amount, known.lab.currency)
        for roll, amount in (_pair(one, "--told") for one in told or ())
    }
    return draft_order(known.lab, wishes, when, told=prices, ready=ready)


def _of_plan(conn, wishes, when, number):
    from dryside.labs.book_labs import current_labs
    from dryside.labs.planning import plan_drop_off

    report = plan_drop_off(current_labs(conn, when), wishes, when)
    for one in report.refused:
        say(f"Roll {one.roll} can be sent nowhere. {one.why}.", to_stderr=True)
    if number > len(report.plans):
        count = len(report.plans)
        raise Refusal(f"plan {number}", f"there {'is' if count == 1 else 'are'} {count}", "Look: dryside plan.")
    return list(report.plans[number - 1].orders)


def _say_warnings(warnings: list[dict[str, Any]]) -> None:
    for one in warnings:
        mark = "STOP" if one["is_refusal"] else "Mind"
        say(f"{mark}: {one['roll'] or one['lab']}: {one['text']}", to_stderr=True)


def _draft(order: PlannedOrder) -> dict[str, Any]:
    return {
        "lab": order.lab.name,
        "drop_off": order.drop_off,
        "ready": order.ready,
        "total": order.total.as_dict(),
        "rolls": [one.wish.roll for one in order.rolls],
        "lines": [
            {"roll": line.roll, "service": line.service, "amount": str(line.amount.amount)} for line in order.lines
        ],
        "fees": [{"service": line.service, "amount": str(line.amount.amount)} for line in order.fees],
    }


def _pair(text: str, option: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not (name.strip() and sign and value.strip()):
        raise Refusal(f"{option} {text}", "it has no name and value", f"Write it like {option} 26-014-D=12.00.")
    return name.strip(), value.strip()


def _receipt_line(text: str, currency: str):
    from dryside.book.money import Money

    name, amount = _pair(text, "--line")
    # One word is a fee of the whole order: postage, minimum. A roll's code holds no blank.
    roll, _, service = name.partition(" ") if " " in name else ("", "", name)
    return (roll.strip(), service.strip()), Money.parse(amount, currency)


def _difference(one) -> dict[str, Any]:
    return {"roll": one.roll, "service": one.service, "estimate": str(one.estimate.amount),
            "amount": str(one.amount.amount), "more": str(one.more.amount)}  # fmt: skip


def _show_differences(found, whole) -> None:
    if not found and (whole is None or not whole.more):
        say("As estimated.")
        return
    rows = [
        (one.roll, one.service, one.estimate.amount, one.amount.amount, f"{one.more.amount:+}")
        for one in [*found, *([whole] if whole else [])]
    ]
    table(("roll", "service", "estimate", "receipt", "difference"), rows, right=("estimate", "receipt", "difference"))


def _plain(row: Any) -> dict[str, Any]:
    from dryside.book.rows import as_dict

    return as_dict(row)
