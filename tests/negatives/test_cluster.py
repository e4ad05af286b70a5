import hashlib
from dataclasses import replace

import pytest

from dryside.film.refusal import Refusal
from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.journal import JOURNAL_NAME
from dryside.negatives.spaces import print_rendering
from negatives.drawn_roll import write_frames

WHOLE = InvertOptions("c41", "135", print_rendering(), whole=True, workers=2)


def digests(folder):
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.name != JOURNAL_NAME
    }


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the scheduler warns of the worker that is killed
def test_a_cluster_of_two_of_which_one_is_killed_writes_the_same_bytes(tmp_path):
    import os
    import signal

    from distributed import LocalCluster

    paths = write_frames(tmp_path / "in", 10, rows=600, columns=800)
    invert(paths, WHOLE, tmp_path / "wanted")
    killed = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=0, silence_logs=50
    ) as cluster:
        pids = [worker.process.pid for worker in cluster.workers.values()]

        def kill_one(step):
            if step.part == "written" and step.done == 2 and not killed:
                os.kill(pids[0], signal.SIGKILL)
                killed.append(pids[0])

        options = replace(WHOLE, cluster=cluster.scheduler_address)
        roll = invert(paths, options, tmp_path / "out", kill_one)
    assert killed
    assert not roll.refused
    assert len(roll.captures) == 10
    assert digests(tmp_path / "out") == digests(tmp_path / "wanted")


@pytest.mark.filterwarnings("ignore")
def test_an_address_where_nobody_answers_is_refused(tmp_path):
    paths = write_frames(tmp_path / "in", 1)
    with pytest.raises(Refusal, match="no scheduler answers"):
        invert(paths, replace(WHOLE, cluster="tcp://127.0.0.1:9"), tmp_path / "out")
