"""Long work: one server carries a job out, another goes on with it when that one is gone, on either kind of book."""

from __future__ import annotations

import os
from itertools import pairwise

import pytest

from dryside.book.folder import open_book
from dryside.web.jobs import (
    DONE,
    RUNNING,
    WAITING,
    ask_for,
    cancel,
    end,
    get_job,
    keep_alive,
    take_next,
    take_up_again,
    tell,
)
from dryside.web.leases import LOST_AFTER_S, Holder, Watch, lease_of
from web.serving import Process, wait_for


def state_of(book, job_id: int) -> str:
    with book.read() as conn:
        return get_job(conn, job_id).state


class Clock:
    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


def test_a_job_is_taken_once_and_told_of_by_its_holder_only(book):
    job = ask_for(book, "tag", {"roll": "26-001-N"})
    assert take_next(book, "one").id == job.id
    assert take_next(book, "other") is None
    assert not tell(book, job.id, "other", done=1, total=2, message="")
    assert tell(book, job.id, "one", done=1, total=2, message="half")
    end(book, job.id, "other", DONE)
    assert state_of(book, job.id) == RUNNING
    end(book, job.id, "one", DONE)
    assert state_of(book, job.id) == DONE
    with book.read() as conn:
        assert lease_of(conn, job.id) is None


def test_work_on_one_roll_keeps_its_order_and_other_rolls_go_beside_it(book):
    first = ask_for(book, "look", {"roll": "26-001-N"})
    second = ask_for(book, "invert", {"roll": "26-001-N"})
    beside = ask_for(book, "look", {"roll": "26-002-L"})
    assert take_next(book, "one").id == first.id
    assert take_next(book, "other").id == beside.id
    assert take_next(book, "third") is None
    end(book, first.id, "one", DONE)
    assert take_next(book, "third").id == second.id


def test_a_lease_that_stops_counting_is_lost_after_a_while_and_one_that_counts_is_not(book):
    clock = Clock()
    watch = Watch(lambda _: False, clock)
    job = ask_for(book, "tag", {"roll": "26-001-N"})
    take_next(book, "one")
    for _ in range(4):
        clock.at += LOST_AFTER_S * 0.9
        assert keep_alive(book, job.id, "one")
        assert take_up_again(book, watch) == 0
    clock.at += LOST_AFTER_S * 1.1
    assert take_up_again(book, watch) == 1
    assert state_of(book, job.id) == WAITING
    assert not keep_alive(book, job.id, "one")
    take_next(book, "other")
    assert not tell(book, job.id, "one", done=9, total=9, message="")
    assert not keep_alive(book, job.id, "one")


def test_a_cancelled_job_is_nobodys(book):
    job = ask_for(book, "tag", {"roll": "26-001-N"})
    take_next(book, "one")
    cancel(book, job.id)
    assert not keep_alive(book, job.id, "one")
    assert take_up_again(book, Watch(lambda _: True)) == 0


def test_a_holder_s_file_tells_whether_it_lives(tmp_path):
    one, other = Holder(tmp_path), Holder(tmp_path)
    assert not other.is_gone(one.name)
    assert not other.is_gone("of another machine")
    os.close(one._file)  # as a process that was killed
    assert other.is_gone(one.name)
    other.clear()
    assert sorted(path.name for path in (tmp_path / "servers").iterdir()) == [other.name]
    other.close()


@pytest.mark.slow
def test_two_servers_share_the_jobs_and_one_goes_on_where_the_other_was_killed(tmp_path):
    """Each step is made by one process and never twice: a step made already lets the second process fail."""
    folder = tmp_path / "book"
    servers = [Process(folder, environment={"DRYSIDE_TRY_JOBS": "yes"}) for _ in range(2)]
    with open_book(folder) as book:
        marks = [tmp_path / f"marks-{number}" for number in range(3)]
        jobs = []
        for number, one in enumerate(marks):
            one.mkdir()
            given = {"roll": f"roll {number}", "steps": 8, "seconds": 0.15, "marks": str(one)}
            jobs.append(ask_for(book, "count slowly", given))
        try:
            for server in servers:
                server.start()
            wait_for(lambda: sum(len(list(one.iterdir())) >= 3 for one in marks) >= 2, 60)
            servers[0].kill()
            wait_for(lambda: all(state_of(book, job.id) == DONE for job in jobs), 90)
        finally:
            for server in servers:
                if server.process.poll() is None:
                    server.kill()
        makers = [[(one / str(step)).read_text() for step in range(8)] for one in marks]
        changes = [sum(before != after for before, after in pairwise(one)) for one in makers]
        assert sorted(changes) == [0, 0, 1]
        assert len({maker for one in makers for maker in one}) == 4
