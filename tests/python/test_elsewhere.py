"""A run by an executor has the bytes of a run in one place, whatever becomes of its parts."""

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor

import pytest

import serrata
from conftest import LOSING
from serrata import elsewhere

TRIALS = 5_000
#: Ten batches of 512 trials, in five parts.
PARTS = {"trials": TRIALS, "seed": 3, "block_trials": 1024}


@pytest.fixture(scope="module")
def whole(losing):
    return losing.simulate(trials=TRIALS, seed=3).to_bytes()


class Unreliable:
    """An executor that does to parts what is asked, by the numbers of the part and of the try, and lives the others."""

    def __init__(self, misdeeds):
        self.misdeeds, self.tries, self.late = misdeeds, {}, []

    def submit(self, work, *, part, **sent):
        self.tries[part] = self.tries.get(part, 0) + 1
        future = Future()
        misdeed = self.misdeeds.get((part, self.tries[part]))
        if misdeed == "lose":
            self.late.append((future, work, part, sent))
        elif misdeed == "fail":
            future.set_exception(RuntimeError("the worker is gone"))
        elif misdeed == "cancel":
            future.cancel()
            future.set_running_or_notify_cancel()
        elif misdeed == "spoil":
            future.set_result(work(part=part, **{**sent, "seed": sent["seed"] + 1}))
        elif misdeed == "refuse":
            raise RuntimeError("cannot schedule new futures after shutdown")
        else:
            try:
                future.set_result(work(part=part, **sent))
            except serrata.Error as error:
                future.set_exception(error)
        return future


@pytest.mark.parametrize("method", ["spawn", "forkserver"])
def test_processes_give_the_same_bytes(losing, whole, method):
    told = []
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context(method)) as pool:
        found = losing.simulate(**PARTS, executor=pool, progress=lambda done, wanted: told.append((done, wanted)))
    assert found.to_bytes() == whole
    assert told[-1] == (TRIALS, TRIALS)
    assert told == sorted(told)


@pytest.mark.parametrize("workers", [1, 3])
def test_python_threads_give_the_same_bytes(losing, whole, workers):
    with ThreadPoolExecutor(workers) as pool:
        assert losing.simulate(trials=TRIALS, seed=3, executor=pool, progress=False).to_bytes() == whole


@pytest.mark.parametrize("misdeed", ["fail", "cancel"])
def test_a_part_that_fails_is_sent_again(losing, whole, misdeed):
    executor = Unreliable({(1, 1): misdeed, (1, 2): misdeed, (4, 1): misdeed})
    assert losing.simulate(**PARTS, executor=executor).to_bytes() == whole
    assert executor.tries == {0: 1, 1: 3, 2: 1, 3: 1, 4: 2}


def test_a_part_that_is_lost_is_sent_again_and_may_come_twice(losing, whole, monkeypatch):
    monkeypatch.setattr(elsewhere, "_OVERDUE_SECONDS", 0.2)
    executor = Unreliable({(2, 1): "lose"})

    def come_late(work):
        def live(**sent):
            if executor.late and sent["part"] == 2:
                late, *_ = executor.late.pop()
                answer = work(**sent)
                late.set_result(answer)
                return answer
            return work(**sent)

        return live

    submit = executor.submit
    monkeypatch.setattr(executor, "submit", lambda work, **sent: submit(come_late(work), **sent))
    assert losing.simulate(**PARTS, executor=executor).to_bytes() == whole
    assert executor.tries[2] == 2


def test_a_part_that_never_comes_ends_the_run(losing, monkeypatch):
    monkeypatch.setattr(elsewhere, "_OVERDUE_SECONDS", 0.1)
    executor = Unreliable({(2, number): "lose" for number in range(1, 9)})
    with pytest.raises(serrata.WorkerError, match=r"part 2 of 5: was sent 4 times and never came back; 3,976 of 5,000"):
        losing.simulate(**PARTS, executor=executor)
    assert all(future.cancelled() for future, *_ in executor.late)


def test_a_part_that_fails_again_and_again_ends_the_run(losing):
    executor = Unreliable({(2, number): "fail" for number in range(1, 9)})
    with pytest.raises(serrata.WorkerError, match="failed 4 times, the last time by RuntimeError: the worker is gone"):
        losing.simulate(**PARTS, executor=executor)


def test_an_executor_that_is_closed_is_said_to_be(losing):
    with pytest.raises(serrata.WorkerError, match="the executor takes no more work: RuntimeError: cannot schedule"):
        losing.simulate(**PARTS, executor=Unreliable({(0, 1): "refuse"}))


def test_sums_of_another_run_are_refused(losing):
    with pytest.raises(serrata.ArgumentError, match="must be a part of this run"):
        losing.simulate(**PARTS, executor=Unreliable({(3, 1): "spoil"}))


def test_what_is_wrong_with_the_study_is_told_at_once(reference):
    doomed = reference.with_values(
        {"initiation.fatigue.scale": 2000, "growth.blade-steel.coefficient_m_per_start": 1e-9}
    )
    executor = Unreliable({})
    with pytest.raises(serrata.ContradictionError, match="yet the row runs"):
        doomed.simulate(trials=600, seed=1, block_trials=600, executor=executor)
    assert executor.tries == {0: 1}


@pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")
def test_a_killed_worker_is_told_with_what_was_done(losing):
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        victim = pool.submit(os.getpid).result(timeout=60)
        killer = threading.Timer(0.5, os.kill, (victim, signal.SIGKILL))
        killer.start()
        with pytest.raises(serrata.WorkerError, match=r"BrokenProcessPool.*trials were finished"):
            losing.simulate(trials=100_000_000, seed=1, executor=pool, progress=False)
        killer.join()


#: A cluster of processes on this machine, one of whose workers is killed in the middle of the run.
CLUSTER = """
import os, signal, sys, threading
import serrata
from distributed import Client, LocalCluster

if __name__ == "__main__":
    study = serrata.Study.load(sys.argv[1])
    whole = study.simulate(trials=200_000, seed=3).to_bytes()
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        victim, _ = client.run(os.getpid).values()
        told = []

        def kill_once(done, wanted):
            if done > 40_000 and not told:
                told.append(done)
                os.kill(victim, signal.SIGKILL)

        executor = client.get_executor()
        found = study.simulate(trials=200_000, seed=3, block_trials=5_120, executor=executor, progress=kill_once)
    print(bool(told), found.to_bytes() == whole)
"""


@pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")
def test_a_dask_cluster_that_loses_a_worker_gives_the_same_bytes(tmp_path):  # K3
    (tmp_path / "cluster.py").write_text(CLUSTER, encoding="utf-8")
    command = [sys.executable, str(tmp_path / "cluster.py"), str(LOSING)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    assert done.stdout == "True True\n", done.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [({"executor": 3}, "must be an executor"), ({"executor": Unreliable({}), "keep_finished": True}, "leave one of")],
)
def test_what_is_no_executor_and_what_it_cannot_do_are_refused(losing, options, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        losing.simulate(trials=10, seed=1, **options)
