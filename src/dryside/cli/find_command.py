"""`dryside find`: a picture by words, days, place, camera ... and the way to its strip."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from dryside.book.cameras import get_camera, get_lens
from dryside.book.instants import parse_day
from dryside.book.journey import RollState, place_in_words
from dryside.book.notes.coordinates import PAIR, read_pair
from dryside.book.people import get_person
from dryside.book.rolls import find_roll
from dryside.book.search import FoundFrame, FrameQuery, find_frames
from dryside.book.stocks import get_stock
from dryside.book.whereabouts import Whereabouts, where_are
from dryside.cli.support import AsJson, book_from, print_json, say
from dryside.film.refusal import Refusal

app = typer.Typer(add_completion=False)


@app.command()
def find(
    ctx: typer.Context,
    words: Annotated[list[str] | None, typer.Argument(help="Words, 'a phrase', begin*, -without; or a roll.")] = None,
    since: Annotated[str | None, typer.Option("--from", metavar="DAY", help="First day.")] = None,
    until: Annotated[str | None, typer.Option("--to", metavar="DAY", help="Last day.")] = None,
    near: Annotated[str | None, typer.Option(metavar="LAT,LON", help="Taken near there.")] = None,
    within: Annotated[float, typer.Option(metavar="KM", help="How near.")] = 5.0,
    roll: Annotated[str | None, typer.Option()] = None,
    camera: Annotated[str | None, typer.Option()] = None,
    lens: Annotated[str | None, typer.Option()] = None,
    stock: Annotated[str | None, typer.Option()] = None,
    owner: Annotated[str | None, typer.Option(help="Whose roll.")] = None,
    person: Annotated[str | None, typer.Option(help="Who is in it.")] = None,
    rating: Annotated[int | None, typer.Option(min=1, max=5, help="At least so many stars.")] = None,
    not_printed: Annotated[bool, typer.Option("--not-printed", help="Never printed yet.")] = False,
    at_lab: Annotated[bool, typer.Option("--at-lab", help="Its negatives are still at the lab.")] = False,
    limit: Annotated[int, typer.Option(min=1, max=1000, help="How many to show.")] = 20,
    after: Annotated[int | None, typer.Option(help="Go on after this (from the page before).")] = None,
    as_json: AsJson = False,
) -> None:
    """Find pictures, the newest first, each with the way to its negative."""
    with book_from(ctx, create=False) as book, book.read() as conn:
        query = FrameQuery(
            words=" ".join(f'"{word}"' if " " in word and '"' not in word else word for word in words or ()),
            roll_id=find_roll(conn, roll).id if roll else None,
            camera_id=get_camera(conn, camera).id if camera else None,
            lens_id=get_lens(conn, lens).id if lens else None,
            stock_id=get_stock(conn, stock).id if stock else None,
            owner_id=get_person(conn, owner).id if owner else None,
            person=person,
            since=parse_day(since) if since else None,
            until=parse_day(until) if until else None,
            near=_position(near) if near else None,
            within_km=within,
            rating=rating,
            not_printed=not_printed,
            negatives_at_lab=at_lab,
        )
        page = find_frames(conn, query, limit=limit, after=after, budget_s=None)
        ways = where_are(conn, book, [frame.id for frame in page.frames])
    if as_json:
        print_json({"frames": [_shown(frame, ways[frame.id]) for frame in page.frames], "after": page.after})
        return
    for frame in page.frames:
        _say(frame, ways[frame.id])
    if not page.frames:
        say("Nothing found.")
    if page.after is not None:
        say(f"There is more: add --after {page.after}.")


def _position(text: str) -> tuple[float, float]:
    match = PAIR.search(text.strip())
    if match:
        return read_pair(match)
    parts = text.replace(";", ",").split(",")
    try:
        latitude, longitude = (float(part) for part in parts)
    except ValueError as error:
        raise Refusal(f"--near {text}", "this is no place", "Write it like 41.1456,-8.6109.") from error
    return latitude, longitude


def _shown(frame: FoundFrame, way: Whereabouts) -> dict[str, Any]:
    shown = {name: getattr(frame, name) for name in frame.__dataclass_fields__}
    return shown | {"where": {name: getattr(way, name) for name in way.__dataclass_fields__}, "way": way.in_words}


def _say(frame: FoundFrame, way: Whereabouts) -> None:
    day = (frame.taken_at or "")[:10]
    said = ", ".join(part for part in (day, frame.caption, frame.place, "*" * (frame.rating or 0)) if part)
    title = f" ({frame.roll_title})" if frame.roll_title else ""
    say(f"{frame.roll} frame {frame.label}{title}: {said or 'nothing noted'}")
    if way.picture:
        say(f"    {way.picture}")
    say(
        f"    {way.in_words if way.strip is not None else f'the roll is {place_in_words(RollState(frame.roll_state))}'}"
    )
