"""Names of filed pictures by a template, safe on every system."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

from dryside.film.refusal import Refusal

DEFAULT_TEMPLATE = "{year}/{roll}/{roll}_{frame}"
FIELDS = ("year", "month", "day", "time", "roll", "frame", "strip", "title", "caption", "place", "stock", "camera",
          "lab", "name")  # fmt: skip
# Windows forbids these and names that are devices there; / would be a folder; the others trouble shells and zips.
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}
LONGEST_PART_BYTES = 120  # file systems take 255; leaves room for suffixes, sidecars and temporary names
_FIELD = re.compile(r"\{(\w+)\}")


def safe_part(text: str) -> str:
    """One folder or file name without what any system forbids; '_' where nothing is left.

    Composed (NFC), without trailing dots and spaces, at most 120 bytes of UTF-8.
    """
    part = _FORBIDDEN.sub("-", unicodedata.normalize("NFC", text))
    part = re.sub(r"\s+", " ", part).strip(" .")
    part = part.encode("utf-8")[:LONGEST_PART_BYTES].decode("utf-8", "ignore").rstrip(" .")
    if part.split(".")[0].casefold() in _DEVICES:
        part = f"_{part}"
    return part or "_"


def fill_template(template: str, values: Mapping[str, str | None]) -> str:
    """A relative name, `/` between folders, without ending.

    Parameters
    ----------
    template : str
        Text with `{field}`; fields are those of `FIELDS`. A field that is not known leaves nothing, and a folder that
        would be empty is left out.
    values : mapping
        Field: text or None.

    Raises
    ------
    Refusal
        If the template names an unknown field, or leads out of its folder.
    """
    for field in _FIELD.findall(template):
        if field not in FIELDS:
            raise Refusal(f"template {template!r}", f"there is no field {field!r}", f"Fields: {', '.join(FIELDS)}.")
    if template.startswith("/") or ".." in template.split("/"):
        raise Refusal(f"template {template!r}", "it leads out of the folder", "Write names below it.")
    parts = []
    for raw in template.split("/"):
        filled = _FIELD.sub(lambda match: (values.get(match.group(1)) or "").replace("/", "-"), raw)
        if filled.strip(" ._-"):
            parts.append(safe_part(filled.strip(" _-")))
    return "/".join(parts) or "_"


def distinct(names: Iterable[str]) -> list[str]:
    """Names made distinct for systems that take no notice of case or composition: `a`, `A` become `a`, `A (2)`."""
    seen: dict[str, int] = {}
    out = []
    for name in names:
        key = unicodedata.normalize("NFC", name).casefold()
        count = seen.get(key, 0) + 1
        while count > 1 and f"{key} ({count})" in seen:
            count += 1
        seen[key] = count
        made = name if count == 1 else f"{name} ({count})"
        seen.setdefault(unicodedata.normalize("NFC", made).casefold(), 1)
        out.append(made)
    return out
