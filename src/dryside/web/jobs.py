"""Long work in the book's table: asked for, taken up by one server, told of, cancelled; what a restart finds half done
goes on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryside.book.folder import Book
from dryside.book.instants import now
from dryside.book.rows import fetch, fetch_one, insert, must_be, update
from dryside.book.schema import jobs
from dryside.web.leases import Watch, beat, drop_lease, give_lease, lease_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

WAITING, RUNNING, DONE, FAILED, CANCELLED = "waiting", "running", "done", "failed", "cancelled"
ENDED = (DONE, FAILED, CANCELLED)


@dataclass(frozen=True)
class JobRow:
    """A job: how far it is (`done` of `total`, 0 where not known), and its result or why it failed."""

    id: int
    kind: str
    arguments: Any
    state: str
    done: int
    total: int
    message: str | None
    result: Any
    made_at: str
    changed_at: str

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in ENDED

    def as_dict(self) -> dict[str, Any]:
        """For a script or the page's progress bar."""
        return {
            "id": self.id, "kind": self.kind, "state": self.state, "done": self.done, "total": self.total,
            "message": self.message, "result": self.result,
        }  # fmt: skip


def ask_for(book: Book, kind: str, arguments: Mapping[str, Any], *, message: str = "") -> JobRow:
    """Put a job in the queue; the same job that waits or runs already is given instead of a second."""
    with book.write() as conn:
        for known in fetch(conn, JobRow, jobs, jobs.c.kind == kind, jobs.c.state.in_([WAITING, RUNNING])):
            if known.arguments == dict(arguments):
                return known
        moment = now()
        values = {"kind": kind, "arguments": dict(arguments), "state": WAITING, "done": 0, "total": 0,
                  "message": message, "made_at": moment, "changed_at": moment}  # fmt: skip
        return get_job(conn, insert(conn, jobs, values))


def get_job(conn: Connection, job_id: int) -> JobRow:
    """A job by its number (NotFound where there is none)."""
    return must_be(fetch_one(conn, JobRow, jobs, jobs.c.id == job_id), f"job {job_id}")


def list_jobs(conn: Connection, *, kind: str | None = None, most: int = 30) -> list[JobRow]:
    """Jobs, the newest first."""
    where = () if kind is None else (jobs.c.kind == kind,)
    return fetch(conn, JobRow, jobs, *where, order=(jobs.c.id.desc(),))[:most]


def open_jobs(conn: Connection) -> list[JobRow]:
    """Jobs that wait or run."""
    return fetch(conn, JobRow, jobs, jobs.c.state.in_([WAITING, RUNNING]))


def take_next(book: Book, holder: str) -> JobRow | None:
    """Take up the oldest job that waits and may run beside those that run; None where there is none.

    Two servers never take the same job: it is taken, with its lease, in one write.
    """
    with book.read() as conn:
        if _next(conn) is None:
            return None
    with book.write() as conn:
        found = _next(conn)
        if found is None:
            return None
        update(conn, jobs, found.id, {"state": RUNNING, "changed_at": now()})
        give_lease(conn, found.id, holder)
        return get_job(conn, found.id)


def _next(conn: Connection) -> JobRow | None:
    running = [one.arguments.get("roll") for one in fetch(conn, JobRow, jobs, jobs.c.state == RUNNING)]
    waiting = fetch(conn, JobRow, jobs, jobs.c.state == WAITING)
    # Work on one roll keeps its order, and so does what names no roll (deliveries, prints).
    return next((one for one in waiting if one.arguments.get("roll") not in running), None)


def take_up_again(book: Book, watch: Watch) -> int:
    """Put back into the queue what a server that is gone left running; returns how many."""
    with book.read() as conn:
        running = fetch(conn, JobRow, jobs, jobs.c.state == RUNNING)
        lost = [(job.id, lease) for job in running if watch.is_lost(job.id, lease := lease_of(conn, job.id))]
    if not lost:
        return 0
    count = 0
    with book.write() as conn:
        for job_id, lease in lost:
            if get_job(conn, job_id).state == RUNNING and lease_of(conn, job_id) == lease:
                give_back(conn, job_id)
                count += 1
    return count


def give_back(conn: Connection, job_id: int) -> None:
    """Put a running job back into the queue."""
    update(conn, jobs, job_id, {"state": WAITING, "changed_at": now()})
    drop_lease(conn, job_id)


def tell(book: Book, job_id: int, holder: str, *, done: int, total: int, message: str) -> bool:
    """Note how far a running job is; false where it was cancelled or is somebody else's by now."""
    with book.write() as conn:
        if not is_held(conn, job_id, holder):
            return False
        update(conn, jobs, job_id, {"done": done, "total": total, "message": message, "changed_at": now()})
    return True


def end(book: Book, job_id: int, holder: str, state: str, *, message: str = "", result: Any = None) -> None:
    """Note the end of a job by who carries it out; nothing where it is over, or somebody else's by now."""
    with book.write() as conn:
        if is_held(conn, job_id, holder):
            values = {"state": state, "message": message, "result": result, "changed_at": now()}
            update(conn, jobs, job_id, values)
            drop_lease(conn, job_id)


def keep_alive(book: Book, job_id: int, holder: str) -> bool:
    """Say that the job's holder lives; false where it was cancelled or is somebody else's by now."""
    with book.write() as conn:
        return is_held(conn, job_id, holder) and beat(conn, job_id, holder)


def is_held(conn: Connection, job_id: int, holder: str) -> bool:
    """Whether the job runs and is this holder's."""
    lease = lease_of(conn, job_id)
    return get_job(conn, job_id).state == RUNNING and lease is not None and lease.holder == holder


def cancel(book: Book, job_id: int) -> JobRow:
    """Cancel a job that waits or runs; what it wrote whole stays, what it had begun vanishes."""
    with book.write() as conn:
        if not get_job(conn, job_id).is_over:
            update(conn, jobs, job_id, {"state": CANCELLED, "message": "Cancelled.", "changed_at": now()})
            drop_lease(conn, job_id)
        return get_job(conn, job_id)


def ask_again(book: Book, job_id: int) -> JobRow:
    """Queue a failed or cancelled job once more."""
    with book.write() as conn:
        job = get_job(conn, job_id)
        if job.state in (FAILED, CANCELLED):
            update(conn, jobs, job_id, {"state": WAITING, "message": "", "result": None, "changed_at": now()})
        return get_job(conn, job_id)
