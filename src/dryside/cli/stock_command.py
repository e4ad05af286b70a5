"""`dryside stock`: film stocks and what lies on the shelf."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from dryside.book.money import Money
from dryside.book.stocks import (
    add_stock,
    add_to_shelf,
    days_to_expiry,
    get_stock,
    list_shelf,
    list_stocks,
    shelf_worth,
)
from dryside.cli.support import AsJson, Today, book_from, print_json, say, table, today
from dryside.film.processes import parse_process, process_name
from dryside.film.speed import format_speed, parse_speed

app = typer.Typer(add_completion=False, no_args_is_help=True, help="Film stocks and what lies on the shelf.")

_KIND_OF = {"c41": "colour negative", "ecn2": "colour negative", "bw": "black-and-white", "e6": "slide"}


@app.command()
def add(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it.")],
    process: Annotated[str, typer.Option(help="What it was made for: c41, ecn2, bw, e6.")],
    iso: Annotated[str, typer.Option(help="Speed on the box: 400, 400/27°.")],
    kind: Annotated[
        str | None, typer.Option(help="colour negative, black-and-white, ... (else by the process).")
    ] = None,
    remjet: Annotated[str | None, typer.Option(help="Rem-jet backing: yes, no, unknown.")] = None,
    base: Annotated[str, typer.Option(help="acetate, polyester, nitrate, unknown.")] = "unknown",
    dx: Annotated[str | None, typer.Option(help="DX product and generation, like 115-4.")] = None,
    notes: Annotated[str | None, typer.Option()] = None,
    as_json: AsJson = False,
) -> None:
    """Add a film stock."""
    key = parse_process(process, allow_old=True)
    first, _, second = (dx or "").partition("-")
    columns: dict[str, Any] = {
        "kind": kind or _KIND_OF.get(key, "colour negative"),
        "remjet": remjet or ("yes" if key == "ecn2" else "no"),
        "base": base,
        "dx_part1": int(first) if first.isdigit() else None,
        "dx_part2": int(second) if second.isdigit() else None,
        "notes": notes,
    }
    with book_from(ctx) as book, book.write() as conn:
        row = add_stock(conn, name, process=key, iso=parse_speed(iso), **columns)
    if as_json:
        print_json({"stock": row})
    else:
        say(f"{row.name}: {format_speed(row.iso)}, {row.kind}, for {process_name(row.process)}.")


@app.command("list")
def list_all(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Every stock of the book."""
    with book_from(ctx) as book, book.read() as conn:
        rows = list_stocks(conn)
    if as_json:
        print_json({"stocks": rows})
        return
    lines = [
        (row.name, format_speed(row.iso), process_name(row.process), row.kind, row.remjet, row.base) for row in rows
    ]
    table(("stock", "speed", "process", "kind", "rem-jet", "base"), lines)


@app.command()
def put(
    ctx: typer.Context,
    stock: Annotated[str, typer.Argument(help="A stock of the book.")],
    quantity: Annotated[int, typer.Option(help="How many rolls.")] = 1,
    film_format: Annotated[str, typer.Option("--format", help="135, half, 120 6x7, ...")] = "135",
    exposures: Annotated[int | None, typer.Option(help="Frames a roll.")] = None,
    expires: Annotated[str | None, typer.Option(metavar="DAY", help="On the box: 2027-06-30.")] = None,
    price: Annotated[str | None, typer.Option(help="For one roll: 7.00.")] = None,
    currency: Annotated[str, typer.Option(help="ISO 4217.", envvar="DRYSIDE_CURRENCY")] = "EUR",
    kept: Annotated[str, typer.Option(help="room, cool, cold, frozen.")] = "room",
    bought: Annotated[str | None, typer.Option(metavar="DAY")] = None,
    as_json: AsJson = False,
    on: Today = None,
) -> None:
    """Put rolls on the shelf."""
    with book_from(ctx) as book, book.write() as conn:
        row = add_to_shelf(
            conn,
            stock,
            film_format=film_format,
            quantity=quantity,
            exposures=exposures,
            bought_on=bought or today(on).isoformat(),
            expires_on=expires,
            price_each=Money.parse(price, currency) if price else None,
            kept=kept,
        )
    if as_json:
        print_json({"shelf": row})
    else:
        worth = f", worth {row.worth}" if row.worth else ""
        say(f"{row.quantity} x {stock} ({row.format}) on the shelf, kept {row.kept}{worth}.")


@app.command()
def shelf(ctx: typer.Context, as_json: AsJson = False, on: Today = None) -> None:
    """What lies on the shelf, what expires first first, and what it is worth."""
    day = today(on)
    with book_from(ctx) as book, book.read() as conn:
        rows = list_shelf(conn)
        names = {row.id: get_stock(conn, row.stock_id).name for row in rows}
        worth = shelf_worth(conn)
    if as_json:
        lots = [
            {"stock": names[row.id], "days_to_expiry": days_to_expiry(row, day), "lot": row, "worth": row.worth}
            for row in rows
        ]
        print_json({"shelf": lots, "worth": [money.as_dict() for money in worth.values()]})
        return
    lines = []
    for row in rows:
        left = days_to_expiry(row, day)
        expiry = f"{row.expires_on} ({'expired' if left is not None and left < 0 else f'{left} days'})"
        lines.append((row.quantity, names[row.id], row.format, row.kept, expiry if row.expires_on else "", row.worth))
    table(("rolls", "stock", "format", "kept", "expires", "worth"), lines, right=("rolls", "worth"))
    if worth:
        say("Worth: " + ", ".join(str(money) for money in worth.values()) + ".")
