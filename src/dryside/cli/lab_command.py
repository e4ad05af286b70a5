"""`dryside lab`: labs and their price lists."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, say, table, today

app = typer.Typer(add_completion=False, no_args_is_help=True, help="Labs: what they take, prices, days.")


@app.command()
def add(
    ctx: typer.Context,
    files: Annotated[list[Path], typer.Argument(metavar="FILE.toml...", help="A lab each, or folders of them.")],
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Put labs in the book, or newer price lists of labs that are there; all of them or, if one is wrong, none."""
    from dryside.labs.book_labs import add_lab_file

    paths = [one for path in files for one in (sorted(path.glob("*.toml")) if path.is_dir() else [path])]
    with book_from(ctx) as book, book.write() as conn:
        added = [add_lab_file(conn, path, today=today(day)) for path in paths]
    if as_json:
        print_json({"labs": [{**_as_data(known, today(day)), "changed": changed} for known, changed in added]})
        return
    for known, changed in added:
        what = "in the book" if changed else "unchanged"
        say(f"{known.row.name}: prices as of {known.price_list.as_of}, {what}.")


@app.command("list")
def list_command(
    ctx: typer.Context,
    everything: Annotated[bool, typer.Option("--all", help="Also labs no longer used.")] = False,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """List the labs of the book."""
    from dryside.film.processes import process_name
    from dryside.labs.book_labs import list_labs

    on = today(day)
    with book_from(ctx, create=False) as book, book.read() as conn:
        known = list_labs(conn, day=on, with_inactive=everything)
    if as_json:
        print_json({"labs": [_as_data(one, on) for one in known]})
        return
    rows = [
        (
            one.lab.name,
            ", ".join(dict.fromkeys(process_name(line.process) for line in one.lab.develop)),
            one.lab.currency,
            one.price_list.as_of + (" †" if one.lab.prices_are_old(on) else ""),
            one.lab.country or "",
        )
        for one in known
    ]
    table(("lab", "develops", "currency", "prices as of", "country"), rows)
    if any(one.lab.prices_are_old(on) for one in known):
        say("† more than 180 days old: ask for a new list.")


@app.command()
def show(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(metavar="LAB")],
    toml: Annotated[bool, typer.Option("--toml", help="Print its file, to be changed and added again.")] = False,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Show a lab: what it takes, for how much, how long it takes."""
    from dryside.labs.book_labs import get_lab, price_lists_of
    from dryside.labs.lab_words import lab_rows

    with book_from(ctx, create=False) as book, book.read() as conn:
        known = get_lab(conn, name, day=today(day))
        lists = price_lists_of(conn, known.row.id)
    if toml:
        say(known.price_list.toml.rstrip("\n"))
    elif as_json:
        print_json({**_as_data(known, today(day)), "price_lists": [one.as_of for one in lists]})
    else:
        table(("", known.lab.name), lab_rows(known.lab, today(day)))


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(metavar="FILE.toml...")],
    as_json: AsJson = False,
) -> None:
    """Check lab files without a book: every line that is wrong, with its remedy."""
    from dryside.labs.lab_file import LabProblems, read_lab_file

    problems: list[dict[str, str]] = []
    for path in files:
        try:
            read_lab_file(path)
        except LabProblems as found:
            problems += [one.as_dict() for one in found.problems]
            for one in found.problems:
                say(f"dryside: {one}", to_stderr=True)
    if as_json:
        print_json({"problems": problems})
    elif not problems:
        say(f"{len(files)} file{'s' if len(files) != 1 else ''} in order.")
    if problems:
        raise typer.Exit(2)


@app.command()
def retire(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(metavar="LAB")],
    back: Annotated[bool, typer.Option("--back", help="Take it into plans again.")] = False,
    as_json: AsJson = False,
) -> None:
    """Leave a lab out of plans from now on; its orders stay."""
    from dryside.labs.book_labs import get_lab, set_active

    with book_from(ctx, create=False) as book, book.write() as conn:
        known = get_lab(conn, name)
        set_active(conn, known.row.id, back)
    if as_json:
        print_json({"lab": known.row.name, "active": back})
    else:
        say(f"{known.row.name} is {'in plans again' if back else 'left out of plans'}.")


def _as_data(known: Any, on: Any) -> dict[str, Any]:
    from dryside.labs.lab_words import lab_document

    return {**lab_document(known.lab, on), "active": known.row.active, "as_of": known.price_list.as_of}
