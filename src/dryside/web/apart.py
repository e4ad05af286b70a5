"""Reading pictures, captures and the like in a process of its own, with limits on memory and time.

A file that makes a decoder go wild ends that process and not the server; the person is told in words.
"""

from __future__ import annotations

import multiprocessing
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures import TimeoutError as TooSlow
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from dryside.film.refusal import Refusal

Result = TypeVar("Result")

MEMORY_BYTES = 6 << 30
"""Address space: a 100-megapixel 16-bit capture, its flat and working copies, with room for libraries."""
TASKS_A_PROCESS = 500


def limit_this_process(memory_bytes: int = MEMORY_BYTES, cpu_s: int | None = None) -> None:
    """Cap the memory (and CPU time) of the process that calls this, where the system can."""
    if sys.platform == "win32":
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if cpu_s is not None:
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))


class Apart:
    """One helper process, started when first needed and started anew when it was ended."""

    def __init__(self, *, workers: int = 1, memory_bytes: int = MEMORY_BYTES) -> None:
        self.workers = workers
        self.memory_bytes = memory_bytes
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None

    def run(self, thing: str, function: Callable[..., Result], *arguments: Any, timeout_s: float = 30.0) -> Result:
        """`function(*arguments)` in the helper process.

        Parameters
        ----------
        thing : str
            What is read, as a person knows it, for the refusal.
        function : callable
            A module's function; its arguments and result travel as copies.

        Raises
        ------
        Refusal
            If it took too long, too much memory, or broke the process; or what the function itself refuses.
        """
        refused = Refusal(thing, "it could not be read within the memory allowed", "Is the file damaged?")
        for _ in range(2):  # the first time it may be another's fault that the process broke
            pool = self._started()
            try:
                future: Future[Result] = pool.submit(function, *arguments)
                return future.result(timeout_s)
            except TooSlow:
                self._end(pool)
                raise Refusal(thing, f"reading it took longer than {timeout_s:g} s and was stopped") from None
            except BrokenProcessPool:
                self._end(pool)
            except MemoryError:
                self._end(pool)
                raise refused from None
        raise refused

    def close(self) -> None:
        """End the helper process."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            _kill(pool)

    def _started(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                self._pool = ProcessPoolExecutor(
                    self.workers,
                    mp_context=multiprocessing.get_context("spawn"),
                    initializer=limit_this_process,
                    initargs=(self.memory_bytes,),
                    max_tasks_per_child=TASKS_A_PROCESS,
                )
            return self._pool

    def _end(self, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pool is pool:
                self._pool = None
        _kill(pool)


def _kill(pool: ProcessPoolExecutor) -> None:
    for process in list((getattr(pool, "_processes", None) or {}).values()):
        process.kill()
    pool.shutdown(wait=False, cancel_futures=True)
