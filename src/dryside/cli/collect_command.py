"""`dryside collect`: negatives or prints were fetched."""

from __future__ import annotations

from typing import Annotated

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, say

app = typer.Typer(add_completion=False)


@app.command()
def collect(
    ctx: typer.Context,
    order: Annotated[str, typer.Argument(metavar="ORDER")],
    rolls: Annotated[list[str] | None, typer.Argument(metavar="[ROLL]...", help="Only these came back.")] = None,
    negatives: Annotated[bool, typer.Option("--negatives", help="Only the negatives.")] = False,
    prints: Annotated[bool, typer.Option("--prints", help="Only the prints.")] = False,
    on: Annotated[str | None, typer.Option("--on", metavar="DAY", help="The day; else today.")] = None,
    who: Annotated[str | None, typer.Option(metavar="NAME", help="Who fetched them.")] = None,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Record that an order's negatives and prints were fetched (with neither option: both)."""
    from dryside.labs.collecting import collect as collect_order
    from dryside.labs.orders import get_order

    both = negatives == prints
    with book_from(ctx, create=False) as book, book.write() as conn:
        done = collect_order(
            conn,
            get_order(conn, order),
            at=instant(on or day),
            rolls=rolls or (),
            negatives=negatives or both,
            prints=prints or both,
            who=who,
        )
    if as_json:
        print_json(
            {"order": done.order.number, "rolls": done.rolls, "still_there": done.still_there, "prints": done.prints,
             "closed": done.is_closed}
        )  # fmt: skip
        return
    came = [*done.rolls, *(["the prints"] if done.prints else [])]
    say(f"{done.order.number}: {', '.join(came) or 'nothing new'} back.")
    if done.still_there:
        say(f"Still there: {', '.join(done.still_there)}.")
    if done.is_closed:
        say("The order is closed.")
