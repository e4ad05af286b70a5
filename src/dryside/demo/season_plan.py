"""The invented season as data: who, with what, which rolls, on which days. Nobody in it is real."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files

from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions, NotedFrame

YEAR = 2026
TIME_ZONE = "Europe/Lisbon"
LAB_FILES = ("harbour-lane.toml", "north-quay.toml", "parcel-film.toml")
KEEPER, FRIEND = "Ines Falk", "Teo Marsh"

# Tags in the notes name what a frame shows; a frame without one shows what the frame before it shows.
PAINTER_OF_TAG = {
    "chart": "chart",
    "harbour": "harbour",
    "portrait": "portrait",
    "stilllife": "still life",
    "stairs": "stairs",
    "sea": "sea",
    "mountains": "mountains",
    "forest": "forest",
    "meadow": "meadow",
    "night": "street",
    "snow": "snow",
}


@dataclass(frozen=True)
class SeasonRoll:
    """One roll: how it is loaded, when it is finished, and which note its frames are typed in."""

    number: int
    owner: str
    camera: str
    stock: str
    process: str
    format: str
    exposures: int
    loaded: date
    finished: date
    title: str
    push_stops: int = 0
    exposure_index: int | None = None
    dx: str | None = None

    @property
    def note(self) -> str:
        """The text of its note."""
        return season_file(f"notes-{self.number}.txt")


ROLLS = (
    SeasonRoll(
        1, KEEPER, "Halden 35", "Solvei 200", "c41", "135", 24,
        date(2026, 4, 10), date(2026, 4, 18), "Spring in Vessal", dx="81-3",
    ),
    SeasonRoll(
        2, KEEPER, "Corvane Six", "Tarn 160", "c41", "120-6x6", 12,
        date(2026, 4, 19), date(2026, 4, 26), "Hut and basin",
    ),
    SeasonRoll(
        3, KEEPER, "Halden 35 Second", "Brackwater 400", "bw", "135", 12,
        date(2026, 4, 24), date(2026, 5, 2), "Without colour",
    ),
    SeasonRoll(
        4, FRIEND, "Merrin Compact", "Nocturne 500", "ecn2", "135", 12,
        date(2026, 5, 1), date(2026, 5, 2), "Tram street",
    ),
    SeasonRoll(
        5, KEEPER, "Halden 35", "Clarion 100", "e6", "135", 12,
        date(2026, 5, 8), date(2026, 5, 9), "Cape Torrel",
    ),
    SeasonRoll(
        6, FRIEND, "Merrin Compact", "Solvei 400", "c41", "135", 12,
        date(2026, 5, 8), date(2026, 5, 8), "Arcade", push_stops=1, exposure_index=800,
    ),
    SeasonRoll(
        7, FRIEND, "Halden 35 Second", "Solvei 200", "c41", "135", 24,
        date(2026, 5, 22), date(2026, 5, 23), "Summer field",
    ),
)  # fmt: skip


def season_file(name: str) -> str:
    """Text of a file of the season."""
    return (files("dryside.demo") / "season" / name).read_text(encoding="utf-8")


@dataclass(frozen=True)
class SeasonFrame:
    """One frame of the season and how its picture is drawn."""

    roll: int
    label: str
    painter: str
    seed: int
    view: int  # which view of the same subject: other crop, same drawing
    blank: bool
    noted: NotedFrame


@cache
def frames_of(number: int) -> tuple[SeasonFrame, ...]:
    """Frames of roll `number`, in order; consecutive frames of one subject share the drawing."""
    roll = ROLLS[number - 1]
    reading = read_note(roll.note, Assumptions(offset=TIME_ZONE, year=YEAR))
    made: list[SeasonFrame] = []
    tag, seed, view = "sea", 100 * number, 0
    for place, frame in enumerate(reading.frames):
        tags = (frame.keywords or "").split()
        known = next((word for word in tags if word in PAINTER_OF_TAG), None)
        same_subject = known is None or (known == tag and place > 0 and tag != "portrait")
        if same_subject:
            view += 1
        else:
            seed, view = 100 * number + place, 0
        tag = known or tag
        made.append(SeasonFrame(number, frame.label, PAINTER_OF_TAG[tag], seed, view, frame.blank, frame))
    return tuple(made)
