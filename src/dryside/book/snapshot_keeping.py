"""How many snapshots a backup keeps: the newest of each of so many days, weeks, months, years; and what then may go."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from dryside.book.backup import CONTENT, SNAPSHOTS, list_snapshots, read_snapshot
from dryside.book.content_store import ContentStore, disk_refusal
from dryside.film.refusal import Refusal

_REMEDY = "Write it like 7d,8w,12m,5y: days, weeks, months, years."
_PERIODS: dict[str, Callable[[date], object]] = {
    "d": lambda day: day,
    "w": lambda day: day.isocalendar()[:2],
    "m": lambda day: (day.year, day.month),
    "y": lambda day: day.year,
}
_GONE = ".gone"
"""What the list of a snapshot that is being taken out is called, so that it is no snapshot any more."""
_UNDER_WAY_S = 3600
"""A database without its list, younger than this, is taken for a run that is under way."""


@dataclass(frozen=True)
class KeepRule:
    """For how many days, weeks, months and years the newest snapshot of each is kept."""

    days: int = 0
    weeks: int = 0
    months: int = 0
    years: int = 0


@dataclass(frozen=True)
class Thinned:
    """What was taken out of a backup, and what is left.

    Attributes
    ----------
    dropped, kept : tuple of str
        Names of snapshots.
    contents : int
        Contents that no snapshot speaks of any more, taken out.
    freed : int
        Bytes, databases included.
    """

    dropped: tuple[str, ...]
    kept: tuple[str, ...]
    contents: int
    freed: int


def parse_keep(text: str) -> KeepRule:
    """A rule as it is typed: `7d`, `7d,12m`, `14d, 8w, 12m, 5y`.

    Raises
    ------
    Refusal
        If it is none, says a period twice, or keeps nothing.
    """
    found: dict[str, int] = {}
    for part in re.split(r"[\s,;+]+", text.strip()):
        match = re.fullmatch(r"(\d{1,4})\s*([dwmy])", part.lower())
        if match is None or match[2] in found:
            raise Refusal(f"--keep {text!r}", f"{part!r} is no period, or is there twice", _REMEDY)
        found[match[2]] = int(match[1])
    if not any(found.values()):
        raise Refusal(f"--keep {text!r}", "it would keep nothing", _REMEDY)
    return KeepRule(*(found.get(unit, 0) for unit in "dwmy"))


def snapshots_to_keep(names: Sequence[str], rule: KeepRule) -> list[str]:
    """Those of the snapshots that the rule keeps, the oldest first; the newest is always one.

    Periods are counted back over those that hold a snapshot, from the newest on: after a year without a backup the old
    ones are still there. Days are UTC days, as the names have them.

    Parameters
    ----------
    names : sequence of str
        As `list_snapshots` gives them.
    rule : KeepRule
        How many.
    """
    newest_first = sorted(names, reverse=True)
    kept = set(newest_first[:1])
    for unit, many in zip("dwmy", (rule.days, rule.weeks, rule.months, rule.years), strict=True):
        newest_of: dict[object, str] = {}
        for name in newest_first:
            newest_of.setdefault(_PERIODS[unit](date.fromisoformat(name[:10])), name)
        kept.update(list(newest_of.values())[:many])
    return sorted(kept)


def thin_out(target: Path, rule: KeepRule) -> Thinned:
    """Take out the snapshots that the rule does not keep, then the contents that none that is left speaks of.

    A snapshot's list goes first, so that one cut short is none; contents go only after every list that is left was
    read and what it speaks of was seen to be there. Killed at any moment, each snapshot listed can be restored.

    Parameters
    ----------
    target : Path
        The backup.
    rule : KeepRule
        What is kept.

    Raises
    ------
    Refusal
        If a list that is left is damaged, content it needs is missing, another run is under way, or the disk fails;
        nothing is taken out then.
    """
    names = list_snapshots(target)
    kept = snapshots_to_keep(names, rule)
    _refuse_under_way(target)
    needed = _contents_of(target, kept)
    dropped = [name for name in names if name not in set(kept)]
    freed = 0
    try:
        for name in dropped:
            listed = target / SNAPSHOTS / f"{name}.json"
            listed.replace(listed.with_suffix(_GONE))
        for suffix in (".db", _GONE):
            for path in (target / SNAPSHOTS).glob(f"*{suffix}"):
                if path.stem not in set(kept):
                    freed += _remove(path)
        unspoken = [path for path in (target / CONTENT).glob("??/*") if path.parent.name + path.name not in needed]
        contents = [path for path in unspoken if len(path.parent.name + path.name) == 64]
        freed += sum(_remove(path) for path in contents)
    except OSError as error:
        raise disk_refusal(str(target), error) from error
    return Thinned(tuple(dropped), tuple(kept), len(contents), freed)


def _contents_of(target: Path, names: Iterable[str]) -> set[str]:
    """Digests of all that these snapshots speak of, each seen to be there with its full length."""
    store = ContentStore(target / CONTENT)
    needed: dict[str, int] = {}
    for name in names:
        needed |= {file.sha256: file.size for file in read_snapshot(target, name).files}
    lost = [sha256 for sha256, size in needed.items() if not store.has(sha256, size)]
    if lost:
        found = f"{len(lost)} contents that its snapshots need are missing or cut short; nothing was taken out"
        raise Refusal(str(target), found, "Run the backup again with --verify.")
    return set(needed)


def _refuse_under_way(target: Path) -> None:
    """Another run lists its contents last: until then they look as if nothing spoke of them."""
    folder = target / SNAPSHOTS
    unlisted = [
        path
        for path in folder.glob("*.db")
        if not path.with_suffix(".json").exists() and not path.with_suffix(_GONE).exists()
    ]
    young = [path for path in unlisted if time.time() - path.stat().st_mtime < _UNDER_WAY_S]
    if young or any(folder.glob("*.part")):
        raise Refusal(str(target), "another backup seems to be running; nothing was taken out", "Do it later.")


def _remove(path: Path) -> int:
    size = path.stat().st_size
    path.unlink()
    return size
