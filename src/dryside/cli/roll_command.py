"""`dryside roll`: load, finish, move, list and show rolls."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.book.events import list_events
from dryside.book.frames import list_frames
from dryside.book.instants import parse_day
from dryside.book.journey import RollState, parse_state, place_in_words
from dryside.book.loading import NewRoll, load_roll
from dryside.book.rolls import (
    RollRow,
    add_roll_name,
    find_roll,
    list_rolls,
    move_roll,
    names_of,
    update_roll,
)
from dryside.cli.support import AsJson, Today, book_from, instant, names_by_id, print_json, say, table, today
from dryside.film.formats import parse_format
from dryside.film.processes import parse_process, process_name
from dryside.film.refusal import Refusal
from dryside.film.speed import format_push, parse_push, parse_speed

if TYPE_CHECKING:
    pass

app = typer.Typer(
    add_completion=False, no_args_is_help=True, help="Load, finish, list and show rolls; their way so far."
)

Roll = Annotated[str, typer.Argument(metavar="ROLL", help="Its code, or a name of your own for it.")]
Who = Annotated[str | None, typer.Option(help="Who does it.")]


@app.command()
def load(
    ctx: typer.Context,
    stock: Annotated[str | None, typer.Option(help="A stock of the book.")] = None,
    film_format: Annotated[str | None, typer.Option("--format", help="135 (else), half, 120 6x7, ...")] = None,
    camera: Annotated[str | None, typer.Option(help="Added to the book if new.")] = None,
    owner: Annotated[str | None, typer.Option(help="Whose roll; added to the book if new.")] = None,
    process: Annotated[str | None, typer.Option(help="c41, ecn2, bw, e6; else the stock's own.")] = None,
    cross_process: Annotated[bool, typer.Option("--cross-process", help="Another process on purpose.")] = False,
    exposures: Annotated[int | None, typer.Option(help="Frames on it.")] = None,
    ei: Annotated[str | None, typer.Option(help="Exposure index it is metered at.")] = None,
    push: Annotated[str, typer.Option(help="What the lab shall do: +1, -2/3.")] = "",
    title: Annotated[str | None, typer.Option()] = None,
    notes: Annotated[str | None, typer.Option()] = None,
    apart: Annotated[str | None, typer.Option(help="Irreplaceable: rolls of this word never share an order.")] = None,
    expires: Annotated[str | None, typer.Option(metavar="DAY")] = None,
    name: Annotated[list[str] | None, typer.Option(help="Your own number for it; may be repeated.")] = None,
    exposed: Annotated[bool, typer.Option("--exposed", help="It is finished already.")] = False,
    on: Annotated[str | None, typer.Option(metavar="DAY", help="The day it was loaded.")] = None,
    who: Who = None,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """Begin a roll: it gets its code, and one leaves the shelf."""
    new = NewRoll(
        on=parse_day(on) if on else today(now),
        stock=stock,
        film_format=film_format,
        process=process,
        cross_process=cross_process,
        camera=camera,
        owner=owner,
        exposures=exposures,
        exposure_index=parse_speed(ei) if ei else None,
        push_stops=float(parse_push(push)),
        title=title,
        notes=notes,
        irreplaceable=apart,
        expires_on=expires,
        names=tuple(name or ()),
        is_exposed=exposed,
    )
    with book_from(ctx) as book, book.write() as conn:
        loaded = load_roll(conn, new, at=_moment(on, now), who=who)
    if as_json:
        print_json({"roll": loaded.roll, "warnings": loaded.warnings})
        return
    say(f"{loaded.roll.code}: {loaded.roll.format}, {process_name(loaded.roll.process)}. Write the code on the roll.")
    for warning in loaded.warnings:
        say(f"Mind: {warning}")


@app.command()
def finish(
    ctx: typer.Context,
    roll: Roll,
    on: Annotated[str | None, typer.Option(metavar="DAY", help="The day of the last frame.")] = None,
    who: Who = None,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """The last frame is taken: the roll waits for a lab."""
    day = on or today(now).isoformat()
    parse_day(day)
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = move_roll(conn, find_roll(conn, roll), RollState.EXPOSED, at=_moment(on, now), who=who, exposed_on=day)
    _tell(row, as_json)


@app.command()
def move(
    ctx: typer.Context,
    roll: Roll,
    to: Annotated[str, typer.Argument(help=f"One of: {', '.join(RollState)}.")],
    why: Annotated[str | None, typer.Option(help="Kept with the event.")] = None,
    who: Who = None,
    now: Today = None,
    as_json: AsJson = False,
) -> None:
    """Say where a roll is now: developed at home, lost, found, back undeveloped."""
    detail = {"why": why} if why else None
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = move_roll(conn, find_roll(conn, roll), parse_state(to), at=instant(now), who=who, detail=detail)
    _tell(row, as_json)


@app.command("list")
def list_all(
    ctx: typer.Context,
    state: Annotated[list[str] | None, typer.Option(help="Only rolls there; may be repeated.")] = None,
    owner: Annotated[str | None, typer.Option(help="Only this person's.")] = None,
    as_json: AsJson = False,
) -> None:
    """Every roll and where it is."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        rows = list_rolls(conn, states=[parse_state(one) for one in state or ()])
        names = names_by_id(conn)
        if owner:
            rows = [row for row in rows if names["people"].get(row.owner_id or 0, "").casefold() == owner.casefold()]
    if as_json:
        print_json({"rolls": [_shown(row, names) for row in rows]})
        return
    lines = [
        (row.code, names["stocks"].get(row.stock_id), row.format, process_name(row.process),
         format_push(row.push_stops) if row.push_stops else "", names["cameras"].get(row.camera_id),
         names["people"].get(row.owner_id), row.state, row.title)
        for row in rows
    ]  # fmt: skip
    table(("roll", "stock", "format", "process", "push", "camera", "owner", "where", "title"), lines)


@app.command()
def show(ctx: typer.Context, roll: Roll, as_json: AsJson = False) -> None:
    """One roll: what it is, its frames, its way so far."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        row = find_roll(conn, roll)
        names, own = names_by_id(conn), names_of(conn, row.id)
        frames, events = list_frames(conn, row.id), list_events(conn, row.id)
    if as_json:
        print_json({"roll": _shown(row, names), "names": own, "frames": frames, "events": events})
        return
    also = f" (also {', '.join(own)})" if own else ""
    say(f"{row.code}{also}{f': {row.title}' if row.title else ''}")
    for what, value in _facts(row, names):
        if value:
            say(f"  {what:<10} {value}")
    say(f"  {'frames':<10} {len(frames)} noted of {row.exposures or '?'}")
    for event in events:
        by = f", {event.who}" if event.who else ""
        say(f"  {event.at[:10]} {event.to_state if event.kind == 'moved' else event.kind}{by}")


@app.command("set")
def set_columns(
    ctx: typer.Context,
    roll: Roll,
    film_format: Annotated[str | None, typer.Option("--format")] = None,
    process: Annotated[str | None, typer.Option()] = None,
    push: Annotated[str | None, typer.Option()] = None,
    ei: Annotated[str | None, typer.Option()] = None,
    exposures: Annotated[int | None, typer.Option()] = None,
    title: Annotated[str | None, typer.Option()] = None,
    notes: Annotated[str | None, typer.Option()] = None,
    apart: Annotated[str | None, typer.Option()] = None,
    as_json: AsJson = False,
) -> None:
    """Change what the book says of a roll."""
    changes: dict[str, Any] = {
        "format": parse_format(film_format) if film_format else None,
        "process": parse_process(process) if process else None,
        "push_stops": None if push is None else float(parse_push(push)),
        "exposure_index": parse_speed(ei) if ei else None,
        "exposures": exposures,
        "title": title,
        "notes": notes,
        "irreplaceable": apart,
    }
    changes = {column: value for column, value in changes.items() if value is not None}
    if not changes:
        raise Refusal(f"roll {roll}", "nothing to change is said", "Give an option, like --push +1.")
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = update_roll(conn, find_roll(conn, roll).id, **changes)
    _tell(row, as_json)


@app.command("name")
def add_name(
    ctx: typer.Context,
    roll: Roll,
    own: Annotated[str, typer.Argument(metavar="NAME", help="Your own number or name for it.")],
    as_json: AsJson = False,
) -> None:
    """Give a roll a second name, by which it is found from now on."""
    with book_from(ctx, create=False) as book, book.write() as conn:
        row = find_roll(conn, roll)
        add_roll_name(conn, row.id, own)
        known = names_of(conn, row.id)
    if as_json:
        print_json({"roll": row, "names": known})
    else:
        say(f"{row.code} is also {', '.join(known)}.")


def _moment(on: str | None, now: str | None) -> str:
    """The event's instant: on the day that was said."""
    return instant(on or now)


def _tell(row: RollRow, as_json: bool) -> None:
    if as_json:
        print_json({"roll": row})
    else:
        say(f"{row.code} is {place_in_words(row.place)}.")


def _shown(row: RollRow, names: dict[str, dict[int | None, str]]) -> dict[str, Any]:
    shown = {field: getattr(row, field) for field in row.__dataclass_fields__}
    return shown | {
        "stock": names["stocks"].get(row.stock_id),
        "camera": names["cameras"].get(row.camera_id),
        "owner": names["people"].get(row.owner_id),
    }


def _facts(row: RollRow, names: dict[str, dict[int | None, str]]) -> list[tuple[str, Any]]:
    crossed = " (cross-processed)" if row.cross_process else ""
    return [
        ("where", place_in_words(row.place)),
        ("stock", names["stocks"].get(row.stock_id)),
        ("format", row.format),
        ("process", f"{process_name(row.process)}{crossed}"),
        ("push", format_push(row.push_stops) if row.push_stops else None),
        ("metered at", row.exposure_index),
        ("camera", names["cameras"].get(row.camera_id)),
        ("owner", names["people"].get(row.owner_id)),
        ("apart", row.irreplaceable),
        ("notes", row.notes),
    ]
