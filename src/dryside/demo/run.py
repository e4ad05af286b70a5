"""Take the invented photographer's season through the whole job, by the real commands."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryside.book.folder import Book, open_book
from dryside.demo.season import NOW, Command, Happening, steps

RunCommand = Callable[[list[str]], tuple[int, str]]
"""Runs what stands after `dryside` and returns its exit status and what it printed."""

STEPS_DONE = "demo-steps.json"


@dataclass
class Outcome:
    """What was done: commands run, steps that were done before, and where everything is."""

    book: Path
    desk: Path
    ran: list[str] = field(default_factory=list)
    skipped: int = 0


def run_season(
    book_folder: Path, desk: Path, *, run: RunCommand, say: Callable[[str], None], step: Callable[[str], None]
) -> Outcome:
    """Run every step that the book does not have yet.

    Parameters
    ----------
    book_folder, desk : Path
        The book, and the folder for what lies beside it.
    run : callable
        Runs a command line in this process.
    say, step : callable
        Take lines to show, and the name of each step for a progress bar.

    Raises
    ------
    RuntimeError
        If a command fails: the demo's own commands must not.
    """
    desk.mkdir(parents=True, exist_ok=True)
    outcome = Outcome(book_folder, desk)
    once = _Once(desk / STEPS_DONE)
    before = dict(os.environ)
    try:
        with open_book(book_folder) as book:
            for one in steps(desk):
                step(one.told if isinstance(one, Happening) else " ".join(one.words[:2]))
                if isinstance(one, Happening):
                    _let_happen(one, desk, say, outcome)
                else:
                    _type(one, book, run=run, say=say, once=once, outcome=outcome)
    finally:
        os.environ.clear()
        os.environ.update(before)
    return outcome


def _let_happen(one: Happening, desk: Path, say: Callable[[str], None], outcome: Outcome) -> None:
    if one.makes and all((desk / name).exists() for name in one.makes):
        outcome.skipped += 1
        return
    say(f"\n# {one.told}")
    one.make(desk)


def _type(
    one: Command, book: Book, *, run: RunCommand, say: Callable[[str], None], once: _Once, outcome: Outcome
) -> None:
    line = " ".join(f'"{word}"' if " " in word else word for word in one.words)
    if one.done(book) or once.has(line):
        outcome.skipped += 1
        return
    os.environ["DRYSIDE_TODAY"] = one.day.isoformat()
    os.environ["DRYSIDE_BOOK"] = str(outcome.book)
    say(f"\n$ dryside {line}")
    status, printed = run(list(one.words))
    if printed.strip():
        say(printed.rstrip())
    if status != 0:
        raise RuntimeError(f"dryside {line} ended with status {status}")
    once.note(line)
    outcome.ran.append(line)


class _Once:
    """Commands that have run to their end, kept beside the book: what only shows or prints is not done twice."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lines: list[str] = self._read()

    def _read(self) -> list[str]:
        try:
            found: Any = json.loads(self.path.read_text(encoding="utf-8"))
        except (FileNotFoundError, json.JSONDecodeError):
            return []
        return [str(line) for line in found]

    def has(self, line: str) -> bool:
        return line in self.lines

    def note(self, line: str) -> None:
        self.lines.append(line)
        half_written = self.path.with_suffix(".part")
        half_written.write_text(json.dumps(self.lines, indent=1), encoding="utf-8")
        half_written.replace(self.path)


def season_day() -> str:
    """The day on which the season stands at its end, for pages shown over the demo's book."""
    return NOW.isoformat()
