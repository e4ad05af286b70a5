"""The process that carries out one job: with limits on memory and time, and no longer than the server lives."""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from pathlib import Path

from dryside.book.folder import Book, is_url, open_book
from dryside.film.refusal import Refusal
from dryside.web.apart import limit_this_process
from dryside.web.job_kinds import KINDS, Progress
from dryside.web.jobs import DONE, FAILED, end, get_job, tell

MEMORY_BYTES = 10 << 30
CPU_S = 6 * 3600
TELL_EVERY_S = 0.25


class _Telling:
    """Writes progress into the book, not more often than a person can read."""

    def __init__(self, book: Book, job_id: int, holder: str) -> None:
        self.book, self.job_id, self.holder = book, job_id, holder
        self.done, self.total, self.last = 0, 0, 0.0
        self.lock = threading.Lock()

    def __call__(self, message: str, *, done: int | None = None, total: int | None = None) -> None:
        with self.lock:
            self.done = self.done + 1 if done is None else done
            self.total = self.total if total is None else total
            at = time.monotonic()
            if at - self.last < TELL_EVERY_S and self.done < self.total:
                return
            self.last = at
            if not tell(self.book, self.job_id, self.holder, done=self.done, total=self.total, message=message):
                os._exit(0)  # cancelled, or taken over by another server: what is half written lies in temporary files


def main() -> None:
    """Read what to do from the pipe, do it, note its end."""
    given = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_the_server, daemon=True).start()
    limit_this_process(MEMORY_BYTES, CPU_S)
    where = given["book"]
    with open_book(where, files=Path(given["files"]) if is_url(where) else None, create=False) as book:
        with book.read() as conn:
            job = get_job(conn, given["job"])
        holder = given["holder"]
        telling: Progress = _Telling(book, job.id, holder)
        try:
            result = KINDS[job.kind](book, job.arguments, telling)
        except Refusal as refusal:
            end(book, job.id, holder, FAILED, message=str(refusal))
        except MemoryError:
            end(book, job.id, holder, FAILED, message="It needs more memory than a job may take.")
        else:
            end(book, job.id, holder, DONE, message=result.pop("message", "Done."), result=result)


def _end_with_the_server() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    main()
