"""Names of print files: a template a person may change, and names that every system and every lab's counter takes."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from string import Formatter

from dryside.film.refusal import Refusal

TEMPLATE = "{size}_x{copies}_{name}"
"""Size and copies first, so that a counter sorts them by what it has to do."""
FIELDS = ("name", "size", "copies", "way", "roll", "frame", "caption", "number", "paper", "ppi")
LONGEST = 120
_NOT_SAFE = re.compile(r"[^A-Za-z0-9._+\- ]+")
# Names that Windows keeps for devices, whatever follows the point.
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"COM{n}" for n in range(1, 10)), *(f"LPT{n}" for n in range(1, 10))}


def safe_name(text: str) -> str:
    """`text` as a file name for all systems: plain letters, digits, `. _ - +`; never empty, hidden, or a device's name.

    Examples
    --------
    >>> safe_name("Café «Mole»: 8R/2"), safe_name("../../etc"), safe_name("con")
    ('Cafe-Mole-8R-2', 'etc', 'con-')
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    plain = re.sub(r"[\s-]+", "-", _NOT_SAFE.sub("-", plain)).strip("-. ")
    plain = re.sub(r"\.{2,}", ".", plain)[:LONGEST].rstrip("-. ")
    if plain.split(".")[0].upper() in _DEVICES:
        plain += "-"
    return plain or "print"


def check_template(template: str) -> str:
    """The template, if it names only known fields.

    Raises
    ------
    Refusal
        If a field is unknown, or the braces do not close.
    """
    try:
        parts = list(Formatter().parse(template))
    except ValueError as error:
        raise Refusal(f"name '{template}'", f"its braces do not fit ({error})", f"Write it like {TEMPLATE}.") from error
    for _, field, spec, conversion in parts:
        if field is not None and (field not in FIELDS or spec or conversion):
            raise Refusal(f"name '{template}'", f"it has no field '{{{field}}}'", f"There are: {', '.join(FIELDS)}.")
    return template


def file_name(template: str, values: Mapping[str, object], *, taken: set[str], ending: str) -> str:
    """A safe name from the template, with a number behind it where the name is taken; `taken` is added to.

    Raises
    ------
    Refusal
        As `check_template`.
    """
    filled = {field: str(values.get(field) or "") for field in FIELDS}
    stem = safe_name(check_template(template).format(**filled))
    name, number = f"{stem}{ending}", 1
    while name.lower() in taken:  # Windows and macOS do not tell case apart
        number += 1
        name = f"{stem}-{number}{ending}"
    taken.add(name.lower())
    return name
