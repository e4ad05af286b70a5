"""`dryside receive`: take in a delivery of scans, answer what it asks, watch a folder for the next."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, progress, say, table

app = typer.Typer(add_completion=False)


@app.command()
def receive(
    ctx: typer.Context,
    paths: Annotated[list[Path] | None, typer.Argument(help="Zips, folders or pictures of one delivery.")] = None,
    order: Annotated[str | None, typer.Option(help="The order it belongs to: ours or the receipt's number.")] = None,
    roll: Annotated[list[str] | None, typer.Option(help="The roll it is of; once for each.")] = None,
    as_json: AsJson = False,
    today: Today = None,
) -> None:
    """Take in a lab's delivery: keep the files, find rolls and frames, ask about what is not sure."""
    from dryside.scans.receive import receive as receive_delivery

    with book_from(ctx) as book, progress("Receiving") as bar:
        delivery = receive_delivery(
            book,
            list(paths or []),
            order=order,
            rolls=roll or [],
            at=instant(today),
            step=lambda name: bar.step(1, name),
        )
    if as_json:
        print_json(delivery.as_dict())
        return
    _tell(delivery)


def _tell(delivery: Any) -> None:
    for placed in delivery.rolls:
        sure = sum(scan.sure for scan in placed.scans)
        name = f"roll {placed.guess.code}" if placed.guess.code else "a roll that is not waited for"
        say(f"{name}{'' if placed.guess.sure else ' (not sure)'}: {len(placed.scans)} pictures, {sure} placed")
        if placed.missing:
            say(f"  did not come: frames {', '.join(placed.missing)}")
        unsure = [scan for scan in placed.scans if not scan.sure]
        if unsure:
            table(("file", "frame", "confidence", "why"), [
                (s.name, s.frame or "none", f"{s.confidence:.0%}", "; ".join(r.says for r in s.reasons)) for s in unsure
            ], right=("confidence",))  # fmt: skip
    if delivery.known:
        say(f"{len(delivery.known)} pictures were here already; nothing was added for them.")
    for aside in delivery.asides:
        say(f"put aside: {aside.name}: {aside.found}. {aside.remedy}".rstrip())
