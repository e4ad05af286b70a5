"""The `dryside` command: global options, the journey's commands, and the one place where refusals are shown."""

from __future__ import annotations

import importlib
import json
import logging
import os
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

import dryside
from dryside.cli.commands import COMMANDS, CommandEntry
from dryside.film.refusal import Refusal

_BY_NAME = {entry.name: entry for entry in COMMANDS}


class JourneyGroup(TyperGroup):
    """Lists the commands in the order of the journey and imports a command's module only when it is used."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names in the order of the journey."""
        return [entry.name for entry in COMMANDS]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command's own Typer app, imported now; a missing name is None."""
        entry = _BY_NAME.get(cmd_name)
        return None if entry is None else _load(entry)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Plain help that needs no command's module and no colour library."""
        formatter.write(_help_text(ctx.command_path))

    def get_help(self, ctx: Any) -> str:
        """The same text, for callers that want a string."""
        return _help_text(ctx.command_path)


def _load(entry: CommandEntry) -> Any:
    """The command behind `entry`, named as the table names it."""
    module = importlib.import_module(entry.module)
    command = typer.main.get_command(module.app)
    command.name = entry.name
    return command


def _help_text(program: str) -> str:
    """All commands under the part of the journey they belong to."""
    lines = [
        f"Usage: {program} [--book DIR] [--verbose] COMMAND ...",
        "",
        "From the shutter to a sleeve of negatives in a binder, in the order of the journey.",
    ]
    part = ""
    for entry in COMMANDS:
        if entry.part != part:
            part = entry.part
            lines += ["", f"{part}:"]
        lines.append(f"  {entry.name:<10} {entry.short_help}")
    lines += [
        "",
        "Options:",
        "  --book DIR            The book: a folder, or a PostgreSQL URL with --files DIR (else DRYSIDE_BOOK).",
        "  --files DIR           Where a PostgreSQL book keeps its files.",
        "  --verbose             Say what is being done, on standard error.",
        "  --version             The version, and stop.",
        "  --install-completion  Complete commands in your shell.",
        "",
        f"'{program} COMMAND --help' explains one. Every command takes --json.",
    ]
    return "\n".join(lines) + "\n"


app = typer.Typer(cls=JourneyGroup, no_args_is_help=True, pretty_exceptions_enable=False)


def _version(value: bool) -> None:
    if value:
        typer.echo(f"dryside {dryside.__version__}")
        raise typer.Exit


@app.callback()
def options(
    ctx: typer.Context,
    book: Annotated[str | None, typer.Option("--book", envvar="DRYSIDE_BOOK", metavar="DIR")] = None,
    files: Annotated[Path | None, typer.Option("--files", envvar="DRYSIDE_FILES", metavar="DIR")] = None,
    verbose: Annotated[bool, typer.Option("--verbose")] = False,
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True)] = False,
) -> None:
    """Options that stand before the command's name."""
    ctx.obj = {"book": book, "files": files}
    if verbose:
        logging.basicConfig(level=logging.INFO, stream=sys.stderr, format="%(name)s: %(message)s")


def run() -> None:
    """Entry point: a refusal is one line on standard error (three parts with --json), never a traceback."""
    try:
        app(standalone_mode=True)
    except Refusal as refusal:
        if "--json" in sys.argv:
            typer.echo(json.dumps({"refused": refusal.as_dict()}, ensure_ascii=False))
        typer.echo(f"dryside: {refusal}", err=True)
        sys.exit(refusal.exit_status)
    except BrokenPipeError:
        # The reader went away (a pager was closed): nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:
        if "--verbose" in sys.argv:
            raise
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        typer.echo(f"dryside: this should not have happened ({what}). What was there before is kept.", err=True)
        typer.echo("Run it again with 'dryside --verbose ...' and report what that prints.", err=True)
        sys.exit(1)


if __name__ == "__main__":
    run()
