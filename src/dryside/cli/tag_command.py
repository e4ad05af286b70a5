"""`dryside tag`: write date, camera, exposure, place and caption into a roll's pictures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryside.cli.support import AsJson, book_from, print_json, progress, say

app = typer.Typer(add_completion=False)


@app.command()
def tag(
    ctx: typer.Context,
    rolls: Annotated[list[str], typer.Argument(help="Codes or names of rolls.")],
    template: Annotated[
        str | None, typer.Option(help="Names of the copies, such as '{year}/{roll}/{roll}_{frame}'.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Write the copies here and leave the book as it is.")] = None,
    sidecars: Annotated[
        bool, typer.Option("--sidecars", help="Leave the image files untouched; write NAME.xmp.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Write what is known of each picture into its filed copy; image data stays as delivered, bit for bit."""
    from dryside.scans.naming import DEFAULT_TEMPLATE
    from dryside.scans.tagging import tag_roll

    done = {}
    with book_from(ctx, create=False) as book, progress("Tagging") as bar:
        for roll in rolls:
            done[roll] = tag_roll(
                book, roll, template=template or DEFAULT_TEMPLATE, out=out, sidecars=sidecars,
                step=lambda name: bar.step(1, name),
            )  # fmt: skip
        root = out or book.pictures
    if as_json:
        print_json({"folder": root, "rolls": [{"roll": roll, "pictures": made} for roll, made in done.items()]})
        return
    for roll, made in done.items():
        say(f"roll {roll}: {len(made)} pictures tagged in {root}")
