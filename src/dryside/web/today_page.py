"""Today: what to do now, most urgent first, and what is under way."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request, Response

from dryside.book.folder import Book
from dryside.book.journey import RollState
from dryside.book.roll_list import UNDER_WAY, RollLine, count_by_state, rolls_in
from dryside.book.to_do import Work, work_at_home
from dryside.labs.due import URGENCIES, DueEntry, due_entries
from dryside.web.pages import page, site_of
from dryside.web.words import count, dated, without_commands

router = APIRouter()

SHOWN = 12
MOST_ROLLS_A_PLACE = 6

_ACTIONS = {
    "scans": ("They are here", "/back"),
    "download": ("Take them in", "/back"),
    "hand in": ("Plan the drop-off", "/drop-off"),
    "film expires": ("See the shelf", "/shelf"),
    "price list": ("See the labs", "/labs"),
    "loan": ("See the sleeves", "/sleeves"),
    "decide": ("Decide", "/back"),
    "sleeve": ("Sleeve", "/sleeves"),
    "buy film": ("See the shelf", "/shelf"),
}


_LOSES_NOTHING = ("price list", "film expires")
"""What may wait behind work that film or pictures depend on, however old it is."""


@dataclass(frozen=True)
class ToDo:
    """A line of the list: when, what, and where it is done."""

    when: str
    is_late: bool
    title: str
    detail: str
    action: str
    path: str


@dataclass(frozen=True)
class Place:
    """A place of the journey with the rolls that are there; `more` are not shown."""

    name: str
    count: int
    rolls: tuple[RollLine, ...]
    more: int


_PLACES = {
    RollState.CAMERA: "In a camera",
    RollState.EXPOSED: "Exposed",
    RollState.AT_LAB: "At the lab",
    RollState.SCANS_BACK: "Scans are back",
    RollState.NEGATIVES_BACK: "Negatives are back",
}


@router.get("/")
def today_page(request: Request) -> Response:
    """The first page."""
    site = site_of(request)
    todo, places, is_new = gather(site.book, site.day())
    return page(
        request,
        "today.html",
        title="Today",
        todo=todo[:SHOWN],
        later=todo[SHOWN:],
        places=places,
        is_new=is_new,
    )


def gather(book: Book, day: date) -> tuple[list[ToDo], list[Place], bool]:
    """What the first page shows, from one moment of the book."""
    with book.read() as conn:
        due, work = due_entries(conn, day), work_at_home(conn)
        counts = count_by_state(conn)
        lines = rolls_in(conn, UNDER_WAY)
    todo = [*_of_due(due, day, "overdue", "now"), *_of_work(work), *_of_due(due, day, "soon", "later")]
    exposed = [one for one in lines if one.state == RollState.EXPOSED]
    if exposed and not any(one.kind == "hand in" for one in due):
        todo.append(_to_hand_in(exposed))
    places = [_place(state, counts[state], [one for one in lines if one.state == state]) for state in UNDER_WAY]
    return todo, places, not any(counts.values())


def _place(state: RollState, count: int, lines: list[RollLine]) -> Place:
    shown = tuple(lines[:MOST_ROLLS_A_PLACE])
    return Place(_PLACES[state], count, shown, count - len(shown))


def _of_due(due: Iterable[DueEntry], day: date, *urgencies: str) -> list[ToDo]:
    chosen = [one for one in due if one.urgency in urgencies]
    chosen.sort(key=lambda one: (one.kind in _LOSES_NOTHING, -URGENCIES.index(one.urgency), one.day))
    return [_due_line(one, day) for one in chosen]


def _due_line(one: DueEntry, day: date) -> ToDo:
    action, path = _ACTIONS.get(one.kind, ("Fetched", f"/orders/{one.subject}"))
    return ToDo(
        _when(one.day, day), one.urgency == "overdue", dated(one.title),
        dated(f"{without_commands(one.detail)} {one.aside}".strip()),
        action, path,
    )  # fmt: skip


def _to_hand_in(exposed: list[RollLine]) -> ToDo:
    """Rolls that nothing presses yet: they can be handed in."""
    named = ", ".join(one.title or one.code for one in exposed[:4])
    rest = f" and {len(exposed) - 4} more" if len(exposed) > 4 else ""
    said = f"{count(len(exposed), 'roll')} can go to a lab"
    return ToDo("When you go", False, said, f"{named}{rest}.", *_ACTIONS["hand in"])


def _of_work(work: Iterable[Work]) -> list[ToDo]:
    return [ToDo("Now", False, one.title, one.detail, *_ACTIONS[one.kind]) for one in work]


def _when(day: date, today: date) -> str:
    left = (day - today).days
    near: dict[int, Any] = {0: "Today", 1: "Tomorrow", -1: "Yesterday"}
    if left in near:
        return str(near[left])
    return f"In {left} days" if left > 0 else f"{-left} days ago"
