"""How Dryside says no: the thing, what is wrong with it, and what to do."""

from __future__ import annotations

_LONGEST_QUOTE = 60


def quoted(text: str) -> str:
    """What was typed, in quotes, for a message: unprintable signs shown, and cut where someone pasted a page."""
    return repr(text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 1] + "…")


class Refusal(Exception):
    """A refusal that reaches a person as one line: the thing, what was found, and the remedy.

    Parameters
    ----------
    thing : str
        What is refused, as the person named it: a file, a roll, `rolls.csv, line 7`.
    found : str
        What was found against what is needed.
    remedy : str, optional
        What to do now. Left out only where nothing can be done.

    Attributes
    ----------
    exit_status : int
        Exit status of a command that ends with this refusal: 2.
    """

    exit_status = 2

    def __init__(self, thing: str, found: str, remedy: str = "") -> None:
        self.thing = thing
        self.found = found
        self.remedy = remedy
        super().__init__(thing, found, remedy)

    def __str__(self) -> str:
        remedy = f" {self.remedy}" if self.remedy else ""
        end = "" if self.found.endswith((".", "?")) else "."
        return f"{self.thing}: {self.found}{end}{remedy}"

    def as_dict(self) -> dict[str, str]:
        """The three parts, for `--json` and for pages."""
        return {"thing": self.thing, "found": self.found, "remedy": self.remedy}


class NotFound(Refusal):
    """Nothing there to work on: the roll is not in the book, no strip is in the capture. Exit status 3."""

    exit_status = 3
