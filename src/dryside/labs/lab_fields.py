"""Typed reading of one table of a lab's file; what is wrong is gathered with its line, and reading goes on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from dryside.book.money import Money, decimals
from dryside.film.nearest import in_words, nearest_names
from dryside.film.refusal import Refusal
from dryside.labs.lab import WEEKDAYS
from dryside.labs.toml_lines import TomlLines

# Stands in while the rest of a refused file is read, so that all its problems are found at once; never leaves here.
_STAND_IN_CURRENCY = "XXX"  # ISO 4217: no currency


class LabProblems(Refusal):
    """Everything that is wrong with a lab's file.

    Attributes
    ----------
    problems : tuple of Refusal
        One for each line to mend, in the order of the file.
    """

    def __init__(self, problems: Sequence[Refusal]) -> None:
        self.problems = tuple(problems)
        first, *others = problems
        remedy = " ".join([first.remedy, *(f"Also {other}" for other in others)])
        super().__init__(first.thing, first.found, remedy)

    def as_dict(self) -> dict[str, Any]:
        """The first problem's parts, and all problems under `problems`."""
        first = self.problems[0].as_dict()
        return {**first, "problems": [one.as_dict() for one in self.problems]}


@dataclass(frozen=True)
class Fields:
    """One table, where it stands, and the list that its problems go to."""

    table: dict[str, Any]
    source: str
    lines: TomlLines
    problems: list[Refusal]
    name: str = ""
    index: int = 0

    def has(self, key: str) -> bool:
        """Whether the key is written at all."""
        return key in self.table

    def problem(self, key: str, found: str, remedy: str) -> None:
        """Remember what is wrong at a key."""
        line = self.lines.line(key, table=self.name, index=self.index)
        where = self.source if line is None else f"{self.source}, line {line}"
        self.problems.append(Refusal(where, found, remedy))

    def refuse_unknown(self, keys: Sequence[str]) -> None:
        """Name every key that is not one of `keys`, with the nearest that is."""
        for key in self.table:
            if key not in keys:
                near = nearest_names(key, keys)[0]
                where = f" in [[{self.name}]]" if self.name else ""
                self.problem(key, f"there is no key '{key}'{where}", f"Did you mean '{near}'?")

    def refuse_twice(self, table: str, names: Sequence[str]) -> None:
        """Name a scan or print that is listed twice: which of its prices is meant cannot be told."""
        for index, name in enumerate(names):
            if name and name in names[:index]:
                line = self.lines.line("", table=table, index=index)
                where = self.source if line is None else f"{self.source}, line {line}"
                self.problems.append(Refusal(where, f"{table} '{name}' is listed twice", "Keep one of the two."))

    def tables(self, key: str, keys: Sequence[str]) -> list[Fields]:
        """The tables `[[key]]`, each checked for unknown keys."""
        found = self.table.get(key, [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            line = self.lines.line(key) or self.lines.line("", table=key)
            where = self.source if line is None else f"{self.source}, line {line}"
            found_words = f"'{key}' stands once, as a table"
            self.problems.append(Refusal(where, found_words, f"Write [[{key}]] with two brackets."))
            return []
        tables = [Fields(one, self.source, self.lines, self.problems, key, i) for i, one in enumerate(found)]
        for one in tables:
            one.refuse_unknown(keys)
        return tables

    def text(self, key: str, *, required: bool = False, remedy: str = "") -> str:
        """Text; ``""`` where it is missing or refused."""
        value = self.table.get(key, "")
        if not isinstance(value, str):
            self.problem(key, f"{key} is {_shown(value)}, not text", f'Write it in quotes: {key} = "{_shown(value)}".')
            return ""
        if required and not value.strip():
            found = f"{key} is empty" if self.has(key) else self._missing(key)
            self.problem(key, found, remedy or f'Add a line: {key} = "...".')
        return value.strip()

    def currency(self, key: str) -> str:
        """A currency's code; a stand-in where it is refused."""
        code = self.text(key, required=True, remedy='Add a line with its three letters: currency = "EUR".')
        if not code:
            return _STAND_IN_CURRENCY
        if not re.fullmatch(r"[A-Z]{3}", code):
            remedy = f'Write {key} = "{code.upper()}".' if re.fullmatch(r"[A-Za-z]{3}", code) else "Write it like EUR."
            self.problem(key, f"{key} is '{code}', three capital letters of ISO 4217 are needed", remedy)
            return _STAND_IN_CURRENCY
        return code

    def money(self, key: str, currency: str, *, default: bool = False) -> Money:
        """An amount, 0 or more: text with one decimal point, or a bare number, which is read exactly."""
        nothing = Money.zero(currency)
        if not self.has(key):
            if not default:
                self.problem(key, self._missing(key), f'Add a line: {key} = "7.00".')
            return nothing
        value = self.table[key]
        if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
            self.problem(key, f"{key} is {_shown(value)}, no amount of money", f'Write it like {key} = "7.00".')
            return nothing
        refusal = _amount_refusal(str(value).strip(), key, currency)
        if refusal is not None:
            self.problem(key, *refusal)
            return nothing
        return Money.parse(str(value), currency)

    def whole(self, key: str, *, required: bool = False, least: int = 0, most: int = 10_000) -> int | None:
        """A whole number from `least` to `most`; None where it is missing or refused."""
        if not self.has(key):
            if required:
                self.problem(key, self._missing(key), f"Add a line: {key} = {max(least, 1)}.")
            return None
        value = self.table[key]
        if isinstance(value, str) and re.fullmatch(r"\s*\d+\s*", value):
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            found = f"{key} is {_shown(value)}; a whole number from {least} to {most} is needed"
            self.problem(key, found, f"Write it like {key} = {max(least, 1)}.")
            return None
        return value

    def day(self, key: str) -> date | None:
        """A day, written bare or in quotes; None where it is missing or refused."""
        return self._as_day(key, self.table[key]) if self.has(key) else None

    def days(self, key: str) -> list[date]:
        """A list of days."""
        return [day for one in self._list(key, "2026-12-24") if (day := self._as_day(key, one)) is not None]

    def weekdays(self, key: str) -> list[int]:
        """Weekdays by their English names or first three letters; Monday is 0."""
        found = []
        for one in self._list(key, '"Sunday"'):
            word = str(one).strip().casefold()
            number = next((i for i, day in enumerate(WEEKDAYS) if word in (day.casefold(), day[:3].casefold())), None)
            if number is None:
                near = nearest_names(word, WEEKDAYS)[0]
                self.problem(key, f"'{one}' in {key} is no weekday", f'Did you mean "{near}"?')
            else:
                found.append(number)
        return found

    def choices(self, key: str, allowed: Sequence[str]) -> tuple[str, ...]:
        """One or several of `allowed`."""
        value = self.table.get(key, [])
        words = value if isinstance(value, list) else [value]
        for one in words:
            if one not in allowed:
                near = nearest_names(str(one), allowed)[0]
                self.problem(key, f"{key} is '{one}'; it must be {in_words(allowed)}", f"Did you mean '{near}'?")
        return tuple(one for one in words if one in allowed)

    def parsed(self, key: str, parse: Callable[[str], str], *, required: bool = False) -> str:
        """Text read by one of the film room's parsers; ``""`` where it is refused."""
        value = self.text(key, required=required)
        return self._parse(key, value, parse) if value else ""

    def parsed_list(self, key: str, parse: Callable[[str], str], *, required: bool = False) -> tuple[str, ...]:
        """A list of such texts, without repetition."""
        words = self._list(key, '"135"')
        if required and not words and not any(one for one in self.problems if f"{key} is" in one.found):
            self.problem(key, f"{key} is empty" if self.has(key) else self._missing(key), f"Add a line: {key} = [...].")
        return tuple(dict.fromkeys(word for one in words if (word := self._parse(key, str(one), parse))))

    def _parse(self, key: str, value: str, parse: Callable[[str], str]) -> str:
        try:
            return parse(value)
        except Refusal as refusal:
            self.problem(key, f"{refusal.thing}: {refusal.found}", refusal.remedy)
            return ""

    def _list(self, key: str, example: str) -> list[Any]:
        value = self.table.get(key, [])
        if isinstance(value, list):
            return value
        # A single word where a list is asked for can only mean a list of one.
        if isinstance(value, str | date):
            return [value]
        self.problem(key, f"{key} is {_shown(value)}, a list is needed", f"Write it like {key} = [{example}].")
        return []

    def _as_day(self, key: str, value: Any) -> date | None:
        if isinstance(value, date) and not isinstance(value, datetime):
            return value
        try:
            return date.fromisoformat(str(value).strip())
        except ValueError:
            self.problem(key, f"'{value}' in {key} is no day", "Write it like 2026-12-24.")
            return None

    def _missing(self, key: str) -> str:
        return f"{key} is missing in [[{self.name}]]" if self.name else f"{key} is missing"


def _amount_refusal(text: str, key: str, currency: str) -> tuple[str, str] | None:
    """What is wrong with an amount, and the remedy; None if nothing is."""
    if re.fullmatch(r"[+-]?\d*\.\d*\.[\d.]*", text):
        return f"{key} '{text}' has two decimal points", f'Write it with one: {key} = "7.00".'
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return f"{key} '{text}' has a decimal comma", f'Write a point: {key} = "{text.replace(",", ".")}".'
    if not re.fullmatch(r"[+-]?\d+(\.\d+)?", text, re.ASCII):
        return f"{key} '{text}' is no amount of money", f'Write digits with one decimal point: {key} = "7.00".'
    if text.startswith("-") and Decimal(text) != 0:
        return f"{key} is {text}; a price is never negative", f'Write it without the sign: {key} = "{text[1:]}".'
    digits = 2 if currency == _STAND_IN_CURRENCY else decimals(currency)
    if Decimal(text) != round(Decimal(text), digits):
        return f"{key} '{text}' is finer than {currency} is paid", f"Write at most {digits} digits after the point."
    return None


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return "a table" if isinstance(value, dict) else str(value)
