"""`dryside book`: make and look at the book; people, cameras and lenses."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from dryside.book.cameras import add_camera, add_lens, list_cameras, list_lenses
from dryside.book.people import add_person, get_person, list_people
from dryside.book.summary import summarise
from dryside.cli import book_keeping
from dryside.cli.support import AsJson, book_from, print_json, say, table
from dryside.film.formats import parse_format

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    help="Make, back up, restore, export and pack the book; people, cameras, lenses.",
)

app.command("backup")(book_keeping.backup)
app.command("restore")(book_keeping.restore_book)
app.command("pack")(book_keeping.pack_rolls)
app.command("validate")(book_keeping.validate)
app.command("export")(book_keeping.export)
app.command("import")(book_keeping.import_sheet)


@app.command()
def new(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Make the book where the global options say (nothing happens to one that is there)."""
    with book_from(ctx, create=True) as book:
        _show(book, as_json)


@app.command()
def show(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Where the book is and how much is in it."""
    with book_from(ctx, create=False) as book:
        _show(book, as_json)


@app.command()
def people(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Everybody in the book."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        rows = list_people(conn)
    if as_json:
        print_json({"people": rows})
    else:
        table(("name", "email", "phone", ""), [(r.name, r.email, r.phone, "keeper" * r.is_keeper) for r in rows])


@app.command("add-person")
def add_somebody(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument()],
    email: Annotated[str | None, typer.Option()] = None,
    phone: Annotated[str | None, typer.Option()] = None,
    address: Annotated[str | None, typer.Option()] = None,
    keeper: Annotated[bool, typer.Option("--keeper", help="It is this person's book.")] = False,
    as_json: AsJson = False,
) -> None:
    """Add a person."""
    with book_from(ctx) as book, book.write() as conn:
        row = add_person(conn, name, email=email, phone=phone, address=address, is_keeper=keeper)
    _tell("person", row, as_json)


@app.command()
def cameras(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Every camera."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        rows = list_cameras(conn)
    if as_json:
        print_json({"cameras": rows})
    else:
        table(("camera", "maker", "model", "format"), [(r.name, r.maker, r.model, r.format) for r in rows])


@app.command("add-camera")
def add_a_camera(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument()],
    maker: Annotated[str | None, typer.Option(help="As it shall stand in pictures' Exif.")] = None,
    model: Annotated[str | None, typer.Option()] = None,
    film_format: Annotated[str | None, typer.Option("--format")] = None,
    owner: Annotated[str | None, typer.Option()] = None,
    notes: Annotated[str | None, typer.Option()] = None,
    as_json: AsJson = False,
) -> None:
    """Add a camera."""
    with book_from(ctx) as book, book.write() as conn:
        columns: dict[str, Any] = {"maker": maker, "model": model, "notes": notes}
        columns["format"] = parse_format(film_format) if film_format else None
        columns["owner_id"] = get_person(conn, owner).id if owner else None
        row = add_camera(conn, name, **columns)
    _tell("camera", row, as_json)


@app.command()
def lenses(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Every lens."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        rows = list_lenses(conn)
    if as_json:
        print_json({"lenses": rows})
    else:
        lines = [(r.name, r.maker, r.focal_mm, r.focal_max_mm, r.widest_aperture) for r in rows]
        table(("lens", "maker", "mm", "to mm", "f"), lines, right=("mm", "to mm", "f"))


@app.command("add-lens")
def add_a_lens(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument()],
    maker: Annotated[str | None, typer.Option()] = None,
    focal: Annotated[float | None, typer.Option(metavar="MM")] = None,
    focal_to: Annotated[float | None, typer.Option(metavar="MM", help="The long end of a zoom.")] = None,
    widest: Annotated[float | None, typer.Option(metavar="F", help="Widest aperture as marked.")] = None,
    as_json: AsJson = False,
) -> None:
    """Add a lens."""
    columns = {"maker": maker, "focal_mm": focal, "focal_max_mm": focal_to, "widest_aperture": widest}
    with book_from(ctx) as book, book.write() as conn:
        row = add_lens(conn, name, **columns)
    _tell("lens", row, as_json)


def _tell(what: str, row: Any, as_json: bool) -> None:
    if as_json:
        print_json({what: row})
    else:
        say(f"{what.capitalize()} {row.name} is in the book.")


def _show(book: Any, as_json: bool) -> None:
    found = summarise(book)
    if as_json:
        print_json({"book": found})
        return
    say(f"{found.place} (schema {found.schema})")
    table(("rows", "of"), [(count, what) for what, count in found.counts.items() if count], right=("rows",))
