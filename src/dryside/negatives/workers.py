"""The same jobs on threads here or on a cluster: results in the order of the jobs, refusals as results."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from typing import Any, TypeVar

from dryside.film.refusal import Refusal

Job = TypeVar("Job")
Result = TypeVar("Result")
# A job whose worker died is given to another one, this often.
RETRIES = 5


@contextmanager
def thread_workers(count: int) -> Iterator[Executor]:
    """A pool of `count` threads; the engine's loops and codecs let the interpreter's lock go."""
    with ThreadPoolExecutor(max(1, count), thread_name_prefix="dryside") as pool:
        yield pool


@contextmanager
def cluster_workers(address: str) -> Iterator[Executor]:
    """The workers of a Dask cluster, by its scheduler's address.

    Raises
    ------
    Refusal
        If the library is missing or nobody answers.
    """
    try:
        import distributed
    except ImportError as error:
        remedy = "Install it: pip install 'dryside[cluster]'."
        raise Refusal(f"--cluster {address}", "the library for clusters is not installed", remedy) from error
    connect: Any = distributed.Client  # it carries no types
    try:
        client: Any = connect(address, timeout=10)
    except (OSError, TimeoutError, ValueError) as error:
        remedy = "Start 'dask scheduler' and give its address, like tcp://host:8786."
        raise Refusal(f"--cluster {address}", f"no scheduler answers there ({error})", remedy) from error
    try:
        yield client.get_executor(retries=RETRIES)
    finally:
        client.close()


def run_all(
    pool: Executor,
    function: Callable[[Job], Result],
    jobs: Sequence[Job],
    *,
    stop: threading.Event,
    done: Callable[[int, Result | Refusal], None] = lambda number, result: None,
) -> list[Result | Refusal]:
    """Results of all jobs, in their order; `done(number, result)` is called as each ends, in this thread.

    A job that raises a Refusal has it as its result. Anything else, and Ctrl-C, ends the whole: jobs not yet begun are
    dropped, `stop` is set, and those that run are waited for.
    """
    futures: dict[Future[Result], int] = {pool.submit(function, job): number for number, job in enumerate(jobs)}
    results: list[Result | Refusal | None] = [None] * len(jobs)
    try:
        for future in as_completed(futures):
            number = futures[future]
            results[number] = outcome = _outcome(future)
            done(number, outcome)
    except BaseException:
        stop.set()
        for future in futures:
            future.cancel()
        raise
    return [one for one in results if one is not None]


def _outcome(future: Future[Result]) -> Result | Refusal:
    try:
        return future.result()
    except Refusal as refusal:
        return refusal
