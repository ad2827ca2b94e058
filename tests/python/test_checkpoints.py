"""A run that is ended goes on from the parts that are kept, to the bytes of a run in one piece."""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

import serrata
from conftest import ROOT
from serrata import files, parts
from test_threads import interrupted

POSIX = pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")
SMALL = ROOT / "tests" / "engine" / "data" / "small.toml"
#: Far more than can be done in the time the tests wait.
ENDLESS = 1_000_000_000
#: Ten batches of 512 trials, in five parts.
RUN = {"trials": 5_000, "seed": 3}
CUT = {**RUN, "block_trials": 1024}


@pytest.fixture(scope="module")
def small():
    return serrata.Study.load(SMALL)


@pytest.fixture(scope="module")
def whole(small):
    return small.simulate(**RUN).to_bytes()


@pytest.fixture
def kept(small, tmp_path):
    """Give the folder of a complete run."""
    small.simulate(**CUT, checkpoints=tmp_path)
    return tmp_path


@pytest.fixture
def lived(monkeypatch):
    """Tell which parts are lived here."""
    numbers, live = [], parts.engine.live_part
    monkeypatch.setattr(
        parts.engine, "live_part", lambda study, **part: numbers.append(part["part"]) or live(study, **part)
    )
    return numbers


def kept_files(folder):
    return sorted(folder.glob("run-*/part-*.json"))


def refused(small, folder):
    with pytest.raises(serrata.FileError) as caught:
        small.simulate(**CUT, checkpoints=folder)
    return str(caught.value)


class Enough(Exception):  # noqa: N818
    """Ends a run from its progress."""


def ended_after(done_wanted):
    def listen(done, wanted):
        if done >= done_wanted:
            raise Enough

    return listen


@pytest.mark.parametrize("first", [None, lambda: ThreadPoolExecutor(2)])
@pytest.mark.parametrize("then", [None, lambda: ThreadPoolExecutor(2)])
def test_a_run_that_was_ended_goes_on_with_and_without_an_executor(small, whole, tmp_path, first, then):
    with pytest.raises(Enough):
        small.simulate(**CUT, executor=first, checkpoints=tmp_path, progress=ended_after(2048))
    already = len(kept_files(tmp_path))
    assert 2 <= already < 5
    told = []
    found = small.simulate(
        **RUN, executor=then, checkpoints=tmp_path, progress=lambda done, of: told.append((done, of))
    )
    assert found.to_bytes() == whole
    assert told[0] == (already * 1024, 5_000)
    assert told[-1] == (5_000, 5_000)
    assert told == sorted(told)


def test_what_is_kept_is_not_lived_again(small, whole, kept, lived):
    assert [file.name for file in kept_files(kept)] == [f"part-{number}.json" for number in range(5)]
    # As the run was cut before, where nothing is said.
    assert small.simulate(**RUN, checkpoints=kept).to_bytes() == whole
    assert lived == []
    kept_files(kept)[3].unlink()
    assert small.simulate(**RUN, checkpoints=kept).to_bytes() == whole
    assert lived == [3]


@pytest.mark.parametrize(
    "change",
    [
        {"seed": 4},
        {"trials": 4_999},
        {"block_trials": 2048},
        {"study": lambda small: small.with_values({"costs.loss_days": 1})},
        {"study": lambda small: serrata.Study.parse(small.to_toml() + "# Another text.\n")},
    ],
)
def test_each_run_finds_its_own_parts(small, whole, kept, lived, change):
    study = change.pop("study", lambda same: same)(small)
    run = {**CUT, **change}
    other = study.simulate(**run, checkpoints=kept)
    assert lived
    del run["block_trials"]
    assert other == study.simulate(**run)
    lived.clear()
    assert study.simulate(**{**CUT, **change}, checkpoints=kept) == other
    assert small.simulate(**CUT, checkpoints=kept).to_bytes() == whole
    assert lived == []


def test_the_cut_by_which_most_was_lived_goes_on(small, kept, lived):
    with pytest.raises(Enough):
        small.simulate(**RUN, block_trials=512, checkpoints=kept, progress=ended_after(1024))
    lived.clear()
    small.simulate(**RUN, checkpoints=kept)
    assert lived == []


def test_a_part_that_is_cut_at_any_length_is_refused(small, whole, kept):
    file = kept_files(kept)[2]
    good = file.read_bytes()
    lengths = {0, 1, 2, len(good) - 2, len(good) - 1, *random.Random(1).sample(range(len(good)), 200)}
    for length in sorted(lengths):
        file.write_bytes(good[:length])
        words = refused(small, kept)
        assert words == (
            f"1 kept part cannot be used\n  {file}: must be sums of a part, whole and unchanged\n"
            "    remove it, and it is lived again"
        )
    file.unlink()
    assert small.simulate(**CUT, checkpoints=kept).to_bytes() == whole
    assert file.read_bytes() == good


def test_a_part_with_any_wrong_byte_is_refused(small, kept):
    file = kept_files(kept)[0]
    good = file.read_bytes()
    rng = random.Random(2)
    for place in rng.sample(range(len(good)), 200):
        spoilt = bytearray(good)
        spoilt[place] ^= 1 << rng.randrange(8)
        file.write_bytes(spoilt)
        assert f"{file}: must " in refused(small, kept)


def test_a_part_of_something_else_is_refused(small, kept, tmp_path_factory):
    mine = kept_files(kept)
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    small.simulate(**{**CUT, "seed": 4}, checkpoints=elsewhere)
    shutil.copy(kept_files(elsewhere)[1], mine[1])
    assert f"{mine[1]}: must be a part of this run\n" in refused(small, kept)
    shutil.copy(mine[0], mine[1])
    assert f"{mine[1]}: holds part 0\n" in refused(small, kept)
    mine[1].unlink()
    version = serrata.__version__.encode()
    mine[2].write_bytes(mine[2].read_bytes().replace(version, b"9.9.9", 1))
    assert f"{mine[2]}: must come from serrata {serrata.__version__} (" in refused(small, kept)
    mine[2].unlink()
    mine[2].mkdir()
    assert f"{mine[2]}: Is a directory\n" in refused(small, kept)


def test_the_first_parts_that_cannot_be_used_are_named_and_the_others_counted(small, tmp_path):
    run = {**RUN, "block_trials": 512, "checkpoints": tmp_path}
    small.simulate(**run)
    for file in kept_files(tmp_path):
        file.write_bytes(b"")
    with pytest.raises(
        serrata.FileError, match=r"^10 kept parts cannot be used\n(  .*\n){5}  and 5 more\n    remove them"
    ):
        small.simulate(**run)
    assert len(kept_files(tmp_path)) == 10


def test_what_a_kill_left_unfinished_is_removed(small, whole, kept):
    file = kept_files(kept)[1]
    file.rename(file.with_name(".serrata-0123456789abcdef.json"))
    (file.parent / ".serrata-fedcba9876543210.json").write_bytes(b"{")
    (file.parent / "notes.txt").write_text("mine")
    assert small.simulate(**CUT, checkpoints=kept).to_bytes() == whole
    assert sorted(place.name for place in file.parent.iterdir()) == ["notes.txt", *(f"part-{n}.json" for n in range(5))]


def test_two_calls_may_keep_parts_of_one_run_at_the_same_time(small, whole, tmp_path):
    found = []
    run = {**RUN, "block_trials": 512, "checkpoints": tmp_path}
    calls = [threading.Thread(target=lambda: found.append(small.simulate(**run).to_bytes())) for _ in range(4)]
    for call in calls:
        call.start()
    for call in calls:
        call.join()
    assert found == [whole] * 4


def test_a_part_that_another_call_took_for_unfinished_is_written_again(small, whole, tmp_path, monkeypatch):
    to_disk, meanwhile = files._to_disk, []

    def begin_meanwhile(unfinished):
        if not meanwhile:
            meanwhile.append(small.simulate)
            small.simulate(**CUT, checkpoints=tmp_path)
        to_disk(unfinished)

    monkeypatch.setattr(files, "_to_disk", begin_meanwhile)
    assert small.simulate(**CUT, checkpoints=tmp_path).to_bytes() == whole
    assert len(kept_files(tmp_path)) == 5


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"seed": None}, "seed = None\n    must be given with checkpoints"),
        ({"keep_finished": True}, "cannot be had with an executor or checkpoints, whose parts come in any order"),
        ({"checkpoints": 3}, "checkpoints = 3\n    must be the name of a folder"),
        ({"trials": "many"}, "trials = 'many'\n    must be a whole number"),
        ({"block_trials": -1}, "block_trials = -1\n    must be a whole number"),
        ({"threads": -1}, "threads = -1\n    must be a whole number"),
    ],
)
def test_what_cannot_be_kept_is_refused_before_anything_is(small, tmp_path, options, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        small.simulate(**{**RUN, "checkpoints": tmp_path, **options})
    assert kept_files(tmp_path) == []


def test_a_folder_that_cannot_be_is_refused(small, tmp_path):
    (tmp_path / "taken").write_text("mine")
    with pytest.raises(serrata.FileError, match=r"taken.*\n    choose a place that can be written to"):
        small.simulate(**CUT, checkpoints=tmp_path / "taken")
    assert (tmp_path / "taken").read_text() == "mine"


FULL = """
import sys, serrata
study = serrata.Study.load(sys.argv[1])
try:
    study.simulate(trials=5_000, seed=3, block_trials=1024, checkpoints=sys.argv[2])
except serrata.FileError as error:
    print(error)
"""


@POSIX
def test_a_disk_without_room_leaves_no_half_of_a_part(small, tmp_path):
    """A limit on the size of files stands for the full disk: the system refuses to write on in the same way."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(SMALL), str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1_000, 1_000)),
    )
    assert "part-0.json: File too large\n    choose a place that can be written to and has room" in done.stdout
    assert [place for place in tmp_path.rglob("*") if place.is_file()] == []


@POSIX
def test_ctrl_c_says_where_the_run_goes_on(small, tmp_path):
    code, out, err, waited = interrupted(
        f"""
        import serrata
        study = serrata.Study.load({str(SMALL)!r})
        print("works", flush=True)
        try:
            study.simulate(trials={ENDLESS}, seed=1, block_trials=5120, checkpoints={str(tmp_path)!r})
        except KeyboardInterrupt as stopped:
            print(stopped, flush=True)
        """
    )
    done = 5120 * len(kept_files(tmp_path))
    assert done > 0
    words = f"stopped on request after {done:,} of {ENDLESS:,} trials; finished parts are kept in {tmp_path}, and"
    assert (code, out, err) == (0, f"{words} the same call goes on from them\n", "")
    assert waited < 2.0


#: A parameter study that is killed again and again. It is forked from a process that has all libraries, so that a kill
#: meets the run and not their loading; every second time an executor lives the parts. The disk is slow, so that kills
#: meet files that are being written.
KILLED = """
import os, random, signal, sys, time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
import serrata

file, folder, kills = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
variants = serrata.Study.load(file).variants({"costs.loss_days": [10, 20], "study.horizon_years": [10, 12]})
run = {"trials": 10_240, "seed": 3, "block_trials": 512, "threads": 1}
moments = random.Random(20)
whole = [found.to_bytes() for found in serrata.simulate_variants(variants, **run).values()]
killed, finished, unfinished, attempt = 0, 0, 0, 0
while True:
    place = folder / str(finished)
    attempt += 1
    child = os.fork()
    if child == 0:
        fsync = os.fsync
        os.fsync = lambda file: (time.sleep(0.01), fsync(file))
        executor = (lambda: ThreadPoolExecutor(2)) if attempt % 2 else None
        found = serrata.simulate_variants(variants, **run, executor=executor, checkpoints=place)
        os._exit(7 if [one.to_bytes() for one in found.values()] == whole else 8)
    if killed < kills:
        time.sleep(moments.uniform(0.0, 0.25))
        os.kill(child, signal.SIGKILL)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status == -signal.SIGKILL:
        killed += 1
        unfinished += any(place.glob("run-*/.serrata-*"))
        continue
    print(status, flush=True)
    if status != 7:
        break
    assert not any(place.glob("run-*/.serrata-*"))
    finished += 1
    if killed >= kills:
        break
print(killed, finished, unfinished)
"""


@POSIX
def test_a_parameter_study_that_is_killed_50_times_has_the_bytes_of_one_that_is_not(tmp_path):
    command = [sys.executable, "-c", KILLED, str(SMALL), str(tmp_path), "50"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    *statuses, last = done.stdout.splitlines() or [""]
    killed, finished, unfinished = last.split()
    # Each that came to its end had the same bytes; some kill met a file that was being written.
    assert set(statuses) == {"7"}, done.stdout + done.stderr
    assert (killed, finished) == ("50", str(len(statuses)))
    assert int(unfinished) > 0


def in_a_forked_child(work):
    """Do something in a forked child; give what it returns, as text, or that it hangs."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        words = "nothing"
        try:
            words = str(work())
        except BaseException as error:  # noqa: BLE001
            words = f"{type(error).__name__}: {error}"
        finally:
            os.write(writing, words.encode())
            os._exit(0)
    os.close(writing)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if os.waitpid(child, os.WNOHANG)[0]:
            with open(reading, "rb") as pipe:
                return pipe.read().decode()
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.close(reading)
    return "hangs"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_process_forked_after_runs_in_parts_works_or_says_why_not(small, whole, tmp_path):  # K2
    assert small.simulate(**CUT, threads=2, checkpoints=tmp_path / "parent").to_bytes() == whole
    with ThreadPoolExecutor(2) as pool, ThreadPoolExecutor(2) as unused:
        assert small.simulate(**CUT, executor=pool).to_bytes() == whole

        def same(**options):
            return in_a_forked_child(lambda: small.simulate(**CUT, **options).to_bytes() == whole)

        assert same(threads=2, checkpoints=tmp_path / "child") == "True"
        assert same(executor=lambda: ThreadPoolExecutor(2)) == "True"
        assert same(executor=unused) == "True"
        assert "was used before this process was forked, and its workers are not here" in same(executor=pool)
    assert len(kept_files(tmp_path / "child")) == 5


#: Calls that are short, and the memory that the process ever took, after some and after all.
SHORT = """
import resource, sys
import serrata

study = serrata.Study.load(sys.argv[1])
run = {"trials": 32, "seed": 1, "threads": 1}
folder = sys.argv[2]

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

def call():
    whole = study.simulate(**run)
    compared = serrata.simulate_variants({"a": study, "b": study}, **run, checkpoints=folder)
    assert compared["a"].to_bytes() == whole.to_bytes()
    assert len(compared.columns("summary")["value"]) > 0

for _ in range(200):
    call()
early = peak()
for _ in range(1_000):
    call()
print(peak() - early)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is in KiB on Linux")
def test_a_thousand_short_calls_take_no_more_memory(tmp_path):
    command = [sys.executable, "-c", SHORT, str(SMALL), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    # What is left of one call in each would be some megabytes: a kept tally takes 8 KiB as text.
    assert int(done.stdout) < 2_000, done.stderr
