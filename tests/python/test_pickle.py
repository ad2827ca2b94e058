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
from conftest import DEMO_RECORDS, RARE, REFERENCE, ROOT


@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_a_study_and_a_comparison_survive_pickle(reference, comparison, protocol):
    assert pickle.loads(pickle.dumps(reference, protocol)) == reference
    again = pickle.loads(pickle.dumps(comparison, protocol))
    assert again == comparison
    assert again.to_bytes() == comparison.to_bytes()
    assert again.threads == comparison.threads
    assert again.study == reference


@pytest.fixture(scope="module")
def public(reference, comparison):
    """Give one object of each public class."""
    records = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    fit = serrata.Records.load(ROOT / "demo-data" / "demo-sectioned.csv", dates="day-month-year").fit_hit_miss(
        "penetrant"
    )
    signal = serrata.fit_signal(
        [0.5, 0.8, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0], [0.2, 0.5, 0.4, 0.9, 1.4, 2.2, 2.9, 5.0, 5.5, 6.1]
    )
    demo = serrata.Study.load(ROOT / "demo-data" / "demo-study.toml")
    three = ["mpi-enhanced", "penetrant", "eddy-array"]
    given = serrata.Study.load(ROOT / "tests" / "engine" / "data" / "given" / "a.toml")
    found = serrata.Records.load(ROOT / "tests" / "engine" / "data" / "given" / "a.csv")
    sizes = {"crack": ["A", "A"], "starts": [0, 90], "depth_mm": [0.9, 1.8], "sizing_sigma_log": [0.1, 0.1]}
    followed = demo.fit_growth(sizes, hot_spot="four-serrations.upper", row="alder-lp1-front")
    objects = [
        reference,
        comparison,
        records,
        fit,
        fit.evidence(),
        signal,
        signal.at_threshold(0.6),
        demo.simulate_under_uncertainty({"penetrant": fit}, draws=2, trials=20),
        reference.grow("curved-tree.tang", cracks=20),
        followed,
        followed.evidence(),
        serrata.Study.load(RARE).screen(),
        given.given(found, draws=32, cracks=64, repeats=2).belief,
        given.hindcast(found, draws=32, cracks=64, repeats=2),
        given.explanations(found, draws=32, cracks=64),
        serrata.simulate_variants({"as it is": reference}, trials=20, seed=1),
        records.side_by_side(),
        records.missed_cracks(three),
        records.latent_classes(three, resamples=20),
        serrata.fit_initiation([10, 20, 30, 40], [20, 30, 40, None], unit="starts"),
        given.initiation_clocks(found, shape=2.0, cracks=64),
        serrata.rate_change([0, 1, 4], [1.0, 1.0, 1.0]),
        serrata.pooled_rates([0, 1, 4], [1.0, 1.0, 1.0]),
        serrata.Demonstration(29, 29, 0.95),
        serrata.how_many_blades(80, 2, 0.9),
        comparison.which_plan(),
        reference.inspection_interval(techniques=["in-place-ut"], most_outages=1, trials=20, planted_lives=0, seed=1),
        reference.cheapest_plan(fleet_limit=1, trials=16, planted_lives=0, seed=1),
        reference.left_in_row("south-b", lives=256),
        reference.can_it_run("south-b", lives=256, planted_lives=0),
        serrata.DemonstrationPlan(0.9, 0.95, 1),
        serrata.Fault(3, "study.name", "3", "must be text", "put name in quotes"),
    ]
    return {type(thing).__name__: thing for thing in objects}


PUBLIC = [
    name
    for name in serrata.__all__
    if isinstance(getattr(serrata, name), type) and not issubclass(getattr(serrata, name), BaseException)
]


@pytest.mark.parametrize("name", PUBLIC)
def test_every_public_object_survives_pickle_and_copy(name, public):  # D9
    thing = public[name]
    for again in (pickle.loads(pickle.dumps(thing)), copy.copy(thing), copy.deepcopy(thing)):
        assert type(again) is type(thing)
        assert repr(again) == repr(thing)
        if hasattr(thing, "to_json"):
            assert again.to_json() == thing.to_json()
        elif type(thing).__eq__ is not object.__eq__:
            assert again == thing


ERRORS = [
    serrata.ArgumentError("a = 1"),
    serrata.DataError("too few", "too-few"),
    serrata.StudyError("s", [serrata.Fault(None, "a", "b", "c", "d")]),
    serrata.RecordsError("r", [serrata.Fault(1, "a", "b", "c", "d")]),
    serrata.FileError("f"),
    serrata.ContradictionError("c"),
    serrata.InternalError("i"),
    serrata.WorkerError("w"),
    serrata.Error("e"),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_every_exception_survives_pickle(error):
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), str(again), vars(again)) == (type(error), str(error), vars(error))


def test_every_public_exception_is_tried():
    public = {name for name in serrata.__all__ if name.endswith("Error")}
    assert {type(error).__name__ for error in ERRORS} == public


def test_evidence_reads_back_to_the_last_digit(public):
    evidence = public["Evidence"]
    again = pickle.loads(pickle.dumps(evidence))
    assert again.pod == evidence.pod
    assert again.surface_shift_log == evidence.surface_shift_log
    assert again.basis == evidence.basis


def test_there_is_one_zero(reference):
    studies = [reference.with_values({"costs.loss_days": zero}) for zero in (0, 0.0, -0.0)]
    assert len(set(studies)) == 1
    for study in studies:
        again = pickle.loads(pickle.dumps(study))
        assert (again, hash(again)) == (study, hash(study))
        assert again.simulate(trials=50, seed=1).to_json() == studies[0].simulate(trials=50, seed=1).to_json()


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
