"""`dryside invert`: captures of developed film to positives."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from dryside.cli.support import AsJson, print_json, say

app = typer.Typer(add_completion=False)


class Process(StrEnum):
    """How the film was developed."""

    C41 = "c41"
    ECN2 = "ecn2"
    BW = "bw"
    E6 = "e6"


class RenderingName(StrEnum):
    """What is made of the light that was on the film."""

    SCENE = "scene"
    PRINT = "print"


class Compress(StrEnum):
    """How the TIFF's strips are packed."""

    DEFLATE = "deflate"
    ZSTD = "zstd"
    NONE = "none"


class Assumed(StrEnum):
    """How files without a profile are encoded."""

    AUTO = "auto"
    LINEAR = "linear"
    SRGB = "srgb"


@app.command()
def invert(
    captures: Annotated[list[Path], typer.Argument(metavar="CAPTURE...", help="Captures, or folders of them.")],
    process: Annotated[Process, typer.Option(help="How the film was developed.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where the positives go.")],
    film_format: Annotated[str, typer.Option("--format", help="Frame size: 135, half, 120-6x6, ...")] = "135",
    flat: Annotated[Path | None, typer.Option(help="A capture of the bare light.")] = None,
    rendering: Annotated[
        RenderingName, typer.Option(help="A finished print, or the scene's light.")
    ] = RenderingName.PRINT,
    assume: Annotated[Assumed, typer.Option(help="How files without a profile are encoded.")] = Assumed.AUTO,
    whole: Annotated[bool, typer.Option("--whole", help="Each capture is one frame and nothing else.")] = False,
    compression: Annotated[Compress, typer.Option(help="Of the TIFF. Some programs read no zstd.")] = Compress.DEFLATE,
    jpeg: Annotated[bool, typer.Option("--jpeg/--no-jpeg", help="A JPEG and a thumbnail beside each TIFF.")] = True,
    workers: Annotated[int, typer.Option(metavar="N", help="Threads; 0 takes one a core.", min=0)] = 0,
    cluster: Annotated[str, typer.Option(metavar="tcp://HOST:PORT", help="A Dask scheduler whose workers do it.")] = "",
    as_json: AsJson = False,
) -> None:
    """Turn captures of negatives into positives with true colour."""
    from dryside.film.formats import parse_format
    from dryside.negatives.invert import InvertOptions, as_document, capture_files
    from dryside.negatives.invert import invert as invert_roll
    from dryside.negatives.rendering import PRINT, SCENE
    from dryside.negatives.write_positive import OutputOptions

    options = InvertOptions(
        process=process.value,
        film_format=parse_format(film_format),
        rendering=SCENE if rendering is RenderingName.SCENE else PRINT,
        flat=flat,
        assume=assume.value,
        whole=whole,
        output=OutputOptions(compression.value, jpeg, jpeg),
        workers=workers or os.cpu_count() or 1,
        cluster=cluster,
    )
    files = capture_files(captures, [flat] if flat else [])
    roll = invert_roll(files, options, out)
    if as_json:
        print_json(as_document(roll))
    for refusal in roll.refused:
        say(f"dryside: {refusal}", to_stderr=True)
    if roll.refused:
        raise typer.Exit(2)
