"""What commands share: the open book, today, JSON, words, tables, progress."""

from __future__ import annotations

import dataclasses
import functools
import inspect
import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.book.folder import Book

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
Today = Annotated[
    str | None, typer.Option("--today", envvar="DRYSIDE_TODAY", metavar="DAY", help="Act as on this day.")
]


def with_options(group: type[Any]) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command the options that a dataclass declares, its fields annotated as a command's parameters are.

    The command's second parameter takes them, as one of these; the first stays the context. So that commands with the
    same options declare them once.
    """

    def give(command: Callable[..., None]) -> Callable[..., None]:
        own = inspect.signature(command, eval_str=True)
        first, taken, *others = own.parameters.values()
        fields = inspect.signature(group, eval_str=True).parameters
        hints = get_type_hints(group, include_extras=True)
        options = [one.replace(annotation=hints[name], kind=first.kind) for name, one in fields.items()]

        @functools.wraps(command)
        def called(**given: Any) -> None:
            told = group(**{name: given.pop(name) for name in fields})
            command(**given, **{taken.name: told})

        made = [first, *options, *others]
        called.__dict__["__signature__"] = own.replace(parameters=made)
        called.__annotations__ = {one.name: one.annotation for one in made}
        del called.__wrapped__
        return called

    return give


@contextmanager
def book_from(ctx: typer.Context, create: bool = True) -> Iterator[Book]:
    """The book that the global options name, open for the block.

    Raises
    ------
    NotFound
        If there is none and `create` is false.
    """
    from dryside.book.folder import open_book

    given = ctx.obj or {}
    book = open_book(given.get("book"), files=given.get("files"), create=create)
    try:
        yield book
    finally:
        book.close()


def today(option: str | None = None) -> date:
    """The day to act on: the option, else DRYSIDE_TODAY, else the calendar's.

    Raises
    ------
    Refusal
        If it is no day.
    """
    text = option or os.environ.get("DRYSIDE_TODAY")
    if not text:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise Refusal(f"--today {text}", "this is no day", "Write it like 2026-07-14.") from error


def instant(option: str | None = None) -> str:
    """Now as ISO 8601 with offset; on the day of `today` where that is set."""
    clock = datetime.now().astimezone()
    day = today(option)
    if day == clock.date():
        return clock.isoformat(timespec="seconds")
    return datetime(day.year, day.month, day.day, 12).astimezone().isoformat(timespec="seconds")


def print_json(value: Any) -> None:
    """One JSON document on standard output: decimals as text, days and instants as ISO 8601, dataclasses as objects."""
    typer.echo(json.dumps(value, default=_plain, ensure_ascii=False, indent=2))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, Decimal | Path):
        return str(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, set | frozenset | tuple):
        return sorted(value) if isinstance(value, set | frozenset) else list(value)
    if hasattr(value, "item"):  # a NumPy scalar
        return value.item()
    raise TypeError(f"{type(value).__name__} has no JSON form")


def counted(count: int, thing: str) -> str:
    """`1 frame`, `2 frames`."""
    return f"{count} {thing}{'' if count == 1 else 's'}"


def say(text: str, *, to_stderr: bool = False) -> None:
    """Words for a person. With --json, pass `to_stderr` so that standard output stays one document."""
    typer.echo(text, err=to_stderr)


def table(columns: Sequence[str], rows: Iterable[Sequence[Any]], *, right: Sequence[str] = ()) -> None:
    """A table for people on standard output; `right` names the columns of figures."""
    from rich.console import Console
    from rich.table import Table

    grid = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for name in columns:
        grid.add_column(name, justify="right" if name in right else "left", overflow="fold")
    for row in rows:
        grid.add_row(*("" if cell is None else str(cell) for cell in row))
    # A pipe has no width of its own; nothing is folded or cut there.
    console = Console(highlight=False, markup=False, width=None if sys.stdout.isatty() else 200)
    console.print(grid, crop=console.is_terminal)


class Steps:
    """Counts steps of long work on standard error."""

    def __init__(self, advance: Any) -> None:
        self._advance = advance

    def step(self, count: float = 1, words: str | None = None) -> None:
        """Say that `count` more are done, and what is being done now."""
        self._advance(count, words)


@contextmanager
def progress(words: str, total: float | None = None, *, shown: bool | None = None) -> Iterator[Steps]:
    """A progress bar on standard error: where that is a terminal, or when `shown` is true.

    Yields
    ------
    Steps
        Call its `step` as the work goes on.
    """
    if not (sys.stderr.isatty() if shown is None else shown):
        yield Steps(lambda _count, _words: None)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task(words, total=total)
        yield Steps(lambda count, what: bar.update(task, advance=count, **({"description": what} if what else {})))


def names_by_id(conn: Any) -> dict[str, dict[int | None, str]]:
    """Names of people, stocks, cameras and lenses by their row ids, for lists."""
    from dryside.book import schema

    return {
        name: {row.id: row.name for row in conn.execute(schema.metadata.tables[name].select())}
        for name in ("people", "stocks", "cameras", "lenses")
    }
