"""Carries jobs out one after the other, each in a process of its own that ends with the server."""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading

from dryside.book.folder import Book
from dryside.web.jobs import CANCELLED, FAILED, JobRow, end, get_job, take_next, take_up_again

log = logging.getLogger(__name__)
LOOK_EVERY_S = 0.25


class JobRunner:
    """A thread that takes jobs from the book's queue. `wake` after asking for one; `close` at the end."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._work, name="jobs", daemon=True)

    def start(self) -> None:
        """Take up again what was left, then what waits."""
        take_up_again(self.book)
        self._thread.start()

    def wake(self) -> None:
        """There is a job in the queue."""
        self._wake.set()

    def close(self) -> None:
        """Stop after ending the process under way; its job is taken up again at the next start."""
        self._stop.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(10)

    def _work(self) -> None:
        while not self._stop.is_set():
            job = take_next(self.book)
            if job is None:
                self._wake.wait(1.0)
                self._wake.clear()
                continue
            try:
                self._carry_out(job)
            except OSError:
                log.exception("job %d", job.id)
                end(self.book, job.id, FAILED, message="Its process could not be started.")

    def _carry_out(self, job: JobRow) -> None:
        given = {"book": self._where(), "files": str(self.book.root), "job": job.id}
        command = [sys.executable, "-m", "dryside.web.job_process"]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL)
        assert process.stdin is not None
        # The pipe stays open: its end, when this server is gone however it went, ends the process too.
        process.stdin.write(json.dumps(given).encode() + b"\n")
        process.stdin.flush()
        try:
            while process.poll() is None:
                if self._stop.wait(LOOK_EVERY_S) or self._is_cancelled(job.id):
                    process.terminate()
                    break
            code = process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            code = process.wait()
        finally:
            process.stdin.close()
        if not self._stop.is_set():
            found = "It ran out of memory or time." if code < 0 else "It ended without saying why."
            end(self.book, job.id, FAILED, message=found)

    def _is_cancelled(self, job_id: int) -> bool:
        with self.book.read() as conn:
            return get_job(conn, job_id).state == CANCELLED

    def _where(self) -> str:
        if self.book.is_sqlite:
            return str(self.book.root)
        return self.book.engine.url.set(drivername="postgresql").render_as_string(hide_password=False)
