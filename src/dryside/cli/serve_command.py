"""`dryside serve`: the book in a browser, on this machine or (with a password and TLS) in the household's network."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from dryside.cli.support import AsJson, Today, print_json, say, today
from dryside.film.refusal import NotFound, Refusal

app = typer.Typer(add_completion=False)

PORT = 8137
PASSWORD_VARIABLE = "DRYSIDE_PASSWORD"  # noqa: S105 - the name of a variable


@app.command()
def serve(
    ctx: typer.Context,
    demo: Annotated[bool, typer.Option("--demo", help="The demo's book, on the demo's own day.")] = False,
    host: Annotated[str | None, typer.Option(help="An address to listen on; needs a password.")] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = PORT,
    lan: Annotated[bool, typer.Option("--lan", help="For phones in the household's network, over TLS.")] = False,
    set_password: Annotated[
        bool, typer.Option("--set-password", help=f"Ask for a new password (or take {PASSWORD_VARIABLE}).")
    ] = False,
    new_token: Annotated[
        str | None, typer.Option("--new-token", metavar="NAME", help="Print a token for scripts, and stop.")
    ] = None,
    forget_tokens: Annotated[
        bool, typer.Option("--forget-tokens", help="Make all tokens worthless, and stop.")
    ] = False,
    as_json: AsJson = False,
    day: Today = None,
) -> None:
    """Open the book in a browser; Ctrl-C ends it. Without --host or --lan only this machine can reach it."""
    from dryside.book.folder import open_book
    from dryside.demo.run import season_day
    from dryside.web.network import listening, say_addresses
    from dryside.web.server import run_server

    given = ctx.obj or {}
    where = given.get("book")
    if demo and not (where := Path("demo-book") / "book").exists():
        raise NotFound(str(where), "the demo's book is not there", "Make it first: dryside demo.")
    on = today(day or (season_day() if demo else None)) if (day or demo or os.environ.get("DRYSIDE_TODAY")) else None
    with open_book(where, files=given.get("files")) as book:
        if new_token or forget_tokens:
            _tokens(book, new_token, as_json=as_json)
            return
        place = listening(book, host=host, port=port, lan=lan)
        password = _password(book, ask=set_password, needed=place.password_needed)
        if as_json:
            print_json({"addresses": place.addresses, "book": book.root})
            sys.stdout.flush()
        else:
            say(say_addresses(place))
        run_server(book, place, password_digest=password, today=on)


def _tokens(book, name: str | None, *, as_json: bool) -> None:
    from dryside.web.settings import forget_api_tokens, new_api_token

    if name is None:
        forget_api_tokens(book)
        print_json({"tokens": 0}) if as_json else say("No token opens this book any more.")
        return
    token = new_api_token(book, name)
    print_json({"name": name, "token": token}) if as_json else say(f"{token}\nIt is shown this once.")


def _password(book, *, ask: bool, needed: bool) -> str | None:
    """The digest to hold attempts against: a new one where asked for, else the book's; None on loopback."""
    from dryside.web.passwords import digest
    from dryside.web.settings import PASSWORD, SESSIONS, read_setting, write_setting

    kept = read_setting(book, PASSWORD)
    given = os.environ.get(PASSWORD_VARIABLE)
    if (needed and kept is None and not given and sys.stdin.isatty()) or (ask and not given):
        given = typer.prompt("A password for this book", hide_input=True, confirmation_prompt=True, err=True)
    if given and (ask or kept is None) and (needed or ask):
        kept = digest(given)
        write_setting(book, PASSWORD, kept)
        write_setting(book, SESSIONS, {})
    if needed and kept is None:
        remedy = f"Run it with --set-password in a terminal, or set {PASSWORD_VARIABLE}."
        raise Refusal("serve", "other machines could reach the book, and it has no password", remedy)
    return kept if needed else None
