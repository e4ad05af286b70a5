"""The commands of `sleeve` for what lies in binders already: moving, refiling, lending, spines, care."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, progress, say, table, today

app = typer.Typer(add_completion=False)


@app.command("move")
def move_command(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(metavar="BINDER/PAGE or ROLL/STRIP")],
    to: Annotated[str, typer.Argument(metavar="BINDER[/PAGE[/ROW[/PLACE]]]")],
    make_room: Annotated[bool, typer.Option("--make-room", help="Push the pages from there on one further.")] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Move a page, or one strip of a roll, to another place. 'sleeve undo' takes it back."""
    from dryside.film.refusal import NotFound, Refusal
    from dryside.sleeves.binders import find_binder, parse_address
    from dryside.sleeves.moving import move_page, move_strip
    from dryside.sleeves.whereabouts import find_picture

    with book_from(ctx, create=False) as book, book.write() as conn:
        target = parse_address(to)
        try:
            source = parse_address(what)
            binder = find_binder(conn, source.binder)
        except Refusal as no_binder:
            try:
                roll, strip = find_picture(conn, what)
            except NotFound:
                raise no_binder from None
            if not strip or not strip.isdigit():
                raise Refusal(what, "which strip is not said", f"Write it like {roll.code}/3.") from None
            move = move_strip(conn, roll, int(strip), target, at=instant(day))
        else:
            if source.page is None:
                remedy = f"Name one: {binder.name}/3. All of them: dryside sleeve refile --into."
                raise Refusal(f"binder {binder.name}", "which page is not said", remedy)
            move = move_page(conn, binder, source.page, target, make_room=make_room, at=instant(day))
    if json:
        print_json(move)
        return
    say(f"{move.what}: {move.from_place} is now {move.to_place}. Print the inserts of both pages anew.")


@app.command("refile")
def refile_command(
    ctx: typer.Context,
    binder: Annotated[str, typer.Argument(metavar="BINDER")],
    order: Annotated[str, typer.Option("--order", help="date, code or page (as they lie).")] = "date",
    into: Annotated[
        str | None, typer.Option("--into", metavar="BINDER", help="Carry its pages over to this one.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Give the binder another name.")] = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Put a whole binder in order, carry it into another, or rename it: one change, which 'sleeve undo' takes back."""
    from dryside.sleeves.binders import find_binder
    from dryside.sleeves.moving import refile

    with book_from(ctx, create=False) as book, book.write() as conn:
        source = find_binder(conn, binder)
        target = find_binder(conn, into) if into else None
        moves = refile(conn, source, order=order, into=target, name=name, at=instant(day))  # type: ignore[arg-type]
    if json:
        print_json({"moves": moves})
        return
    table(("page", "is now"), [(move.from_place, move.to_place) for move in moves])
    if not moves:
        say("Every page lies where it belongs.")


@app.command("lend")
def lend_command(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(metavar="ROLL[/FRAME] or BINDER/PAGE")],
    to: Annotated[str, typer.Option("--to", help="Who has it.")],
    strip: Annotated[int | None, typer.Option("--strip", help="Only this strip of the roll.")] = None,
    why: Annotated[str | None, typer.Option("--why", help="What for: an enlargement, an exhibition.")] = None,
    due: Annotated[
        str | None, typer.Option("--due", metavar="DAY", help="When it should be back; 'due' reminds.")
    ] = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Note that negatives were handed out: a roll, the strip with a frame, or a whole page."""
    from dryside.film.refusal import NotFound
    from dryside.sleeves.binders import find_binder, parse_address
    from dryside.sleeves.lending import lend_page, lend_strips, strips_meant
    from dryside.sleeves.whereabouts import find_picture

    with book_from(ctx, create=False) as book, book.write() as conn:
        try:
            roll, label = find_picture(conn, what)
        except NotFound as no_roll:
            address = parse_address(what)
            try:
                binder = find_binder(conn, address.binder)
            except NotFound:
                raise no_roll from None
            if address.page is None:
                remedy = f"Lend its pages: {binder.name}/3."
                raise NotFound(f"binder {binder.name}", "which page is not said", remedy) from None
            made = [lend_page(conn, binder, address.page, to, on=today(day), due_on=due, why=why)]
        else:
            chosen = strips_meant(conn, roll, label, strip)
            made = lend_strips(conn, roll, chosen, to, on=today(day), due_on=due, why=why)
    if json:
        print_json({"loans": made})
        return
    for loan in made:
        say(f"{loan.id}: {loan.what} lent to {loan.to_whom}" + (f", due back {loan.due_on}" if loan.due_on else ""))


@app.command("back")
def back_command(
    ctx: typer.Context,
    loans: Annotated[
        list[int] | None, typer.Argument(metavar="[NUMBER...]", help="Loans that are over; else list them.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="List also what came back.")] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Note that negatives came back; without a number, show what is out."""
    from dryside.sleeves.lending import bring_back, list_loans

    with book_from(ctx, create=False) as book:
        if loans:
            with book.write() as conn:
                done = [bring_back(conn, number, on=today(day)) for number in loans]
            if json:
                print_json({"loans": done})
                return
            for loan in done:
                say(f"{loan.what}: back from {loan.to_whom}.")
            return
        with book.read() as conn:
            out = list_loans(conn, everything=everything)
    if json:
        print_json({"loans": out})
        return
    rows = [(one.id, one.what, one.to_whom, one.why, one.lent_on, one.due_on, _state(one, today(day))) for one in out]
    table(("number", "what", "who has it", "why", "since", "due", ""), rows, right=("number",))


def _state(loan: Any, on: Any) -> str:
    over = loan.days_over(on)
    if loan.back_on:
        return f"back {loan.back_on}"
    return f"{over} days late" if over > 1 else "1 day late" if over else ""


@app.command("loose")
def loose_command(
    ctx: typer.Context,
    capture: Annotated[Path, typer.Argument(metavar="CAPTURE", help="One capture of one strip, its edges in view.")],
    process: Annotated[str, typer.Option("--process", help="c41, ecn2, bw or e6.")] = "c41",
    format: Annotated[str, typer.Option("--format")] = "135",
    flat: Annotated[Path | None, typer.Option("--flat", help="Capture of the bare light.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Start no roll, only say.")] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Which roll a loose strip belongs to, and where: by its edge and what its frames show. If none, it starts one."""
    from dryside.sleeves.loose import place_strip, verdict
    from dryside.sleeves.shoebox import gather, look, read_loose_strip, start_roll

    strip = read_loose_strip(capture, process=process, format=format, flat=flat)
    with book_from(ctx, create=True) as book:
        with book.read() as conn, progress("Pictures of the book") as steps:
            shelf = gather(book, conn, steps.step)
        with progress("Frames of the strip", total=len(strip.frames)) as steps:
            guesses = place_strip(strip, shelf.rolls, shelf.frames, look, steps.step)
        found = verdict(guesses)
        started = None
        if found == "none" and not dry_run:
            with book.write() as conn:
                started = start_roll(conn, strip, process=process, format=format, on=today(day), at=instant(day))
        with book.read() as conn:
            places = _places_of(conn, guesses[0]) if found != "none" else []
    if json:
        edge = {"stock_number": strip.stock_number, "labels": [frame.label for frame in strip.frames]}
        print_json(
            {
                "verdict": found,
                "edge": edge,
                "guesses": guesses[:5],
                "places": places,
                "started": started.code if started else None,
            }
        )
        return
    _show_loose(found, guesses, places, started, capture)


def _places_of(conn: Any, guess: Any) -> list[Any]:
    from dryside.book.rolls import get_roll
    from dryside.sleeves.whereabouts import whereabouts

    roll = get_roll(conn, guess.roll_id)
    return [whereabouts(conn, roll, label)[0] for label in guess.labels if label is not None]


def _show_loose(found: str, guesses: list[Any], places: list[Any], started: Any, capture: Path) -> None:
    if found == "none":
        say("It belongs to no roll of the book.")
        if guesses:
            say(f"The likeliest was {guesses[0].code} ({guesses[0].confidence:.0%}): {'; '.join(guesses[0].reasons)}.")
        if started:
            say(f"It starts roll {started.code}. Next: dryside invert {capture} --roll {started.code}")
        return
    for guess in guesses[:1] if found == "found" else guesses[:3]:
        known = [label for label in guess.labels if label is not None]
        sure = "is of" if found == "found" else "may be of"
        why = "; ".join(guess.reasons)
        say(f"It {sure} roll {guess.code}, frames {', '.join(known)} ({guess.confidence:.0%}): {why}.")
    for place in places:
        say(f"  {place}")
    if found == "asked":
        say("Look at both before filing it.")


@app.command("spine")
def spine_command(
    ctx: typer.Context,
    binders: Annotated[list[str] | None, typer.Argument(metavar="[BINDER...]", help="Else all.")] = None,
    width: Annotated[float, typer.Option("--width", metavar="MM")] = 45.0,
    height: Annotated[float, typer.Option("--height", metavar="MM")] = 190.0,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE")] = None,
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Print labels for the spines of binders, at true size with cut marks."""
    from dryside.book.files import put_file, put_paper
    from dryside.film.refusal import NotFound
    from dryside.paper.spine_label import spine_labels
    from dryside.sleeves.binders import find_binder, list_binders
    from dryside.sleeves.inserts import spine_of

    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            chosen = [find_binder(conn, name) for name in binders] if binders else list_binders(conn)
            if not chosen:
                raise NotFound("spines", "there is no binder yet", "Make one: dryside sleeve binder NAME.")
            labels = [spine_of(conn, binder) for binder in chosen]
        pdf = spine_labels(labels, width_mm=width, height_mm=height, made_on=today(day), paper=paper)
        path = put_file(out.parent, out.name, pdf) if out else put_paper(book, "spines.pdf", pdf)
    if json:
        print_json({"pdf": path, "labels": labels})
        return
    say(str(path))


@app.command("care")
def care_command(ctx: typer.Context, json: AsJson = False) -> None:
    """How to store what the binders hold: acetate, colour, and what may be nitrate. Advice; local rules come first."""
    from dryside.sleeves.care import WARM_UP, care_of_binders

    with book_from(ctx, create=False) as book, book.read() as conn:
        found = care_of_binders(conn)
    if json:
        print_json({"binders": found, "warm_up": WARM_UP})
        return
    for care in found:
        shelf = f" ({care.shelf})" if care.shelf else ""
        say(f"{care.binder}{shelf}: {', '.join(care.materials) or 'empty'}")
        for caution in care.cautions:
            say(f"  CAUTION: {caution}")
        if care.nitrate_rolls:
            say(f"  Look first at: {', '.join(care.nitrate_rolls)}")
        if care.advice:
            say("  Keep it steadily at one of:")
            for row in care.advice:
                say(f"    {row.text} ({row.term} term; {row.source})")
    say(WARM_UP)
    say("This is advice: the standards themselves, local rules and licensed practice come first.")
