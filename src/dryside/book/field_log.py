"""Frames that a phone logged, perhaps out of reach: each has an id of its own, so it is kept once, never lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.cameras import find_or_add_lens
from dryside.book.events import add_event
from dryside.book.frame_import import next_label_of
from dryside.book.frames import FrameRow, add_frame, film_order, list_frames, normal_label
from dryside.book.instants import parse_instant
from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions
from dryside.book.rolls import RollRow, find_roll
from dryside.book.rows import fetch_one
from dryside.book.schema import frames
from dryside.film.frame_labels import parse_label
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class FieldEntry:
    """What the phone noted of one frame.

    Attributes
    ----------
    client_id : str
        The phone's own id for it.
    roll : str
        Code or name of the roll.
    taken_at : str
        ISO 8601 with offset, by the phone's clock.
    words : str
        As in a note, without number and time: `1/250 f8 50mm harbour wall`.
    label : str or None
        The number the phone showed; another is given where that one is taken.
    """

    client_id: str
    roll: str
    taken_at: str
    words: str = ""
    label: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude_m: float | None = None


@dataclass(frozen=True)
class FieldKept:
    """What became of an entry: `kept` now, `known` from before, or `refused` with the reason."""

    client_id: str
    state: str
    label: str | None
    said: str = ""


def keep_field_entries(conn: Connection, entries: Sequence[FieldEntry], *, at: str) -> list[FieldKept]:
    """Keep what a phone sends, in the order it was logged; what was sent before changes nothing.

    Words that cannot be read as a note become the caption as they are: nothing is lost.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    entries : sequence of FieldEntry
    at : str
        Now, for the event.
    """
    done, added = [], dict[int, int]()
    for entry in sorted(entries, key=_as_logged):
        known = fetch_one(conn, FrameRow, frames, frames.c.client_id == entry.client_id)
        if known is not None:
            done.append(FieldKept(entry.client_id, "known", known.label))
            continue
        try:
            parse_instant(entry.taken_at)
            roll = find_roll(conn, entry.roll)
            label, said = _free_label(conn, roll, entry.label)
            columns, remark = _columns(conn, roll, label, entry)
            last = list_frames(conn, roll.id)
            position = last[-1].position + 1 if last else 0
            add_frame(conn, roll.id, position=position, label=label, client_id=entry.client_id, **columns)
        except Refusal as refusal:
            done.append(FieldKept(entry.client_id, "refused", None, str(refusal)))
            continue
        added[roll.id] = added.get(roll.id, 0) + 1
        done.append(FieldKept(entry.client_id, "kept", label, " ".join(one for one in (said, remark) if one)))
    for roll_id, count in added.items():
        add_event(conn, kind="frames noted", at=at, roll_id=roll_id, detail={"added": count, "by": "phone"})
    return done


def _as_logged(entry: FieldEntry) -> tuple[str, tuple[int, str]]:
    """By time, and within a second by the numbers that the phone showed."""
    return entry.taken_at, film_order(normal_label(entry.label or ""))


def _free_label(conn: Connection, roll: RollRow, wanted: str | None) -> tuple[str, str]:
    """The label wanted where it follows the roll's last frame, else the next; and a word where it is another."""
    following = next_label_of(conn, roll)
    if wanted is None:
        return following, ""
    label = normal_label(wanted)
    known = list_frames(conn, roll.id)
    try:
        parse_label(label)
    except Refusal:
        return following, f"{wanted} is no frame number; it is frame {following}."
    if known and film_order(label) <= film_order(known[-1].label):
        return following, f"Frame {label} was logged before; this one is frame {following}."
    return label, ""


def _columns(conn: Connection, roll: RollRow, label: str, entry: FieldEntry) -> tuple[dict[str, Any], str]:
    words = " ".join(entry.words.split())
    own: dict[str, Any] = {"taken_at": entry.taken_at, "taken_to": "second"}
    for name in ("latitude", "longitude", "altitude_m"):
        if getattr(entry, name) is not None:
            own[name] = getattr(entry, name)
    if not words:
        return own, ""
    assume = Assumptions(day=entry.taken_at[:10], is_half_frame=roll.format == "half")
    try:
        reading = read_note(f"{label} {words}", assume)
    except Refusal:
        return own | {"caption": words}, "Its words could not be read as settings and are kept as the caption."
    if reading.problems or len(reading.frames) != 1 or reading.frames[0].label != label:
        return own | {"caption": words}, "Its words could not be read as settings and are kept as the caption."
    said = reading.frames[0].columns()
    said.pop("taken_at", None)
    said.pop("taken_to", None)
    if lens := said.pop("lens", None):
        said["lens_id"] = find_or_add_lens(conn, lens).id
    return said | own, ""
