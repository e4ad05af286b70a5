"""Is it mine? What about a delivered roll does not fit what was handed in, said in time to ring the lab.

Each doubt is named, with what was seen against what was expected. A doubt that `may_be_anothers` points to somebody
else's roll or to two rolls changed over; the others are faults of the lab or the camera that a lab may refund.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.scans.which_roll import EXTRA_FRAMES, GroupSeen, RollWaited, reasons_for

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_ENOUGH_SHOTS = 8


@dataclass(frozen=True)
class Doubt:
    """One thing that does not fit, in words, and what to do."""

    name: str
    says: str
    remedy: str
    may_be_anothers: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"name": self.name, "says": self.says, "remedy": self.remedy, "may_be_anothers": self.may_be_anothers}


@dataclass(frozen=True)
class Delivered:
    """What is known of a delivered roll.

    `labels` and `missing` are frame labels of the log and those of them that did not come; `blank` how many scans are
    empty; `scanned_on` the earliest day in the files; `edge_stocks` DX numbers (part 1, part 2) seen on rebates;
    `shots_tried`, `shots_matched` how many phone shots were held against it and how many found their scan; `stickers`
    names of scans with a sticker over the picture.
    """

    group: GroupSeen
    labels: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    blank: int = 0
    scanned_on: str | None = None
    edge_stocks: tuple[tuple[int, int], ...] = ()
    shots_tried: int = 0
    shots_matched: int = 0
    stickers: tuple[str, ...] = ()


@dataclass(frozen=True)
class HandedIn:
    """What is known of the roll that was handed in: what is waited for, the day, and its stock's DX number."""

    waited: RollWaited
    dropped_on: str | None = None
    dx: tuple[int | None, int | None] = (None, None)


def doubts_about(seen: Delivered, handed_in: HandedIn) -> list[Doubt]:
    """Everything that does not fit, the gravest first."""
    out = [*_identity(seen, handed_in), *_faults(seen)]
    return sorted(out, key=lambda doubt: not doubt.may_be_anothers)


def _identity(seen: Delivered, handed_in: HandedIn) -> list[Doubt]:
    ring = "Ring the lab before it discards anything."
    against = set(reasons_for(seen.group, handed_in.waited, alone=False))
    out = []
    expected = handed_in.waited.frames
    if "count_differs" in against and expected is not None:
        more = seen.group.count > expected + EXTRA_FRAMES
        says = f"{seen.group.count} pictures came, {expected} were expected"
        out.append(Doubt("frame_count", says, ring, may_be_anothers=more))
    if "shape_differs" in against:
        out.append(Doubt("shape", "the pictures have not the shape of the roll's frames", ring, may_be_anothers=True))
    if "grey_on_colour" in against:
        out.append(Doubt("grey", "black-and-white pictures from a colour roll", ring, may_be_anothers=True))
    if seen.scanned_on and handed_in.dropped_on and seen.scanned_on < handed_in.dropped_on:
        says = f"scanned on {seen.scanned_on}, before the roll was handed in on {handed_in.dropped_on}"
        out.append(Doubt("date", says, ring, may_be_anothers=True))
    known = handed_in.dx[0]
    others = {f"{a}-{b}" for a, b in seen.edge_stocks if known is not None and a != known}
    if others and len(seen.edge_stocks) >= 2:
        says = f"the film's edge says stock {', '.join(sorted(others))}, the roll's is {known}-{handed_in.dx[1] or '?'}"
        out.append(Doubt("edge_stock", says, ring, may_be_anothers=True))
    if seen.shots_tried >= _ENOUGH_SHOTS and seen.shots_matched == 0:
        says = f"none of {seen.shots_tried} phone shots made beside its frames shows what the scans show"
        out.append(Doubt("phone_shots", says, ring, may_be_anothers=True))
    return out


def _faults(seen: Delivered) -> list[Doubt]:
    refund = "Many labs refund it: ask."
    out = []
    if seen.group.count and seen.blank == seen.group.count:
        says = "the whole roll is blank: not exposed, not transported, or developed wrongly"
        out.append(Doubt("blank_roll", says, "Look at the film: edge marks without pictures mean it was not exposed."))
    elif seen.blank:
        out.append(Doubt("blank_frames", f"{seen.blank} pictures are empty", "No scan need be paid for them."))
    for name in seen.stickers:
        out.append(Doubt("sticker", f"a twin-check sticker seems to lie over the picture {name}", refund))
    lost = [label for label in (seen.labels[:1] + seen.labels[-1:]) if label in seen.missing]
    if lost and len(seen.missing) <= 3:
        says = f"frame {' and '.join(lost)} at the end of the film did not come: often lost at the splice"
        out.append(Doubt("splice", says, refund))
    elif seen.missing:
        shown = ", ".join(seen.missing[:12])
        out.append(Doubt("missing", f"frames {shown} did not come", "Ask whether they are on the negatives."))
    return out


def changed_over(groups: Sequence[GroupSeen], rolls: Sequence[RollWaited], given: Sequence[str | None]) -> list[Doubt]:
    """Pairs of rolls that fit better the other way round, by everything but their names.

    Parameters
    ----------
    groups : sequence of GroupSeen
        The groups of files.
    rolls : sequence of RollWaited
        The rolls waited for.
    given : sequence of str or None
        The roll's code that each group was given, by name or number.
    """
    from dryside.scans.which_roll import WEIGHTS

    by_name = {"code_in_name", "lab_number_in_name", "named_by_hand", "only_roll", "label_in_picture"}
    known = {roll.code: roll for roll in rolls}

    def fit(group: GroupSeen, code: str) -> float:
        return sum(WEIGHTS[r] for r in reasons_for(group, known[code], alone=False) if r not in by_name)

    out = []
    for i, first in enumerate(given):
        for k in range(i + 1, len(given)):
            second = given[k]
            if first is None or second is None or first not in known or second not in known:
                continue
            as_given = fit(groups[i], first) + fit(groups[k], second)
            other_way = fit(groups[i], second) + fit(groups[k], first)
            if other_way - as_given >= 4.0:
                says = f"rolls {first} and {second} fit better the other way round"
                out.append(Doubt("changed_over", says, "Compare a picture of each with the log.", may_be_anothers=True))
    return out


def shows_sticker(image: NDArray[np.uint8]) -> bool:
    """Whether a white rectangle with dark print lies over a picture, at its edge: a twin-check sticker.

    Parameters
    ----------
    image : ndarray of shape (rows, columns, 3), uint8
        A thumbnail of a positive. On a negative's scan the sticker is inverted to a dark one with light print; both are
        looked for.
    """
    import cv2
    import numpy as np

    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
    colour = image.max(axis=2).astype(int) - image.min(axis=2)
    return any(_has_label(mask, flat) for mask, flat in (
        ((grey > 225) & (colour < 25), grey), ((grey < 25), 255 - grey)
    ))  # fmt: skip


def _has_label(mask: NDArray[Any], grey: NDArray[Any]) -> bool:
    import cv2
    import numpy as np

    rows, columns = mask.shape
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8))
    outlines, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    for outline in outlines:
        (_, _), (w, h), _ = cv2.minAreaRect(outline)
        area = cv2.contourArea(outline)
        part = area / (rows * columns)
        if not 0.008 < part < 0.2 or w * h == 0 or area / (w * h) < 0.9 or max(w, h) > 6 * min(w, h):
            continue
        x, y, bw, bh = cv2.boundingRect(outline)
        at_edge = x <= 2 or y <= 2 or x + bw >= columns - 2 or y + bh >= rows - 2
        inside = np.zeros_like(closed)
        cv2.drawContours(inside, [outline], -1, 1, -1)
        printed = float((grey[inside > 0] < 110).mean())
        if at_edge and 0.03 < printed < 0.4:
            return True
    return False
