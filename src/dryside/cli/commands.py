"""The commands in the order of the journey. The one place that names them and the module each lives in."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CommandEntry:
    """One line of `dryside --help`; `module` has an `app`, a `typer.Typer`, and is imported only when used."""

    name: str
    part: str
    short_help: str

    @property
    def module(self) -> str:
        """Where the command's `app` is."""
        return f"dryside.cli.{self.name}_command"


BEGIN = "To begin"
BEFORE = "Before the counter"
BACK = "Back from the lab"
OWN = "Your own captures"
KEEP = "Print, sleeve, find, keep"

COMMANDS: tuple[CommandEntry, ...] = (
    CommandEntry("demo", BEGIN, "Take an invented photographer's season through the whole job."),
    CommandEntry("serve", BEGIN, "Open the book in a browser."),
    CommandEntry("book", BEGIN, "Make, back up, restore, export and pack the book; people, cameras, lenses."),
    CommandEntry("stock", BEFORE, "Film stocks and what lies on the shelf."),
    CommandEntry("roll", BEFORE, "Load, finish, list and show rolls; their way so far."),
    CommandEntry("frames", BEFORE, "Log frames: from notes typed in the field, CSV, GPX."),
    CommandEntry("lab", BEFORE, "Labs: what they take, prices, days."),
    CommandEntry("plan", BEFORE, "The right lab for each roll: total against ready day."),
    CommandEntry("dropoff", BEFORE, "Order sheets and labels; record the order and its receipt."),
    CommandEntry("due", BEFORE, "What is expected back, what must be fetched, and by when."),
    CommandEntry("receive", BACK, "Take in a delivery of scans: zip, folder or files."),
    CommandEntry("match", BACK, "Match scans to phone shots made beside each frame."),
    CommandEntry("inspect", BACK, "Check scans: resolution, clipping, dust, halos, and a verdict."),
    CommandEntry("tag", BACK, "Write date, camera, exposure, place and caption into the files."),
    CommandEntry("collect", BACK, "Record that negatives or prints were fetched."),
    CommandEntry("invert", OWN, "Turn captures of negatives into positives with true colour."),
    CommandEntry("calibrate", OWN, "Fit a profile from a frame of a 24-patch chart."),
    CommandEntry("contact", KEEP, "Contact sheet of a roll."),
    CommandEntry("prints", KEEP, "Print sizes that fit; print files, sheets, index prints."),
    CommandEntry("sleeve", KEEP, "Cut plan, sleeve pages, binders, inserts; lending and refiling."),
    CommandEntry("find", KEEP, "Find a picture and the way to its strip."),
    CommandEntry("spending", KEEP, "What it cost: by month, lab, process, owner, frame."),
    CommandEntry("check", KEEP, "Every file of the book against its checksum."),
)
