"""A frame as the line that a person would type for it: what `lines.read_note` reads back to the same frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions
from dryside.film.exposure import format_f_number
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.book.frames import FrameRow

LINE_COLUMNS = (
    "shutter", "shutter_s", "aperture", "focal_mm", "lens_id", "exposure_index", "exposure_bias", "flash", "taken_at",
    "taken_to", "rating", "keywords", "caption", "person", "place", "blank", "notes",
)  # fmt: skip
"""Columns of a frame that its line says; coordinates are not among them and are kept when a line is changed."""


def note_line(frame: FrameRow, lens: str | None = None) -> str:
    """The line of a frame, label first: `12 1/250 f8 50mm 2026-05-12 18:30 harbour wall #sea ***`.

    Parameters
    ----------
    frame : FrameRow
        The frame.
    lens : str, optional
        Name of its lens.
    """
    return f"{frame.label} {note_of(frame, lens)}".strip()


def note_of(frame: FrameRow, lens: str | None = None) -> str:
    """The same without the label."""
    if frame.blank:
        return "blank"
    parts = [*_settings(frame), *_moment(frame), *_words(frame)]
    named = [
        f"{name}: {_one_field(value)}"
        for name, value in (("lens", lens), ("place", frame.place), ("person", frame.person), ("notes", frame.notes))
        if value
    ]
    return " ".join(parts) + "".join(f"; {one}" for one in named)


def _settings(frame: FrameRow) -> list[str]:
    bias = frame.exposure_bias
    said = [
        frame.shutter,
        f"f{format_f_number(frame.aperture)}" if frame.aperture else None,
        f"{frame.focal_mm:g}mm" if frame.focal_mm else None,
        f"EI {frame.exposure_index}" if frame.exposure_index else None,
        f"{bias:+g}" if bias else "±0" if bias == 0 else None,
        None if frame.flash is None else "flash" if frame.flash else "no flash",
    ]
    return [one for one in said if one]


def _moment(frame: FrameRow) -> list[str]:
    if not frame.taken_at:
        return []
    end = {"day": None, "minute": 16}.get(frame.taken_to or "", 19)
    return [frame.taken_at[:10], *([frame.taken_at[11:end]] if end else [])]


def _words(frame: FrameRow) -> list[str]:
    keywords = (frame.keywords or "").split()
    rating = ["*" * frame.rating] if frame.rating else []
    return [*([_caption(frame.caption)] if frame.caption else []), *(f"#{word}" for word in keywords), *rating]


def _caption(caption: str) -> str:
    """Bare where it reads back as it is; in quotes where a word of it would be taken for something else."""
    plain = " ".join(caption.replace(chr(0), "").split())
    try:
        read = read_note(f"1 {plain}", Assumptions()).frames
    except Refusal:
        read = ()
    if len(read) == 1 and read[0].columns() == {"caption": plain, "blank": False}:
        return plain
    return '"' + plain.replace('"', "'") + '"'


def _one_field(value: str) -> str:
    return " ".join(value.replace(";", ",").replace("|", ",").split())
