"""`dryside match`: which phone shot was made beside which frame."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, book_from, print_json, progress, say, table
from dryside.film.refusal import Refusal

app = typer.Typer(add_completion=False)


@app.command()
def match(
    ctx: typer.Context,
    references: Annotated[Path, typer.Option(help="The folder of phone pictures.")],
    scans: Annotated[Path | None, typer.Argument(help="The folder of scans.")] = None,
    roll: Annotated[
        str | None, typer.Option(help="A roll of the book instead: its frames gain time and place.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Match scans to phone shots made beside each frame, by what they show and by the order in time."""
    from dryside.scans.matching import match_folders

    if roll is not None:
        _match_roll(ctx, roll, references, as_json)
        return
    if scans is None:
        raise Refusal("scans", "no folder was named", "Name the folder of scans, or a roll: --roll CODE.")
    with progress("Looking") as bar:
        found = match_folders(scans, references, step=lambda name: bar.step(1, name))
    if as_json:
        print_json(found.as_dict())
        return
    _tell(found)


def _match_roll(ctx: typer.Context, roll: str, references: Path, as_json: bool) -> None:
    from dryside.scans.phone_log import match_roll

    with book_from(ctx, create=False) as book, progress("Looking") as bar:
        log, gained = match_roll(book, roll, references, step=lambda name: bar.step(1, name))
    if as_json:
        print_json(log.matching.as_dict() | {"frames_gained": gained, "phone": log.as_dict()})
        return
    _tell(log.matching)
    if log.clock is not None:
        say(f"{log.clock.says}.")
    say(f"{gained} frames gained a time or a place.")


def _tell(found: Any) -> None:
    rows = []
    for pair in found.pairs:
        shot = found.shot_of(pair)
        when = (shot.taken_at() or str(shot.taken or "")) if shot else ""
        rows.append((pair.scan, pair.reference or "none", f"{pair.confidence:.0%}", when))
    table(("scan", "phone shot", "confidence", "taken"), rows, right=("confidence",))
    matched = sum(pair.reference is not None for pair in found.pairs)
    say(f"{matched} of {len(found.pairs)} scans have a shot; the shots run {found.order}.")
    for aside in found.asides:
        say(f"left out: {aside.name}: {aside.found}")
