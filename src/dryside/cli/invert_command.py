"""`dryside invert`: captures of developed film to positives."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryside.cli.support import AsJson, book_from, instant, print_json, progress, say
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.negatives.invert import InvertOptions, RollInverted
    from dryside.negatives.rendering import Rendering

app = typer.Typer(add_completion=False)

# What people call a scanner's fourth channel, counted from 1 or from 0.
FOURTH_NAMES = frozenset({"3", "4", "i", "ir", "infrared", "channel"})
INTERRUPTED = 130  # 128 + SIGINT, as shells have it


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


class Space(StrEnum):
    """Colour space of a print."""

    SRGB = "srgb"
    DISPLAY_P3 = "display-p3"
    ADOBE_RGB = "adobe-rgb"


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
    ctx: typer.Context,
    captures: Annotated[list[Path], typer.Argument(metavar="CAPTURE...", help="Captures, or folders of them.")],
    process: Annotated[Process, typer.Option(help="How the film was developed.")],
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Where the positives go.")] = None,
    roll: Annotated[str | None, typer.Option(metavar="ROLL", help="File them in the book, with this roll.")] = None,
    film_format: Annotated[str, typer.Option("--format", help="Frame size: 135, half, 120-6x6, ...")] = "135",
    flat: Annotated[Path | None, typer.Option(help="A capture of the bare light.")] = None,
    infrared: Annotated[
        str, typer.Option("--ir", metavar="CHANNEL_OR_FILE", help="Take dust out by infrared: 4, a file, a folder.")
    ] = "",
    specks: Annotated[bool, typer.Option("--specks", help="Take out dust without infrared: may be wrong.")] = False,
    profile: Annotated[Path | None, typer.Option(metavar="PROFILE", help="What 'dryside calibrate' made.")] = None,
    space: Annotated[Space, typer.Option(help="Colour space of a print.")] = Space.SRGB,
    rendering: Annotated[
        RenderingName, typer.Option(help="A finished print, or the scene's light.")
    ] = RenderingName.PRINT,
    assume: Annotated[Assumed, typer.Option(help="How files without a profile are encoded.")] = Assumed.AUTO,
    whole: Annotated[bool, typer.Option("--whole", help="Each capture is one frame and nothing else.")] = False,
    compression: Annotated[Compress, typer.Option(help="Of the TIFF. Some programs read no zstd.")] = Compress.DEFLATE,
    jpeg: Annotated[bool, typer.Option("--jpeg/--no-jpeg", help="A JPEG and a thumbnail beside each TIFF.")] = True,
    longest: Annotated[
        int, typer.Option(metavar="PIXELS", help="Reduce positives to this long side; 0 keeps them.", min=0)
    ] = 0,
    overlay: Annotated[bool, typer.Option("--overlay", help="Draw what was found over each capture.")] = False,
    report: Annotated[Path | None, typer.Option(metavar="FILE.pdf", help="A page about the roll.")] = None,
    workers: Annotated[int, typer.Option(metavar="N", help="Threads; 0 takes one a core.", min=0)] = 0,
    cluster: Annotated[str, typer.Option(metavar="tcp://HOST:PORT", help="A Dask scheduler whose workers do it.")] = "",
    as_json: AsJson = False,
) -> None:
    """Turn captures of negatives into positives with true colour."""
    from dryside.negatives.frame_repairs import FOURTH, DustOptions
    from dryside.negatives.invert import InvertOptions, as_document, capture_files
    from dryside.negatives.write_positive import OutputOptions

    options = InvertOptions(
        process=process.value,
        film_format=_format(film_format),
        rendering=_rendering(rendering, space),
        flat=flat,
        profile=profile,
        assume=assume.value,
        whole=whole,
        dust=DustOptions(FOURTH if infrared.lower() in FOURTH_NAMES else infrared, specks),
        overlay=overlay,
        output=OutputOptions(compression.value, jpeg, jpeg, longest=longest),
        workers=workers or os.cpu_count() or 1,
        cluster=cluster,
    )
    beside = [path for path in (flat, Path(infrared) if infrared else None) if path is not None]
    files = capture_files(captures, beside)
    inverted, filed = _made(ctx, roll, files, options, out)
    if report is not None:
        _write_report(inverted, options, report)
    if as_json:
        print_json(as_document(inverted))
    else:
        say(filed or _words(inverted))
    _tell_refused(inverted)


def _made(
    ctx: typer.Context, roll: str | None, files: list[Path], options: InvertOptions, out: Path | None
) -> tuple[RollInverted, str]:
    """The positives, in the book or in a folder; and what to say of the book."""
    if roll is not None:
        return _into_the_book(ctx, roll, files, options, out)
    if out is None:
        raise Refusal(
            "invert", "no place for the positives", "Give --out DIR, or --roll ROLL to file them in the book."
        )
    return _run(files, options, out), ""


def _tell_refused(inverted: RollInverted) -> None:
    """Name each capture that could not be used; the exit status says so too."""
    for refusal in inverted.refused:
        say(f"dryside: {refusal}", to_stderr=True)
    if inverted.refused:
        raise typer.Exit(2)


def _format(text: str) -> str:
    """The key of a frame size."""
    from dryside.film.formats import film_format, parse_format

    return film_format(parse_format(text)).key


def _rendering(name: RenderingName, space: Space) -> Rendering:
    from dryside.negatives.spaces import ADOBE_RGB, DISPLAY_P3, SRGB, print_rendering, scene_rendering

    spaces = {Space.SRGB: SRGB, Space.DISPLAY_P3: DISPLAY_P3, Space.ADOBE_RGB: ADOBE_RGB}
    return scene_rendering() if name is RenderingName.SCENE else print_rendering(spaces[space])


def _run(files: list[Path], options: InvertOptions, out: Path) -> RollInverted:
    """Invert, with a bar on a terminal; Ctrl-C ends it with a line and nothing half-written."""
    from dryside.negatives.invert import Step
    from dryside.negatives.invert import invert as invert_roll
    from dryside.negatives.kernel_cache import compiled_before

    if not compiled_before():
        say("Compiling the image engine for this machine; only the first run does that.", to_stderr=True)
    written = 0
    with progress("Measuring", total=2 * len(files)) as bar:

        def note(step: Step) -> None:
            nonlocal written
            written = step.done if step.part == "written" else written
            bar.step(1, f"{step.part.capitalize()} {step.path.name}")

        try:
            return invert_roll(files, options, out, note)
        except KeyboardInterrupt:
            say(
                f"dryside: stopped; {written} of {len(files)} captures are written and nothing is half-written. "
                "Run the same command again: it goes on from there.",
                to_stderr=True,
            )
            raise typer.Exit(INTERRUPTED) from None


def _words(roll: RollInverted) -> str:
    """One line a frame: file, number, what to look at."""
    lines = []
    for capture in roll.captures:
        for frame in capture.frames:
            notes = f"  {' '.join(frame.warnings)}" if frame.warnings else ""
            lines.append(f"{frame.positive}{notes}")
    return "\n".join([*lines, *roll.warnings])


def _write_report(roll: RollInverted, options: InvertOptions, path: Path) -> None:
    from dryside.cli.invert_report import write_roll_report

    write_roll_report(roll, options, path)


def _into_the_book(
    ctx: typer.Context, code: str, files: list[Path], options: InvertOptions, out: Path | None
) -> tuple[RollInverted, str]:
    """Invert into the book's pictures/, keep the captures, file the positives with the roll's frames."""
    from dryside.book.rolls import find_roll
    from dryside.scans.own_captures import file_positives, positives_folder

    if out is not None:
        raise Refusal("--out", "with --roll the positives lie in the book", "Leave one of the two out.")
    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            roll = find_roll(conn, code)
        inverted = _run(files, options, positives_folder(book, roll))
        settings = {"process": options.process, "format": options.film_format, "profile": str(options.profile or "")}
        filed = file_positives(book, roll, inverted, flat=options.flat, settings=settings, made_at=instant())
    words = f"{filed.roll}: {filed.captures} captures kept, {len(filed.frames)} frames have a positive."
    if filed.without_frame:
        words += f" Without a frame of the log: {', '.join(filed.without_frame)}."
    return inverted, words
