"""Who carries out which job: a lease in the book for each running job, kept alive by a beat, lost when the beat stops.

Several servers may serve one book. A lease names its holder and counts up while the holder lives; the others only watch
whether it still counts, each by its own steady clock, so that machines whose clocks differ agree. A holder on this
machine that was killed is known at once: every holder locks a file of its own under the book's web/servers/.
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryside.book.schema import settings

if TYPE_CHECKING:
    from sqlalchemy import Connection

LOST_AFTER_S = 20.0
BEAT_EVERY_S = 3.0
_NAME = "web lease of job "


@dataclass(frozen=True)
class Lease:
    """A holder, and how often it said that it lives."""

    holder: str
    beat: int


def lease_of(conn: Connection, job_id: int) -> Lease | None:
    """The lease of a job; None where nobody carries it out."""
    from sqlalchemy import select

    kept: Any = conn.execute(select(settings.c.value).where(settings.c.name == f"{_NAME}{job_id}")).scalar_one_or_none()
    return None if kept is None else Lease(str(kept["holder"]), int(kept["beat"]))


def give_lease(conn: Connection, job_id: int, holder: str) -> None:
    """Give the job to a holder (inside the write that takes it up)."""
    drop_lease(conn, job_id)
    conn.execute(settings.insert().values(name=f"{_NAME}{job_id}", value=vars(Lease(holder, 0))))


def beat(conn: Connection, job_id: int, holder: str) -> bool:
    """Say that the holder lives; false where the job is somebody else's, or nobody's, by now."""
    known = lease_of(conn, job_id)
    if known is None or known.holder != holder:
        return False
    value = vars(Lease(holder, known.beat + 1))
    conn.execute(settings.update().where(settings.c.name == f"{_NAME}{job_id}").values(value=value))
    return True


def drop_lease(conn: Connection, job_id: int) -> None:
    """Nobody carries the job out any more."""
    conn.execute(settings.delete().where(settings.c.name == f"{_NAME}{job_id}"))


@dataclass
class Watch:
    """Tells which leases are lost: those of holders known to be gone, and those that did not count up for long.

    Parameters
    ----------
    is_gone : callable
        Whether a holder is known to live no more.
    clock : callable, optional
        Seconds of a clock that never goes back.
    """

    is_gone: Callable[[str], bool]
    clock: Callable[[], float] = time.monotonic
    _seen: dict[int, tuple[Lease, float]] = field(default_factory=dict)

    def is_lost(self, job_id: int, lease: Lease | None) -> bool:
        """Whether the job may be taken from its holder."""
        if lease is None or self.is_gone(lease.holder):
            self._seen.pop(job_id, None)
            return True
        known = self._seen.get(job_id)
        if known is None or known[0] != lease:
            self._seen[job_id] = (lease, self.clock())
            return False
        return self.clock() - known[1] > LOST_AFTER_S


class Holder:
    """This server's name on leases, and the locked file that says it lives."""

    def __init__(self, web_folder: Path) -> None:
        self.folder = web_folder / "servers"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.name = secrets.token_hex(8)
        self._file: int | None = os.open(self.folder / self.name, os.O_RDWR | os.O_CREAT, 0o600)
        _lock(self._file)

    def is_gone(self, holder: str) -> bool:
        """Whether a holder of this machine lives no more; false where nothing is known of it."""
        path = self.folder / Path(holder).name
        if holder == self.name or not path.is_file():
            return False
        handle = os.open(path, os.O_RDWR)
        try:
            return _lock(handle)
        finally:
            os.close(handle)

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
            (self.folder / self.name).unlink(missing_ok=True)

    def clear(self) -> None:
        """Take away the files of servers that are gone."""
        for path in self.folder.iterdir():
            if self.is_gone(path.name):
                path.unlink(missing_ok=True)


def _lock(handle: int) -> bool:
    """Lock an open file for as long as it is open; false where somebody else has it. The lock ends with its process."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
