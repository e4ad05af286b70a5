"""The four processes a lab runs, film stocks, and which stock may and may not go into which process.

What a wrong process costs is a roll, and sometimes a lab's line and other people's film; so the rules tell a refusal
from a warning, and what would be lost or would do harm cannot be asked away. Sources of the rules stand in
docs/film.md.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from dryside.film.nearest import in_words, nearest_names
from dryside.film.process_steps import C41_STEPS, E6_STEPS, ECN2_STEPS, ProcessStep
from dryside.film.refusal import Refusal, quoted

Kind = Literal["colour negative", "black-and-white", "chromogenic black-and-white", "slide"]
RemJet = Literal["yes", "no", "unknown"]
Base = Literal["acetate", "polyester", "nitrate", "unknown"]

KINDS: tuple[Kind, ...] = ("colour negative", "black-and-white", "chromogenic black-and-white", "slide")
REMJET: tuple[RemJet, ...] = ("yes", "no", "unknown")
BASES: tuple[Base, ...] = ("acetate", "polyester", "nitrate", "unknown")

LAST_NITRATE_YEAR = 1951
"""Nitrate base was last made by its main maker about then (maker's page on nitrate, read)."""


@dataclass(frozen=True)
class Process:
    """A process as a lab lists it.

    Attributes
    ----------
    key : str
        `c41`, `ecn2`, `bw` or `e6`.
    name : str
        As it is shown: C-41, ECN-2, B&W, E-6.
    makes : str
        What comes out of it, in words.
    steps : tuple of ProcessStep
        In order. Empty for black-and-white, where time and temperature go with film and developer.
    push_limit, pull_limit : int
        Stops that such a line usually offers above and below normal (common practice).
    push_changes : str
        What pushing and pulling change in this process, in words.
    """

    key: str
    name: str
    makes: str
    steps: tuple[ProcessStep, ...]
    push_limit: int
    pull_limit: int
    push_changes: str

    @property
    def key_step(self) -> ProcessStep | None:
        """The developer that decides: colour developer, or first developer of E-6. None for black-and-white."""
        return next((step for step in self.steps if "developer" in step.name), None)


PROCESSES: Mapping[str, Process] = MappingProxyType(
    {
        "c41": Process(
            "c41", "C-41", "colour negatives, and black-and-white ones on film made for it", C41_STEPS, 2, 1,
            "The developer runs 30 s longer or shorter a stop. Contrast and grain rise with a push, shadows gain "
            "little; colours may cross. Roller lines have fixed times and often cannot do it.",
        ),
        "ecn2": Process(
            "ecn2", "ECN-2", "colour negatives of low contrast, on film made for the cinema", ECN2_STEPS, 2, 1,
            "A longer or shorter developer raises or lowers contrast and grain; shadows gain little.",
        ),
        "bw": Process(
            "bw", "B&W", "silver negatives", (), 3, 2,
            "Longer development raises contrast; the shadows gain about a third of what is asked. Pulling lowers "
            "contrast.",
        ),
        "e6": Process(
            "e6", "E-6", "slides", E6_STEPS, 2, 1,
            "The first developer runs longer or shorter: the whole slide becomes lighter or darker, at the price of "
            "its black and of its colour balance.",
        ),
    }
)  # fmt: skip
"""The four processes by their keys."""

OLD_PROCESSES: Mapping[str, str] = MappingProxyType(
    {
        "c22": "C-22",
        "e4": "E-4",
        "k14": "K-14",
    }
)
"""Processes that no ordinary lab runs any more, by key, with the name they are shown by (from memory)."""

OLD_PROCESS_REASONS: Mapping[str, str] = MappingProxyType(
    {
        "c22": "its emulsion was not hardened for 38 °C and comes off in C-41",
        "e4": "its emulsion was not hardened for 38 °C and comes off in E-6",
        "k14": "it holds no colour couplers, so no colour comes out of any process run today",
    }
)
"""Why film of an old process must not go down a line of today (from memory)."""

_AS_WRITTEN = {
    "c41": "c41", "c41ra": "c41", "c41b": "c41", "cn16": "c41", "colournegative": "c41", "colornegative": "c41",
    "ecn2": "ecn2", "ecn": "ecn2", "ecnii": "ecn2", "ecn22": "ecn2",
    "bw": "bw", "bandw": "bw", "blackandwhite": "bw", "blackwhite": "bw", "sw": "bw", "silver": "bw", "mono": "bw",
    "monochrome": "bw", "bwnegative": "bw",
    "e6": "e6", "slide": "e6", "slides": "e6", "reversal": "e6", "transparency": "e6", "dia": "e6", "cr56": "e6",
    "c22": "c22", "e4": "e4", "k14": "k14",
}  # fmt: skip


def process(key: str) -> Process:
    """The process of a key.

    Raises
    ------
    Refusal
        If the key is not `c41`, `ecn2`, `bw` or `e6`.
    """
    if key in PROCESSES:
        return PROCESSES[key]
    if key in OLD_PROCESSES:
        raise Refusal(f"process {key}", f"{process_name(key)} is run no more", "Ask a lab that says it takes old film.")
    near = nearest_names(key, PROCESSES)[0]
    raise Refusal(f"process {quoted(key)}", f"it must be {in_words(PROCESSES)}", f"Did you mean {near}?")


def process_name(key: str) -> str:
    """How a process is shown: `C-41`, `B&W`, also of an old one; a key unknown to Dryside is given back as it is."""
    if key in PROCESSES:
        return PROCESSES[key].name
    return OLD_PROCESSES.get(key, key)


def parse_process(text: str, *, allow_old: bool = False) -> str:
    """The key of a process as people write it: `C-41`, `c 41`, `ECN II`, `b&w`, `B/W`, `Black and white`, `E6`.

    Parameters
    ----------
    text : str
        What was typed.
    allow_old : bool, optional
        Whether `c22`, `e4` and `k14` are given back; else they are refused in words.

    Raises
    ------
    Refusal
        If no process is meant, or more than one may be: 'colour' is C-41 or ECN-2.
    """
    words = text.strip().lower().replace("&", "and").replace("+", "and")
    closed = re.sub(r"[^a-z0-9]", "", words)
    closed = re.sub(r"^(process)|(process|film)$", "", closed)
    key = _AS_WRITTEN.get(closed)
    if key is not None:
        if key in OLD_PROCESSES and not allow_old:
            process(key)
        return key
    if closed in ("colour", "color", "negative", "cine"):
        raise Refusal(f"process {quoted(text)}", "C-41 and ECN-2 both make colour negatives", "Write c41 or ecn2.")
    near = nearest_names(closed, PROCESSES)[0]
    raise Refusal(f"process {quoted(text)}", f"it must be {in_words(PROCESSES)}", f"Did you mean {near}?")


@dataclass(frozen=True)
class Stock:
    """A film stock, as far as its handling needs it.

    Attributes
    ----------
    name : str
        As the photographer calls it.
    process : str
        The process it was made for: a key of `PROCESSES`, or of `OLD_PROCESSES`.
    iso : int
        ISO speed (arithmetic) on the box.
    kind : str
        One of `KINDS`.
    remjet : str
        Whether it has a rem-jet backing: `yes`, `no` or `unknown`. A property of the batch and no longer the same as
        cine film: makers have begun to leave it out.
    base : str
        One of `BASES`.
    dx_number : str or None
        Product and generation of the DX code, as `115-4`.
    year_made : int or None
        Of old film, where known.
    reciprocity : str or None
        Name of its reciprocity law, see `dryside.film.reciprocity`.
    """

    name: str
    process: str
    iso: int
    kind: Kind
    remjet: RemJet = "no"
    base: Base = "unknown"
    dx_number: str | None = None
    year_made: int | None = None
    reciprocity: str | None = None

    def __post_init__(self) -> None:
        known = {
            "process": (*PROCESSES, *OLD_PROCESSES),
            "kind": KINDS,
            "remjet": REMJET,
            "base": BASES,
        }
        for field, allowed in known.items():
            found = getattr(self, field)
            if found not in allowed:
                raise ValueError(f"{field} is {found!r}; it must be one of {', '.join(allowed)}")
        if self.iso <= 0:
            raise ValueError(f"iso is {self.iso}; it must be above 0")

    @property
    def may_be_nitrate(self) -> bool:
        """Whether its base is nitrate, or is not known and it was made while nitrate was."""
        if self.base == "unknown":
            return self.year_made is not None and self.year_made <= LAST_NITRATE_YEAR
        return self.base == "nitrate"

    @property
    def is_silver(self) -> bool:
        """Whether its picture is silver, as in all black-and-white film but the chromogenic one; else it is dye."""
        return self.kind == "black-and-white" or self.process == "bw"

    @property
    def blocks_infrared(self) -> bool:
        """Whether its picture stops infrared, so that dust cannot be told by it: silver does, dyes do not.

        K-14 slides do so in part (from memory) and count as blocking.
        """
        return self.is_silver or self.process == "k14"


@dataclass(frozen=True)
class ProcessWarning:
    """What speaks against a stock in a process.

    Attributes
    ----------
    code : str
        A stable word for programs: `rem-jet`, `silver`, `cross process`, `old process`, `nitrate`, `push`, `polyester`.
    is_refusal : bool
        True if the roll must not go; False if it may, but the person should know.
    found, remedy : str
        What is wrong, and what to do instead; sentences without and with a full stop, as in `Refusal`.
    """

    code: str
    is_refusal: bool
    found: str
    remedy: str

    @property
    def text(self) -> str:
        """Both parts as one line."""
        return f"{self.found}. {self.remedy}".strip()

    def as_refusal(self, thing: str) -> Refusal:
        """The same as an exception, for the `thing` a person named (`roll 26-014-X`)."""
        return Refusal(thing, self.found, self.remedy)


def process_warnings(
    stock: Stock,
    process_key: str,
    *,
    push_stops: Fraction | float = 0,
    cross_process_asked: bool = False,
) -> tuple[ProcessWarning, ...]:
    """What speaks against a roll of `stock` in a process; refusals come first.

    Parameters
    ----------
    stock : Stock
        The film.
    process_key : str
        `c41`, `ecn2`, `bw` or `e6`: what is asked for, or what the lab would do.
    push_stops : Fraction or float, optional
        Push above 0, pull below 0, in stops.
    cross_process_asked : bool, optional
        Whether another process than the stock's own is wanted. It turns only that into a warning; film that would be
        lost or would harm a line stays refused.

    Returns
    -------
    tuple of ProcessWarning
        Empty if nothing speaks against it.

    Raises
    ------
    Refusal
        If `process_key` is not one of the four.
    """
    process(process_key)
    found = [
        *_nitrate(stock),
        *_old_process(stock, process_key, asked=cross_process_asked),
        *_backing(stock, process_key, asked=cross_process_asked),
        *_silver(stock, process_key),
    ]
    if not any(one.is_refusal for one in found):
        found += _cross_process(stock, process_key, asked=cross_process_asked)
    found += [*_polyester(stock), *push_warnings(process_key, push_stops)]
    return tuple(sorted(found, key=lambda one: not one.is_refusal))


def is_refused(warnings: tuple[ProcessWarning, ...]) -> bool:
    """Whether any of the warnings is a refusal."""
    return any(one.is_refusal for one in warnings)


def push_warnings(process_key: str, push_stops: Fraction | float) -> tuple[ProcessWarning, ...]:
    """What a push or pull means in a process, and whether labs usually offer so much (common practice).

    Raises
    ------
    Refusal
        If `process_key` is not one of the four.
    """
    chosen = process(process_key)
    if push_stops == 0:
        return ()
    if -chosen.pull_limit <= push_stops <= chosen.push_limit:
        way = "pushed" if push_stops > 0 else "pulled"
        return (ProcessWarning("push", False, f"{way} in {chosen.name}", chosen.push_changes),)
    limit = f"+{chosen.push_limit}" if push_stops > 0 else f"-{chosen.pull_limit}"
    found = f"{float(push_stops):+.3g} stops is more than labs usually do in {chosen.name} ({limit})"
    return (ProcessWarning("push", False, found, f"Ask the lab before handing it in. {chosen.push_changes}"),)


def _nitrate(stock: Stock) -> list[ProcessWarning]:
    if not stock.may_be_nitrate:
        return []
    why = "its base is nitrate" if stock.base == "nitrate" else f"made in {stock.year_made}, its base may be nitrate"
    return [
        ProcessWarning(
            "nitrate", True, f"{why}, which burns fiercely and even without air",
            "Stop: do not process, project, scan on a hot light or post it. Keep it cool, ventilated and apart, and "
            "ask a film archive or your fire service; local fire and transport rules hold.",
        )
    ]  # fmt: skip


def _old_process(stock: Stock, process_key: str, *, asked: bool) -> list[ProcessWarning]:
    if stock.process not in OLD_PROCESSES:
        return []
    old = process_name(stock.process)
    if process_key == "bw" and asked:
        found = f"{old} film developed as black-and-white keeps no colour"
        return [ProcessWarning("old process", False, found, "Hand it to a lab that says it takes old film.")]
    remedy = "A lab that takes old film can develop it as black-and-white; ask for that."
    return [ProcessWarning("old process", True, f"{old} film: {OLD_PROCESS_REASONS[stock.process]}", remedy)]


def _backing(stock: Stock, process_key: str, *, asked: bool) -> list[ProcessWarning]:
    made_for_cine = stock.process == "ecn2"
    if process_key == "ecn2" or stock.remjet == "no" or (stock.remjet == "unknown" and not made_for_cine):
        return []
    has = "has a rem-jet backing" if stock.remjet == "yes" else "may have a rem-jet backing"
    if process_key == "bw" and (asked or stock.is_silver):
        remedy = "Only by hand, at a lab that takes the backing off first: tell them."
        return [ProcessWarning("rem-jet", False, f"it {has}", remedy)]
    found = f"it {has}; the carbon comes off in the developer and spoils the line and other people's film"
    lab = "takes the backing off before B&W" if stock.is_silver else "lists ECN-2"
    return [ProcessWarning("rem-jet", True, found, f"Hand it to a lab that {lab}.")]


def _silver(stock: Stock, process_key: str) -> list[ProcessWarning]:
    if not stock.is_silver or process_key == "bw":
        return []
    found = f"{process_name(process_key)} bleaches the silver away and the film comes out blank"
    return [ProcessWarning("silver", True, found, "Ask for B&W.")]


def _cross_process(stock: Stock, process_key: str, *, asked: bool) -> list[ProcessWarning]:
    if process_key == stock.process or stock.process in OLD_PROCESSES:
        return []
    own, other = process_name(stock.process), process_name(process_key)
    if asked:
        found = f"{own} film cross-processed in {other}"
        return [ProcessWarning("cross process", False, found, _outcome(stock, process_key))]
    found = f"made for {own}, not for {other}"
    remedy = f"Ask for {own}, or say that cross-processing is wanted."
    return [ProcessWarning("cross process", True, found, remedy)]


def _outcome(stock: Stock, process_key: str) -> str:
    if process_key == "bw":
        return "Only a thin or odd black-and-white image comes out."
    if stock.kind == "slide":
        return "It becomes a negative of high contrast with shifted colours."
    if process_key == "e6":
        return "It becomes a positive of low contrast with an orange cast."
    return "It runs, but contrast and colour are off."


def _polyester(stock: Stock) -> list[ProcessWarning]:
    if stock.base != "polyester":
        return []
    found = "its base is polyester, which does not tear and pipes light along the film"
    return [ProcessWarning("polyester", False, found, "Load it in the dark and tell the lab.")]
