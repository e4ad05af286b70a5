"""Deliveries made for tests: folders of pictures by name, and rolls that wait for them."""

from __future__ import annotations

import datetime

from dryside.book.frames import add_frames, list_frames
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll, move_roll
from dryside.book.schema import scans
from scans.pictures import drawn, write_jpeg

MAY = "2026-05-{:02d}T10:00:00+02:00"


def waiting_roll(book, *, labels=(), film_format="135", process="c41", blank=(), exposures=36, times=True, number=0):
    """A roll at the lab with a log of `labels`, an hour apart."""
    with book.write() as conn:
        roll = add_roll(
            conn, film_format=film_format, process=process, on=datetime.date(2026, 5, 1), exposures=exposures
        )
        roll = move_roll(conn, roll, RollState.EXPOSED, at=MAY.format(2))
        roll = move_roll(conn, roll, RollState.AT_LAB, at=MAY.format(3))
        start = datetime.datetime(2026, 5, 1 + number, 8, tzinfo=datetime.timezone(datetime.timedelta(hours=2)))
        add_frames(conn, [
            {
                "roll_id": roll.id, "position": k, "label": str(label), "blank": str(label) in {str(b) for b in blank},
                "taken_at": (start + datetime.timedelta(minutes=20 * k)).isoformat() if times else None,
            }
            for k, label in enumerate(labels)
        ])  # fmt: skip
    return roll


def folder_of(path, names, *, pictures=None, width=150, height=100, first=0):
    """Write a JPEG under each name; `pictures` maps a name to an array of its own."""
    for k, name in enumerate(names):
        image = (pictures or {}).get(name)
        write_jpeg(path / name, drawn(first + k, width=width, height=height) if image is None else image)
    return path


def placed(book, roll=None):
    """File name: (state, frame label) as the book has it."""
    with book.read() as conn:
        rows = conn.execute(scans.select().order_by(scans.c.id)).all()
        labels = {f.id: f.label for r in {row.roll_id for row in rows} if r for f in list_frames(conn, r)}
        return {
            row.name: (row.state, labels.get(row.frame_id)) for row in rows if roll is None or row.roll_id == roll.id
        }
