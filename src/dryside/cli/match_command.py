"""`dryside match`: which phone shot was made beside which frame."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, print_json, progress, say, table

app = typer.Typer(add_completion=False)


@app.command()
def match(
    scans: Annotated[Path, typer.Argument(help="The folder of scans.")],
    references: Annotated[Path, typer.Option(help="The folder of phone pictures.")],
    as_json: AsJson = False,
) -> None:
    """Match scans to phone shots made beside each frame, by what they show and by the order in time."""
    from dryside.scans.matching import match_folders

    with progress("Looking") as bar:
        found = match_folders(scans, references, step=lambda name: bar.step(1, name))
    if as_json:
        print_json(found.as_dict())
        return
    _tell(found)


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
