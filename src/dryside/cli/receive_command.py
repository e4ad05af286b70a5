"""`dryside receive`: take in a delivery of scans, answer what it asks, watch a folder for the next."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, instant, print_json, progress, say, table
from dryside.film.refusal import Refusal

app = typer.Typer(add_completion=False)


@app.command()
def receive(
    ctx: typer.Context,
    paths: Annotated[list[Path] | None, typer.Argument(help="Zips, folders or pictures of one delivery.")] = None,
    order: Annotated[str | None, typer.Option(help="The order it belongs to: ours or the receipt's number.")] = None,
    roll: Annotated[list[str] | None, typer.Option(help="The roll it is of; once for each.")] = None,
    references: Annotated[Path | None, typer.Option(help="Phone pictures made beside the frames.")] = None,
    phone_offset: Annotated[
        str | None, typer.Option(metavar="+HH:MM", help="The phone clock's offset where its pictures have none.")
    ] = None,
    questions: Annotated[bool, typer.Option("--questions", help="Show what deliveries left open.")] = False,
    decide: Annotated[Path | None, typer.Option(metavar="FILE.json", help="Answers to what was asked.")] = None,
    watch: Annotated[Path | None, typer.Option(metavar="DIR", help="Receive what appears in a folder.")] = None,
    as_json: AsJson = False,
    today: Today = None,
) -> None:
    """Take in a lab's delivery: keep the files, find rolls and frames, ask about what is not sure.

    Answers are {"delivery": 3, "rolls": {"0": "26-014-D"}, "frames": {"0612-07.jpg": "7", "0612-08.jpg": null}}.
    """
    if watch is not None:
        _watch(ctx, watch, as_json)
    elif questions or decide is not None:
        _ask(ctx, decide, as_json, instant(today))
    else:
        _receive(ctx, list(paths or []), as_json, order=order, rolls=roll or [], references=references,
                 phone_offset_s=_offset_s(phone_offset), at=instant(today))  # fmt: skip


def _receive(ctx: typer.Context, paths: list[Path], as_json: bool, **hints: Any) -> None:
    from dryside.scans.receive import receive as receive_delivery

    with book_from(ctx) as book, progress("Receiving") as bar:
        delivery = receive_delivery(book, paths, step=lambda name: bar.step(1, name), **hints)
    if as_json:
        print_json(delivery.as_dict())
    else:
        _tell(delivery)


def _ask(ctx: typer.Context, decide: Path | None, as_json: bool, at: str) -> None:
    from dryside.scans.decide import answer, questions

    with book_from(ctx, create=False) as book:
        if decide is None:
            open_questions = questions(book)
        else:
            given = _answers(decide)
            rolls = {int(group): code for group, code in given.get("rolls", {}).items()}
            open_questions = answer(
                book, int(given["delivery"]), rolls=rolls, frames_by_file=given.get("frames", {}),
                begins={int(group): name for group, name in given.get("begins", {}).items()}, at=at,
            )  # fmt: skip
    if as_json:
        print_json({"questions": open_questions})
        return
    if not open_questions:
        say("Nothing is asked.")
    for question in open_questions:
        others = ", ".join(str(o if isinstance(o, str) else o.get("frame")) for o in question["others"])
        about = f"{len(question['files'])} files" if question["kind"] == "roll" else question["file"]
        say(f"delivery {question['delivery']}, {about}: {question['kind']} {question['guess'] or 'none'}? "
            f"Or: {others or 'none of them'}. ({'; '.join(question['why'])})")  # fmt: skip


def _answers(path: Path) -> dict[str, Any]:
    try:
        given = json.loads(path.read_text("utf-8"))
        int(given["delivery"])
        [int(group) for group in (*given.get("rolls", {}), *given.get("begins", {}))]
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as problem:
        raise Refusal(
            str(path), f"it holds no answers ({problem})", 'Write {"delivery": 3, "rolls": {}, "frames": {}}.'
        ) from problem
    return given


def _offset_s(text: str | None) -> int | None:
    if text is None:
        return None
    sign, _, rest = (-1, "", text[1:]) if text.startswith("-") else (1, "", text.lstrip("+"))
    hours, _, minutes = rest.partition(":")
    try:
        return sign * (int(hours) * 60 + int(minutes or 0)) * 60
    except ValueError as problem:
        raise Refusal(f"--phone-offset {text}", "this is no offset from UTC", "Write it like +02:00.") from problem


def _watch(ctx: typer.Context, folder: Path, as_json: bool) -> None:
    from dryside.scans.watching import watch_folder

    def tell(result: Any) -> None:
        if as_json:
            print_json({"refused": result.as_dict()} if isinstance(result, Refusal) else result.as_dict())
        elif isinstance(result, Refusal):
            say(f"dryside: {result}", to_stderr=True)
        else:
            _tell(result)

    say(f"Watching {folder}; stop with Ctrl-C.", to_stderr=True)
    with book_from(ctx) as book:
        try:
            watch_folder(book, folder, tell)
        except KeyboardInterrupt:
            say("Stopped.", to_stderr=True)


def _tell(delivery: Any) -> None:
    for placed in delivery.rolls:
        sure = sum(scan.sure for scan in placed.scans)
        name = f"roll {placed.guess.code}" if placed.guess.code else "a roll that is not waited for"
        say(f"{name}{'' if placed.guess.sure else ' (not sure)'}: {len(placed.scans)} pictures, {sure} placed")
        if placed.missing:
            say(f"  did not come: frames {', '.join(placed.missing)}")
        for doubt in placed.doubts:
            say(f"  {'perhaps not yours: ' if doubt.may_be_anothers else ''}{doubt.says}. {doubt.remedy}")
        unsure = [scan for scan in placed.scans if not scan.sure]
        if unsure:
            table(("file", "frame", "confidence", "why"), [
                (s.name, s.frame or "none", f"{s.confidence:.0%}", "; ".join(r.says for r in s.reasons)) for s in unsure
            ], right=("confidence",))  # fmt: skip
            say("  Answer with: dryside receive --decide FILE.json (dryside receive --questions shows what is open).")
    for doubt in delivery.doubts:
        say(f"{doubt.says}. {doubt.remedy}")
    if delivery.phone is not None and delivery.phone.clock is not None:
        say(f"Phone: {delivery.phone.clock.says}.")
    if delivery.known:
        say(f"{len(delivery.known)} pictures were here already; nothing was added for them.")
    for aside in delivery.asides:
        say(f"put aside: {Refusal(aside.name, aside.found, aside.remedy)}")
