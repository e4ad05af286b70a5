"""Carries jobs out one after the other, each in a process of its own that ends with the server."""

from __future__ import annotations

import contextlib
import json
import logging
import subprocess
import sys
import threading
import time

from dryside.book.folder import Book
from dryside.film.refusal import Refusal
from dryside.web.jobs import FAILED, JobRow, end, give_back, is_held, keep_alive, take_next, take_up_again
from dryside.web.leases import BEAT_EVERY_S, Holder, Watch

log = logging.getLogger(__name__)
LOOK_EVERY_S = 0.25


class JobRunner:
    """A thread that takes jobs from the book's queue. `wake` after asking for one; `close` at the end."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._holder = Holder(book.root / "web")
        self._watch = Watch(self._holder.is_gone)
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._work, name="jobs", daemon=True)

    def start(self) -> None:
        """Begin with what a server that is gone left, then what waits."""
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
        self._holder.close()

    def _work(self) -> None:
        while not self._stop.is_set():
            try:
                job = self._next()
            except Refusal:  # the disk is full, the database away: nothing is lost, the jobs wait
                log.warning("the book could not be asked for jobs; trying again", exc_info=True)
                job = None
            if job is None:
                self._wake.wait(1.0)
                self._wake.clear()
                continue
            try:
                self._carry_out(job)
            except (OSError, Refusal):
                log.exception("job %d", job.id)
                with contextlib.suppress(Refusal):
                    end(self.book, job.id, self._holder.name, FAILED, message="Its process could not be started.")

    def _next(self) -> JobRow | None:
        if take_up_again(self.book, self._watch):
            self._holder.clear()
        return take_next(self.book, self._holder.name)

    def _carry_out(self, job: JobRow) -> None:
        given = {"book": self._where(), "files": str(self.book.root), "job": job.id, "holder": self._holder.name}
        command = [sys.executable, "-m", "dryside.web.job_process"]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL)
        assert process.stdin is not None
        # The pipe stays open: its end, when this server is gone however it went, ends the process too.
        process.stdin.write(json.dumps(given).encode() + b"\n")
        process.stdin.flush()
        try:
            self._wait_for(process, job.id)
            code = process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            code = process.wait()
        finally:
            process.stdin.close()
        if self._stop.is_set():
            with self.book.write() as conn:
                if is_held(conn, job.id, self._holder.name):
                    give_back(conn, job.id)
        else:
            found = "It ran out of memory or time." if code < 0 else "It ended without saying why."
            end(self.book, job.id, self._holder.name, FAILED, message=found)

    def _wait_for(self, process: subprocess.Popen[bytes], job_id: int) -> None:
        """Until the process ends; it is ended where the server stops or the job is not this server's any more."""
        said = time.monotonic()
        while process.poll() is None:
            if self._stop.wait(LOOK_EVERY_S):
                process.terminate()
                return
            if time.monotonic() - said < BEAT_EVERY_S:
                with self.book.read() as conn:
                    held = is_held(conn, job_id, self._holder.name)
            else:
                said = time.monotonic()
                held = keep_alive(self.book, job_id, self._holder.name)
            if not held and process.poll() is None:
                process.terminate()
                return

    def _where(self) -> str:
        if self.book.is_sqlite:
            return str(self.book.root)
        return self.book.engine.url.set(drivername="postgresql").render_as_string(hide_password=False)
