"""Read a lab's TOML file. What is wrong with it is said with its line and the remedy, all of it at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from dryside.film.formats import parse_format
from dryside.film.processes import parse_process
from dryside.film.refusal import NotFound, Refusal
from dryside.labs.calendar import check_country, never_open
from dryside.labs.lab import MACHINES, RETURNS, Developing, Lab, Printing, Rush, Scanning
from dryside.labs.lab_fields import Fields, LabProblems
from dryside.labs.toml_lines import toml_lines

_TOP_KEYS = (
    "name", "currency", "country", "subdivision", "closed", "closed_dates", "holds_negatives_days", "prices_as_of",
    "minimum_order", "postage", "develop", "scan", "print", "rush", "address", "phone", "web", "hours", "machine",
    "returns", "returns_minimum_rolls", "scans_kept_days", "notes",
)  # fmt: skip
_TABLES: Mapping[str, tuple[str, ...]] = {
    "develop": ("process", "formats", "price", "push_per_stop", "working_days", "hand_days", "notes"),
    "scan": ("name", "long_edge_px", "price", "notes"),
    "print": ("size", "price", "notes"),
    "rush": ("processes", "working_days", "price", "price_per_roll", "notes"),
}
_AT_LINE = re.compile(r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)")


def read_lab_file(path: Path) -> Lab:
    """Read one lab.

    Raises
    ------
    NotFound
        If there is no such file.
    Refusal
        As `read_lab`; also if the file is not UTF-8, which TOML asks for.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise NotFound(str(path), f"it cannot be read ({error.strerror})", "Name a lab's TOML file.") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise Refusal(
            f"{path.name}, line {line}", "this is not UTF-8, which TOML is written in", "Save it as UTF-8."
        ) from error
    return read_lab(text, source=path.name)


def read_labs(folder: Path) -> tuple[Lab, ...]:
    """Every lab of a folder (`*.toml`), by name.

    Raises
    ------
    NotFound
        If there is no such folder, or no lab in it.
    Refusal
        If a file is refused, or two files give the same name.
    """
    if folder.is_file():
        return (read_lab_file(folder),)
    if not folder.is_dir():
        raise NotFound(str(folder), "there is no such folder", "Name a folder with one TOML file for each lab.")
    paths = sorted(folder.glob("*.toml"))
    if not paths:
        raise NotFound(
            str(folder), "there is no lab in it", "Put one TOML file in it for each lab; docs/labs.md has the form."
        )
    labs: dict[str, tuple[str, Lab]] = {}
    for path in paths:
        lab = read_lab_file(path)
        if lab.name in labs:
            raise Refusal(
                path.name, f"'{lab.name}' is also the name in {labs[lab.name][0]}", "Keep one of the two files."
            )
        labs[lab.name] = (path.name, lab)
    return tuple(labs[name][1] for name in sorted(labs))


def read_lab(text: str, *, source: str = "lab") -> Lab:
    """Read a lab from the text of its TOML file.

    Parameters
    ----------
    text : str
        The file's text.
    source : str, optional
        What messages call it: the file's name.

    Returns
    -------
    Lab

    Raises
    ------
    LabProblems
        If anything in it is wrong. Names every line and remedy; `problems` has them one by one.
    """
    # Windows editors end lines with CR LF; the line count is the same.
    try:
        table = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise LabProblems([_syntax_refusal(str(error), text, source)]) from error
    except ValueError as error:  # a date like 2026-02-30
        raise LabProblems([Refusal(source, str(error), "Write days like 2026-02-28.")]) from error
    problems: list[Refusal] = []
    top = Fields(table, source=source, lines=toml_lines(text), problems=problems)
    lab = _lab(top)
    if problems or lab is None:
        raise LabProblems(sorted(problems, key=_line_of))
    return lab


def _line_of(problem: Refusal) -> int:
    matched = re.search(r"line (\d+)$", problem.thing)
    return int(matched[1]) if matched else 0


def _syntax_refusal(message: str, text: str, source: str) -> Refusal:
    """The parser's words, with the line moved to the front and a remedy for what people most often do."""
    matched = _AT_LINE.search(message)
    number = int(matched["line"]) if matched and matched["line"] else len(text.splitlines())
    lines = text.splitlines()
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    found = _AT_LINE.sub("", message)
    remedy = 'Text stands in quotes: name = "Quay Street Film".'
    if re.search(r"=\s*[\d.,]+", line):
        remedy = 'Write amounts in quotes with one decimal point: price = "7.00".'
    elif "[" in line:
        remedy = "A list stands in brackets, its items in quotes with commas between."
    return Refusal(f"{source}, line {number}", f"this is not TOML ({found[:1].lower()}{found[1:]})", remedy)


def _lab(top: Fields) -> Lab | None:
    top.refuse_unknown(_TOP_KEYS)
    name = top.text("name", required=True, remedy='Add a line: name = "Quay Street Film".')
    currency = top.currency("currency")
    country, subdivision = _country(top)
    closed = frozenset(top.weekdays("closed"))
    if len(closed) == 7:
        top.problem("closed", "every weekday is closed", "Leave at least one weekday out of the list.")
    develop = tuple(_developing(one, currency, closed) for one in top.tables("develop", _TABLES["develop"]))
    if not develop and not top.has("develop"):
        top.problem("develop", "it develops nothing", "Add a [[develop]] table for each process it runs.")
    scans = tuple(_scanning(one, currency) for one in top.tables("scan", _TABLES["scan"]))
    prints = tuple(_printing(one, currency) for one in top.tables("print", _TABLES["print"]))
    rush = tuple(_rush(one, currency) for one in top.tables("rush", _TABLES["rush"]))
    top.refuse_twice("scan", [one.name.casefold() for one in scans])
    top.refuse_twice("print", [one.size.casefold() for one in prints])
    return Lab(
        name=name,
        currency=currency,
        develop=develop,
        minimum_order=top.money("minimum_order", currency, default=True),
        postage=top.money("postage", currency, default=True),
        scan=scans,
        print=prints,
        rush=rush,
        country=country,
        subdivision=subdivision,
        closed=closed,
        closed_dates=frozenset(top.days("closed_dates")),
        holds_negatives_days=top.whole("holds_negatives_days"),
        scans_kept_days=top.whole("scans_kept_days"),
        prices_as_of=top.day("prices_as_of"),
        machine=top.choices("machine", MACHINES),
        returns=top.choices("returns", RETURNS),
        returns_minimum_rolls=top.whole("returns_minimum_rolls"),
        address=top.text("address") or None,
        phone=top.text("phone") or None,
        web=top.text("web") or None,
        hours=top.text("hours") or None,
        notes=top.text("notes") or None,
    )


def _country(top: Fields) -> tuple[str | None, str | None]:
    """Country and subdivision, from `PT`, `PT-20`, or `PT` with subdivision `20` beside it."""
    written = top.text("country").strip()
    country, _, subdivision = written.partition("-")
    subdivision = top.text("subdivision").strip() or subdivision
    subdivision = subdivision.removeprefix(f"{country}-")
    if not country:
        return None, None
    country = country.upper()
    refusal = check_country(country, subdivision or None)
    if refusal is not None:
        top.problem("subdivision" if top.has("subdivision") else "country", *refusal)
    return country, subdivision or None


def _developing(one: Fields, currency: str, closed: frozenset[int]) -> Developing:
    hand_days = frozenset(one.weekdays("hand_days"))
    if never_open(hand_days, closed):
        one.problem("hand_days", "the lab is closed on all of them", "Name a weekday on which it is open.")
    return Developing(
        process=one.parsed("process", parse_process, required=True),
        formats=one.parsed_list("formats", parse_format, required=True),
        price=one.money("price", currency),
        push_per_stop=one.money("push_per_stop", currency) if one.has("push_per_stop") else None,
        working_days=one.whole("working_days", required=True, most=366) or 0,
        hand_days=hand_days,
    )


def _scanning(one: Fields, currency: str) -> Scanning:
    name = one.text("name", required=True, remedy='Name it as people shall ask for it: name = "standard".')
    if name.casefold() == "none":
        one.problem("name", "'none' means that no scan is wanted", "Give the scan another name.")
    return Scanning(name, one.whole("long_edge_px", least=1, most=100_000), one.money("price", currency))


def _printing(one: Fields, currency: str) -> Printing:
    return Printing(one.text("size", required=True, remedy='Name the size: size = "4R".'), one.money("price", currency))


def _rush(one: Fields, currency: str) -> Rush:
    return Rush(
        processes=one.parsed_list("processes", parse_process, required=True),
        working_days=one.whole("working_days", required=True, most=366) or 0,
        price=one.money("price_per_roll" if one.has("price_per_roll") else "price", currency),
    )


__all__ = ["LabProblems", "read_lab", "read_lab_file", "read_labs"]
