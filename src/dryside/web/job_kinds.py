"""What jobs do: each calls one function of a room below and tells how far it is."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

from dryside.book.folder import Book
from dryside.film.refusal import Refusal
from dryside.scans.parcel import copy_out, open_parcel
from dryside.web.uploads import forget, path_of
from dryside.web.words import count


class Progress(Protocol):
    """Says what is being done now; without numbers one step more is done."""

    def __call__(self, message: str, *, done: int | None = None, total: int | None = None) -> None:
        """Tell."""


Kind = Callable[[Book, Mapping[str, Any], Progress], dict[str, Any]]


def receive_delivery(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Take in what the lab delivered, matched with phone shots where some were handed in too."""
    from dryside.scans.receive import receive

    paths = [path_of(book, one) for one in given["uploads"]]
    phone = [path_of(book, one) for one in given.get("phone", ())]
    tell("Opening", done=0, total=_count(paths) + 2 * _count(phone))
    with tempfile.TemporaryDirectory(prefix="dryside-") as folder:
        delivery = receive(
            book,
            paths,
            order=given.get("order"),
            references=_unpacked(phone, Path(folder)) if phone else None,
            at=given.get("at"),
            step=lambda name: tell(f"Taking in {name}"),
        )
    for one in (*given["uploads"], *given.get("phone", ())):
        forget(book, one)
    doubts = sum(not scan.sure for roll in delivery.rolls for scan in roll.scans)
    said = f"{count(delivery.new, 'picture')} taken in" + (f", {doubts} to decide" if doubts else "") + "."
    if delivery.known:
        said += f" {len(delivery.known)} were here already."
    return {
        "message": said,
        "delivery": delivery.delivery_id,
        "rolls": [roll.guess.code for roll in delivery.rolls if roll.guess.code],
        "aside": [aside.as_dict() for aside in delivery.asides],
        "to": f"/back/{delivery.delivery_id}" if delivery.delivery_id else None,
    }


def _count(paths: list[Path]) -> int:
    return len(open_parcel(paths).entries) if paths else 0


def _unpacked(paths: list[Path], target: Path) -> Path:
    """The pictures of a phone in one folder, under names made distinct."""
    for number, entry in enumerate(open_parcel(paths).entries):
        own = Path(entry.base_name).name
        path = target / (f"{number}-{own}" if (target / own).exists() else own)
        with path.open("wb") as copy:
            copy_out(entry, copy)
    return target


def inspect_roll(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Look at the quality of a roll's scans."""
    from dryside.scans.inspecting import inspect_book_roll, scan_files
    from dryside.scans.inspection import shipped_thresholds

    tell("Looking", done=0, total=len(scan_files(book, given["roll"])))
    found = inspect_book_roll(book, given["roll"], thresholds=shipped_thresholds(), step=tell)
    poor = len(found.poor)
    said = f"{len(found.scans)} scans looked at, {poor} to ask the lab about." if poor else "All scans are good."
    return {"message": said, "roll": given["roll"], "to": given.get("to")}


def tag_roll(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Write what is known into a roll's filed pictures."""
    from dryside.scans.tagging import tag_roll as tag

    made = tag(book, given["roll"], step=lambda name: tell(f"Tagging {name}"))
    return {
        "message": f"{count(len(made), 'picture')} filed with date, camera, exposure and caption.",
        "roll": given["roll"],
    }


def contact_sheet(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Make a roll's contact sheet."""
    from dryside.scans.roll_sheet import contact_sheet_of_roll

    tell("Setting the page", done=0, total=1)
    pdf, _ = contact_sheet_of_roll(book, given["roll"], page=given.get("page", "a4"), made_on=given.get("on"))
    return {"message": "The contact sheet is made.", "roll": given["roll"], "to": f"/papers/{pdf.name}"}


def invert_roll(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Turn a roll's captures into positives and file them with their frames."""
    from dryside.web.inverting import invert_in_book

    return invert_in_book(book, given, tell)


def make_prints(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Render print files or sheets."""
    from dryside.web.printing import make_prints as make

    return make(book, given, tell)


def look_at_captures(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """Find the film on captures that were added."""
    from dryside.web.inverting import look_at_roll

    return look_at_roll(book, given, tell)


def count_slowly(book: Book, given: Mapping[str, Any], tell: Progress) -> dict[str, Any]:
    """A job that takes its time and remembers where it was: for trying out progress, cancel and restart."""
    import time

    if "DRYSIDE_TRY_JOBS" not in os.environ:
        raise Refusal("job", "this kind is only for trying out")
    marks = Path(given["marks"])
    for number in range(int(given["steps"])):
        mark = marks / str(number)
        if mark.exists():
            continue
        time.sleep(float(given["seconds"]))
        with mark.open("x", encoding="utf-8") as made:  # a second process at the same step would fail here
            made.write(str(os.getpid()))
        tell(f"Step {number + 1}", done=number + 1, total=int(given["steps"]))
    return {"message": "Counted."}


KINDS: dict[str, Kind] = {
    "receive": receive_delivery,
    "inspect": inspect_roll,
    "tag": tag_roll,
    "contact": contact_sheet,
    "prints": make_prints,
    "look": look_at_captures,
    "invert": invert_roll,
    "count slowly": count_slowly,
}
