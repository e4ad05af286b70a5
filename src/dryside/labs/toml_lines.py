"""On which line of a TOML file a key stands. The standard library reads values but forgets where they were."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

Place = tuple[str, int, str]
"""Table, which one of the tables of that name (from 0), key. The top of the file is table ``""``."""

_HEADER = re.compile(r"\s*(\[\[|\[)\s*(?P<name>[^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*(?P<key>[A-Za-z0-9_-]+|"[^"]*"|'[^']*')\s*(?:\.[^=]*)?=(?P<value>.*)$""")
_STRINGS_AND_COMMENTS = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'|#.*')


@dataclass(frozen=True)
class TomlLines:
    """Lines, from 1, of keys and of table headers (under the key ``""``)."""

    lines: dict[Place, int] = field(default_factory=dict)

    def line(self, key: str, *, table: str = "", index: int = 0) -> int | None:
        """The line of a key; of its table's header where the key is not there; None where neither is."""
        return self.lines.get((table, index, key), self.lines.get((table, index, "")))


def toml_lines(text: str) -> TomlLines:
    """Find the keys of a TOML document that is known to be well formed.

    Parameters
    ----------
    text : str
        The whole file. Values may run over several lines (lists, long strings); their lines hold no keys.
    """
    lines: dict[Place, int] = {}
    counts: dict[str, int] = {}
    table, index, depth, closing = "", 0, 0, ""
    for number, line in enumerate(text.splitlines(), start=1):
        if closing:
            closing = "" if closing in line else closing
            continue
        if depth == 0 and (header := _HEADER.match(line)):
            table = header["name"].strip("\"' ")
            index = counts.get(table, -1) + 1
            counts[table] = index
            lines[(table, index, "")] = number
            continue
        matched = _KEY.match(line) if depth == 0 else None
        if matched:
            lines.setdefault((table, index, matched["key"].strip("\"'")), number)
        rest = matched["value"] if matched else line
        closing = _opens_long_string(rest)
        depth += 0 if closing else _bracket_change(rest)
    return TomlLines(lines)


def _opens_long_string(value: str) -> str:
    """The mark that ends a string left open on this line, or ``""``."""
    for mark in ('"""', "'''"):
        if value.count(mark) % 2:
            return mark
    return ""


def _bracket_change(value: str) -> int:
    plain = _STRINGS_AND_COMMENTS.sub("", value)
    return sum(plain.count(sign) for sign in "[{") - sum(plain.count(sign) for sign in "]}")
