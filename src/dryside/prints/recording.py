"""What was printed of which frame, kept in the book: so that 'not printed yet' can be asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dryside.book.frames import update_frame
from dryside.book.rows import insert
from dryside.book.schema import prints

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from dryside.prints.print_files import PrintFile, PrintJob


def record_prints(
    conn: Connection, jobs: Sequence[PrintJob], made: Sequence[PrintFile], frames: Mapping[Path, int], *, made_on: date
) -> int:
    """Note the files made of the book's frames, once each: the same file made again on the same day adds nothing.

    Parameters
    ----------
    conn : Connection
        Inside `Book.write`.
    jobs, made : sequences
        What was wanted, and what came of it, in the same order.
    frames : mapping of Path to int
        Row ids of the frames that the pictures show.
    made_on : date
        The day.

    Returns
    -------
    int
        Rows added.
    """
    added = 0
    for job, file in zip(jobs, made, strict=True):
        frame_id = frames.get(job.path)
        if frame_id is None:
            continue
        same = (prints.c.frame_id == frame_id, prints.c.file == file.file, prints.c.made_on == made_on.isoformat())
        if conn.execute(prints.select().where(*same)).first() is None:
            values = {
                "frame_id": frame_id,
                "size": file.size,
                "copies": file.copies,
                "fill": file.way,
                "file": file.file,
            }
            insert(conn, prints, {**values, "crop": asdict(job.plan.crop), "made_on": made_on.isoformat()})
            added += 1
        update_frame(conn, frame_id, printed=True)
    return added
