"""The baths of the colour processes: times and temperatures for wording and sanity checks, never for running a line.

There the maker's own instructions and local rules hold. Sources stand beside each step; 'from memory' marks what no
page was read for.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class ProcessStep:
    """One bath: its time in seconds and temperature in degrees Celsius, None where it is not fixed.

    `tolerance_c` is plus or minus. `source` names where the numbers were read, or says 'from memory'.
    """

    name: str
    seconds: int | None
    temperature_c: float | None
    tolerance_c: float | None
    source: str


_MINILAB = "manufacturer's minilab manual, table 4-1 (docslib.org/doc/1537625), read"
_MEMORY = "from memory"

C41_STEPS = (
    ProcessStep("colour developer", 195, 37.8, 0.15, _MINILAB),
    ProcessStep("bleach", 390, None, None, _MEMORY),
    ProcessStep("wash", 195, None, None, _MEMORY),
    ProcessStep("fixer", 390, None, None, _MEMORY),
    ProcessStep("wash", 195, None, None, _MEMORY),
    ProcessStep("stabiliser or final rinse", 90, None, None, _MEMORY),
)
ECN2_STEPS = (
    ProcessStep("prebath", 10, 27, 1, _MEMORY),
    ProcessStep("removal of the rem-jet backing, rinse", None, None, None, "contents list of a maker's manual, read"),
    ProcessStep("colour developer", 180, 41.1, 0.1, _MEMORY),
    ProcessStep("stop", 30, None, None, _MEMORY),
    ProcessStep("wash", 30, None, None, _MEMORY),
    ProcessStep("bleach", 180, None, None, _MEMORY),
    ProcessStep("wash", 60, None, None, _MEMORY),
    ProcessStep("fixer", 120, None, None, _MEMORY),
    ProcessStep("wash", 120, None, None, _MEMORY),
    ProcessStep("final rinse", 10, None, None, _MEMORY),
)
E6_STEPS = (
    ProcessStep("first developer", 360, 37.8, 0.3, "encyclopedia article 'E-6 process', read; tolerance from memory"),
    ProcessStep("first wash", 120, None, None, _MEMORY),
    ProcessStep("reversal bath", 120, None, None, _MEMORY),
    ProcessStep("colour developer", 360, 37.8, 0.6, _MEMORY),
    ProcessStep("pre-bleach", 120, None, None, _MEMORY),
    ProcessStep("bleach", 360, None, None, _MEMORY),
    ProcessStep("fixer", 240, None, None, _MEMORY),
    ProcessStep("final wash", 240, None, None, _MEMORY),
    ProcessStep("final rinse", 60, None, None, _MEMORY),
)


def c41_developer_seconds(push_stops: Fraction | float) -> float:
    """Time in the C-41 developer for a push (above 0) or pull (below 0), in seconds: 30 s a stop around 3 min 15 s.

    Source: a published home page on C-41, 3:45, 4:15 and 2:45 for +1, +2 and -1 (read).

    Raises
    ------
    ValueError
        If `push_stops` lies outside -1 to +2, for which no time was published.
    """
    if not -1 <= push_stops <= 2:
        raise ValueError(f"push_stops is {push_stops}; times are published from -1 to +2 stops")
    return 195 + 30 * float(push_stops)
