"""Studies, comparisons and exceptions go through pickle, process pools and forks."""

import copy
import multiprocessing
import os
import pickle
import signal
import time
import warnings
from concurrent.futures import ProcessPoolExecutor

import pytest

import serrata
from conftest import REFERENCE


@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_a_study_and_a_comparison_survive_pickle(reference, comparison, protocol):
    assert pickle.loads(pickle.dumps(reference, protocol)) == reference
    again = pickle.loads(pickle.dumps(comparison, protocol))
    assert again == comparison
    assert again.to_bytes() == comparison.to_bytes()
    assert again.threads == comparison.threads
    assert again.study == reference


def test_a_study_survives_copy(reference):
    assert copy.copy(reference) == copy.deepcopy(reference) == reference


def run(study, seed):
    return study.simulate(trials=200, seed=seed, threads=1)


def refuse(_):
    serrata.Study.parse("[study]\nname = 3")


@pytest.mark.parametrize("method", ["spawn", "forkserver"])
def test_a_process_pool_gives_the_same_bytes(reference, method):
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context(method)) as pool:
        found = list(pool.map(run, [reference] * 2, [1, 2]))
        with pytest.raises(serrata.StudyError) as caught:
            pool.submit(refuse, None).result()
    assert found == [run(reference, 1), run(reference, 2)]
    assert found[0] != found[1]
    assert caught.value.faults


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
def test_a_process_forked_after_use_works(tmp_path):
    study = serrata.Study.load(REFERENCE)
    expected = study.simulate(trials=300, seed=5, threads=2).to_bytes()
    with warnings.catch_warnings():
        # Newer interpreters warn of any fork beside threads; our own threads end with their call.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        status = 1
        try:
            same = study.simulate(trials=300, seed=5, threads=2).to_bytes() == expected
            status = 0 if same else 2
        finally:
            os._exit(status)
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            assert os.waitstatus_to_exitcode(status) == 0
            return
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    pytest.fail("the forked process hangs")
