"""Any number of threads gives the same bytes; other Python threads go on; Ctrl-C stops at once."""

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from functools import partial

import pytest

from conftest import LOSING

#: Far more than can be done in the time the tests wait.
ENDLESS = 1_000_000_000


def test_threads_and_blocks_change_no_byte(losing):
    runs = [
        losing.simulate(trials=3001, seed=7, threads=threads, block_trials=block)
        for threads in (1, 2, 7)
        for block in (0, 1, 777, 2048)
    ]
    for run in runs[1:]:
        assert run.to_bytes() == runs[0].to_bytes()
        assert run.to_json() == runs[0].to_json()
    other = losing.simulate(trials=3001, seed=8)
    assert other.to_bytes() != runs[0].to_bytes()


def test_the_number_of_threads_is_shown_and_may_come_from_outside(losing, monkeypatch):
    assert losing.simulate(trials=10, seed=1, threads=3).threads == 3
    monkeypatch.setenv("SERRATA_THREADS", "5")
    assert losing.simulate(trials=10, seed=1).threads == 5
    assert losing.simulate(trials=10, seed=1, threads=2).threads == 2
    monkeypatch.delenv("SERRATA_THREADS")
    given = losing.simulate(trials=10, seed=1).threads
    for nothing in ("0", "-1", "many"):
        monkeypatch.setenv("SERRATA_THREADS", nothing)
        assert losing.simulate(trials=10, seed=1).threads == given > 0


def test_another_python_thread_ticks_meanwhile(losing):
    ticks, over = [], threading.Event()

    def tick():
        while not over.wait(0.01):
            ticks.append(time.monotonic())

    other = threading.Thread(target=tick)
    other.start()
    begin = time.monotonic()
    losing.simulate(trials=10_000, seed=1, threads=1)
    end = time.monotonic()
    over.set()
    other.join()
    during = [moment for moment in ticks if begin < moment < end]
    # With the interpreter held there would be none; half of what is possible allows for a busy machine.
    assert len(during) > 0.5 * (end - begin) / 0.02


def test_two_python_threads_may_simulate_at_once(losing):
    found = [None, None]

    def work(index):
        found[index] = losing.simulate(trials=2000, seed=index, threads=2).to_bytes()

    workers = [threading.Thread(target=work, args=(index,)) for index in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert found == [losing.simulate(trials=2000, seed=index).to_bytes() for index in range(2)]


def test_progress_is_told_and_ends_with_everything_done(losing):
    told = []
    losing.simulate(trials=20_000, seed=1, threads=1, progress=lambda done, wanted: told.append((done, wanted)))
    dones = [done for done, _ in told]
    assert dones == sorted(dones)
    assert told[-1] == (20_000, 20_000)
    assert {wanted for _, wanted in told} == {20_000}


def test_progress_changes_no_number(losing):
    with_progress = losing.simulate(trials=500, seed=1, progress=lambda done, wanted: None)
    assert with_progress == losing.simulate(trials=500, seed=1, progress=False)


def test_an_exception_of_the_listener_stops_the_run_and_comes_through(losing):
    def listen(done, wanted):
        raise LookupError("enough")

    begin = time.monotonic()
    with pytest.raises(LookupError, match="enough"):
        losing.simulate(trials=ENDLESS, seed=1, progress=listen, keep_finished=True)
    assert time.monotonic() - begin < 5.0


def test_no_progress_is_written_where_nobody_looks(losing, capfd):
    losing.simulate(trials=10_000, seed=1)
    assert capfd.readouterr() == ("", "")


def test_progress_is_one_plain_line_when_asked_for(losing, capfd):
    losing.simulate(trials=20_000, seed=1, threads=1, progress=True)
    out, err = capfd.readouterr()
    assert out == ""
    assert " trials" in err
    assert "\n" not in err
    assert err.isascii()


def interrupted(code, after=1.0, command=None):
    """Starts a program, interrupts it once it works, and gives its exit code, output and the wait."""
    command = command or [sys.executable, "-c", textwrap.dedent(code)]
    # Tests that are started in the background ignore Ctrl-C, and so would the program.
    listen = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    program = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=listen)
    try:
        if code:
            assert program.stdout.readline() == "works\n"
        time.sleep(after)
        assert program.poll() is None
        begin = time.monotonic()
        os.kill(program.pid, signal.SIGINT)
        out, err = program.communicate(timeout=20)
        return program.returncode, out, err, time.monotonic() - begin
    finally:
        program.kill()
        program.wait()


def test_ctrl_c_raises_keyboard_interrupt_within_a_second_and_leaves_the_session_usable():
    code, out, err, waited = interrupted(
        f"""
        import time, serrata
        study = serrata.Study.load({str(LOSING)!r})
        print("works", flush=True)
        try:
            study.simulate(trials={ENDLESS}, seed=1)
        except KeyboardInterrupt:
            print("interrupted", study.simulate(trials=100, seed=1).trials, flush=True)
        """
    )
    assert (code, out, err) == (0, "interrupted 100\n", "")
    assert waited < 1.0


def test_ctrl_c_gives_back_what_was_finished_when_asked_to():
    code, out, err, waited = interrupted(
        f"""
        import serrata, warnings
        study = serrata.Study.load({str(LOSING)!r})
        print("works", flush=True)
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            kept = study.simulate(trials={ENDLESS}, seed=1, keep_finished=True)
        assert "stopped on request" in str(caught[0].message)
        assert 0 < kept.trials < {ENDLESS}
        assert kept == study.simulate(trials=kept.trials, seed=1)
        print("kept", flush=True)
        """
    )
    assert (code, out, err) == (0, "kept\n", "")
    assert waited < 6.0  # the kept trials are lived once more to compare


def test_ctrl_c_ends_the_command_within_a_second():
    command = [sys.executable, "-m", "serrata", "compare", str(LOSING), "--trials", str(ENDLESS), "--seed", "1"]
    code, out, err, waited = interrupted("", after=3.0, command=command)
    assert (code, out) == (130, "")
    assert err == "stopped on request\n"
    assert waited < 1.0


def test_ctrl_c_ends_grown_cracks_and_inspections_too():
    for work in (
        "study.grow(spot, cracks=10_000_000)",
        'study.inspect("alder-lp1-front", ["eddy-array"], lives=1_000_000)',
    ):
        code, out, err, waited = interrupted(
            f"""
            import serrata
            study = serrata.Study.load("demo-data/demo-study.toml")
            spot = "four-serrations.upper"
            print("works", flush=True)
            try:
                {work}
            except KeyboardInterrupt:
                print("interrupted", flush=True)
            """
        )
        assert (code, out, err) == (0, "interrupted\n", ""), work
        assert waited < 1.5, work
