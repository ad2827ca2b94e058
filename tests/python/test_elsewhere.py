"""A run by an executor has the bytes of a run in one place, whatever becomes of its parts."""

import json
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
        elif misdeed == "damage":
            future.set_result(work(part=part, **sent)[:-100])
        elif misdeed == "confuse":
            future.set_result(work(part=(part + 1) % 5, **sent))
        elif misdeed == "say":
            future.set_result("done")
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


@pytest.mark.parametrize("misdeed", ["fail", "cancel", "spoil", "damage", "confuse", "say"])
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


@pytest.mark.parametrize(
    ("misdeed", "words"),
    [
        ("spoil", "must be a part of this run"),
        ("damage", "must be sums of a part, whole and unchanged"),
        ("confuse", "must be part 2"),
        ("say", "must be bytes, not str"),
    ],
)
def test_a_part_that_comes_damaged_again_and_again_ends_the_run(losing, misdeed, words):
    executor = Unreliable({(2, number): misdeed for number in range(1, 9)})
    words = f"^part 2 of 5: failed 4 times, the last time by its answer, which {words}; "
    with pytest.raises(serrata.WorkerError, match=words):
        losing.simulate(**PARTS, executor=executor)
    assert executor.tries[2] == 4


def forged(part, other):
    """Give a part with the sums of another one, and the checksum that belongs to them."""
    run = json.loads(part)
    text, sums = part.decode(), other.decode().split('"sums":')[1].split(',"checksum":')[0]
    fields = [run[key] for key in ("form", "version", "generator", "study", "seed", "trials", "planted_lives")]
    content = f"[{json.dumps(fields, separators=(',', ':'))},{run['first_batch']},{run['batches']},{sums}]"
    checksum = 0xCBF2_9CE4_8422_2325
    for byte in content.encode():
        checksum = (checksum ^ byte) * 0x0100_0000_01B3 % 2**64
    return (text.split('"sums":')[0] + f'"sums":{sums},"checksum":{checksum}}}').encode()


def test_a_part_that_comes_twice_with_other_sums_ends_the_run(losing, monkeypatch):
    monkeypatch.setattr(elsewhere, "_OVERDUE_SECONDS", 0.2)
    # Part 3 stays away, so that the run waits.
    executor = Unreliable(dict.fromkeys([(2, 1), (2, 2), (3, 1), (3, 2), (3, 3)], "lose"))

    def come_otherwise(work):
        def live(**sent):
            answer = work(**sent)
            if sent["part"] == 2:
                first, second = [late for late, _, part, _ in executor.late if part == 2]
                first.set_result(answer)
                second.set_result(forged(answer, work(**{**sent, "part": 1})))
            return answer

        return live

    submit = executor.submit
    monkeypatch.setattr(executor, "submit", lambda work, **sent: submit(come_otherwise(work), **sent))
    with pytest.raises(serrata.WorkerError, match=r"^part 2 of 5: came twice, with other sums: a machine that takes"):
        losing.simulate(**PARTS, executor=executor)


def test_what_is_wrong_with_the_study_is_told_at_once(losing):
    doomed = losing.with_values({"study.start_year": 200})
    executor = Unreliable({})
    with pytest.raises(serrata.ContradictionError, match="yet the row runs"):
        doomed.simulate(trials=1, seed=1, block_trials=512, executor=executor)
    assert executor.tries == {0: 1}


@pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")
def test_a_killed_worker_is_told_with_what_was_done(losing):
    with spawned(1) as pool:
        victim = pool.submit(os.getpid).result(timeout=60)
        killer = threading.Timer(0.5, os.kill, (victim, signal.SIGKILL))
        killer.start()
        with pytest.raises(serrata.WorkerError, match=r"BrokenProcessPool.*trials were finished"):
            losing.simulate(trials=100_000_000, seed=1, executor=pool, progress=False)
        killer.join()


def spawned(workers):
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))


@pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")
def test_a_pool_that_breaks_is_replaced_where_a_function_makes_it(losing):
    pools, killed = [], []

    def make():
        pools.append(spawned(1))
        return pools[-1]

    def kill_twice(done, wanted):
        if len(killed) < 2 and done > 1024 * len(pools) and pools[-1]._processes:
            killed.extend(pools[-1]._processes)
            os.kill(killed[-1], signal.SIGKILL)

    run = {"trials": 10_000, "seed": 3, "block_trials": 512}
    found = losing.simulate(**run, executor=make, progress=kill_twice)
    assert found.to_bytes() == losing.simulate(trials=10_000, seed=3).to_bytes()
    assert (len(set(killed)), len(pools)) == (2, 3)
    # Those that were made are shut down.
    for pool in pools:
        with pytest.raises(RuntimeError):
            pool.submit(os.getpid)


def die():
    os._exit(1)


def test_a_pool_that_breaks_again_and_again_ends_the_run(losing):
    pools = []

    def make():
        pools.append(ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"), initializer=die))
        return pools[-1]

    with pytest.raises(
        serrata.WorkerError, match=r"failed 4 times, the last time by BrokenProcessPool.*\n.*\n    or with"
    ):
        losing.simulate(**PARTS, executor=make)
    assert len(pools) == 4


def test_a_class_of_executors_makes_one(losing, whole):
    assert losing.simulate(**PARTS, executor=ThreadPoolExecutor).to_bytes() == whole


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
    [
        ({"executor": 3}, "must be an executor"),
        ({"executor": lambda: 3}, "must make an executor, with a method submit, not 3"),
        ({"executor": Unreliable({}), "keep_finished": True}, "leave one of"),
    ],
)
def test_what_is_no_executor_and_what_it_cannot_do_are_refused(losing, options, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        losing.simulate(trials=10, seed=1, **options)
