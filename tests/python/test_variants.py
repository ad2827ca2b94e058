"""Many variants of a study are lived under the same random numbers, and stand side by side in one table."""

import threading
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

import serrata
from conftest import ROOT
from serrata import elsewhere

RUN = {"trials": 2_000, "seed": 3}
#: Two parts for each variant.
CUT = {**RUN, "block_trials": 1024}
TABLES = (
    "summary",
    "by_unit",
    "by_row",
    "by_year",
    "by_outage",
    "by_hot_spot",
    "loss_cost",
    "spread",
    "differences",
    "rankings",
    "limits",
    "rare_losses",
)


@pytest.fixture(scope="module")
def small():
    return serrata.Study.load(ROOT / "tests" / "engine" / "data" / "small.toml")


@pytest.fixture(scope="module")
def variants(small):
    return {"as it is": small, **small.variants({"study.horizon_years": [12, 20]})}


@pytest.fixture(scope="module")
def compared(variants):
    return serrata.simulate_variants(variants, **RUN)


def test_each_variant_is_the_run_of_its_study(variants, compared):
    assert list(compared) == list(variants) == ["as it is", "study.horizon_years = 12", "study.horizon_years = 20"]
    for name, study in variants.items():
        assert compared[name].to_bytes() == study.simulate(**RUN).to_bytes()
        assert compared[name].study == study
    assert (compared.trials, compared.seed, len(compared)) == (2_000, 3, 3)


@pytest.mark.parametrize("executor", [None, lambda: ThreadPoolExecutor(2)])
@pytest.mark.parametrize("kept", [True, False])
def test_executors_and_checkpoints_change_no_byte(variants, compared, executor, kept, tmp_path):
    folder = tmp_path if kept else None
    for _ in range(2):
        found = serrata.simulate_variants(variants, **CUT, executor=executor, checkpoints=folder)
        assert [one.to_bytes() for one in found.values()] == [one.to_bytes() for one in compared.values()]
    assert len(list(tmp_path.glob("run-*"))) == (3 if kept else 0)


def test_variants_meet_the_same_lives(losing):
    """Within the shorter horizon the longer one loses the same blades."""
    years = losing.horizon_years
    compared = serrata.simulate_variants(losing.variants({"study.horizon_years": [years, years + 5]}), **RUN)
    losses = compared.table("by_year", ["losses"]).query(f"level == 'fleet' and year < {years}")
    columns = ["strategy", "year", "value"]
    first, *others = (table[columns].reset_index(drop=True) for _, table in losses.groupby("variant", sort=False))
    assert first["value"].sum() > 0.0
    for other in others:
        pd.testing.assert_frame_equal(other, first)


@pytest.mark.parametrize("name", TABLES)
def test_a_table_of_all_variants_is_theirs_one_after_the_other(compared, name):
    found = compared.table(name)
    assert list(found.columns) == ["variant", *compared["as it is"].table(name).columns]
    theirs = [one.table(name).assign(variant=variant)[list(found.columns)] for variant, one in compared.items()]
    pd.testing.assert_frame_equal(found, pd.concat(theirs, ignore_index=True), check_dtype=False)
    columns = compared.columns(name)
    assert all(isinstance(column, np.ndarray) for column in columns.values())
    pd.testing.assert_frame_equal(pd.DataFrame(columns), found, check_dtype=False)


def test_chosen_quantities_stand_alone(compared):
    found = compared.table("summary", ["cost", "p_any_loss"])
    assert set(found["quantity"]) == {"cost", "p_any_loss"}
    assert len(found) == 3 * 2 * len(compared["as it is"].study.strategies)
    whole = compared.table("summary")
    pd.testing.assert_frame_equal(found, whole[whole["quantity"].isin(["cost", "p_any_loss"])].reset_index(drop=True))


@pytest.mark.parametrize("quantities", ["cost", [], ["cost", "money"]])
def test_quantities_that_are_not_there_are_refused(compared, quantities):
    with pytest.raises(serrata.ArgumentError, match=r"quantities of summary\n    choose .*p_any_loss"):
        compared.columns("summary", quantities)
    with pytest.raises(serrata.ArgumentError, match="choose one of summary, by_unit"):
        compared.columns("money")


def test_the_result_is_a_mapping_that_does_not_change(variants, compared):
    assert compared == serrata.simulate_variants(variants, **RUN)
    assert hash(compared) == hash(serrata.simulate_variants(variants, **RUN))
    assert compared != serrata.simulate_variants({**variants, "other": variants["as it is"]}, **RUN)
    with pytest.raises(TypeError):
        compared["other"] = compared["as it is"]
    with pytest.raises(AttributeError, match="do not change"):
        compared.trials = 3
    with pytest.raises(TypeError, match="made by serrata"):
        serrata.ComparedVariants()
    with pytest.raises(KeyError):
        compared["other"]
    assert repr(compared).endswith("study.horizon_years = 20; 2,000 trials each, seed 3>")


def test_without_a_seed_one_is_drawn_for_all(variants):
    found = serrata.simulate_variants(variants, trials=10)
    assert {one.seed for one in found.values()} == {found.seed}
    assert found.seed != serrata.simulate_variants(variants, trials=10).seed


@pytest.mark.parametrize("executor", [None, lambda: ThreadPoolExecutor(2)])
def test_variants_of_equal_text_are_lived_once_and_progress_adds_up(small, executor):
    told = []
    same = {"a": small, "b": small.with_values({"study.horizon_years": 20}), "c": small}
    found = serrata.simulate_variants(same, **CUT, executor=executor, progress=lambda *now: told.append(now))
    assert list(found) == ["a", "b", "c"]
    assert found["a"] == found["c"] != found["b"]
    assert told == sorted(told)
    assert told[-1] == (4_000, 4_000)
    assert {wanted for _, wanted in told} == {4_000}


class Waiting:
    """An executor that lives nothing until so many parts are in hand, and counts them."""

    def __init__(self, enough):
        self.enough, self.waiting, self.most, self.texts = enough, [], 0, set()

    def submit(self, work, **sent):
        future = Future()
        self.waiting.append((future, work, sent))
        self.most = max(self.most, len(self.waiting))
        if len(self.waiting) >= self.enough:
            self.texts |= {sent["text"] for _, _, sent in self.waiting}
            self.enough = 1
            for future, work, sent in self.waiting:
                future.set_result(work(**sent))
            self.waiting.clear()
        return future


def test_parts_of_all_variants_go_out_together(variants, compared, monkeypatch):
    monkeypatch.setattr(elsewhere, "_OVERDUE_SECONDS", 1.0)
    executor = Waiting(6)
    found = serrata.simulate_variants(variants, **CUT, executor=executor)
    assert found == compared
    assert len(executor.texts) == 3


def test_a_bounded_number_of_parts_is_in_hand(small, monkeypatch):
    monkeypatch.setattr(elsewhere, "_IN_HAND", 4)
    pending, most = set(), []

    class Counting(ThreadPoolExecutor):
        def submit(self, work, **sent):
            future = super().submit(work, **sent)
            pending.add(future)
            future.add_done_callback(pending.discard)
            most.append(len(pending))
            return future

    with Counting(1) as pool:
        serrata.simulate_variants(small.variants({"costs.loss_days": range(10)}), **CUT, executor=pool)
    assert len(most) == 20
    assert max(most) <= 4


def test_what_stops_the_run_calls_off_the_parts_of_all_variants(variants, tmp_path):
    begun, gate = [], threading.Event()

    class Slow(ThreadPoolExecutor):
        def submit(self, work, **sent):
            def live():
                begun.append(sent["part"])
                if len(begun) > 2:
                    gate.wait(30)
                return work(**sent)

            return super().submit(live)

    def stop(done, wanted):
        if done >= 1024:
            raise KeyboardInterrupt

    with Slow(1) as pool:
        with pytest.raises(KeyboardInterrupt, match=r"of 6,000 trials; finished parts are kept in .*same call goes on"):
            serrata.simulate_variants(variants, **CUT, executor=pool, checkpoints=tmp_path, progress=stop)
        gate.set()
    assert len(begun) <= 3
    kept = len(list(tmp_path.glob("run-*/part-*.json")))
    assert 1 <= kept <= 2


def test_what_is_wrong_with_a_variant_is_told_with_its_name(small):
    doomed = small.with_values({"initiation.fatigue.scale": 200, "growth.steel.coefficient_m_per_start": 1e-9})
    for executor in (None, lambda: ThreadPoolExecutor(1)):
        with pytest.raises(serrata.ContradictionError, match=r"^variant 'fast': rows.* yet the row runs"):
            serrata.simulate_variants({"as it is": small, "fast": doomed}, trials=1, seed=1, executor=executor)


def test_a_part_that_is_given_up_is_told_with_its_variant(variants):
    class Failing:
        def submit(self, work, *, text, **sent):
            future = Future()
            if "horizon_years = 20" in text:
                future.set_exception(RuntimeError("gone"))
            else:
                future.set_result(work(text=text, **sent))
            return future

    words = r"^part [01] of 2 of variant 'study.horizon_years = 20': failed 4 times.*; 4,000 of 6,000 trials were"
    with pytest.raises(serrata.WorkerError, match=words):
        serrata.simulate_variants(variants, **CUT, executor=Failing())


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (lambda small: {}, r"variants = \{\}\n    must be a mapping of at least one name"),
        (lambda small: [small], "must be a mapping of at least one name to its study"),
        (lambda small: {"": small}, "variants: ''\n    must be a text that is not empty"),
        (lambda small: {3: small}, "variants: 3\n    must be a text that is not empty"),
        (lambda small: {"a": "b"}, r"variants\['a'\] = 'b'\n    must be a Study"),
    ],
)
def test_what_are_no_variants_is_refused(small, given, words):
    with pytest.raises(serrata.ArgumentError, match=words):
        serrata.simulate_variants(given(small), **RUN)


@pytest.mark.parametrize("trials", [None, "many", 0, 1.5])
def test_what_is_no_number_of_trials_is_refused(small, trials):
    with pytest.raises(serrata.ArgumentError, match=r"^trials = .*\n    must be a whole number"):
        serrata.simulate_variants({"a": small}, trials=trials, seed=1)


def test_values_of_several_paths_meet_each_other(small):
    found = small.variants({"study.horizon_years": [10, 12], "costs.loss_days": np.array([1.5, 2.5])})
    assert list(found) == [
        f"study.horizon_years = {years}, costs.loss_days = {days}" for years in (10, 12) for days in (1.5, 2.5)
    ]
    for years in (10, 12):
        study = found[f"study.horizon_years = {years}, costs.loss_days = 2.5"]
        assert study == small.with_values({"study.horizon_years": years, "costs.loss_days": 2.5})


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, r"values = \{\}\n    must be a mapping of at least one key path"),
        ([1, 2], "must be a mapping of at least one key path"),
        ({"costs.loss_days": []}, "must have at least one value"),
        ({"costs.loss_days": [1, 2, 1]}, r"= \[1, 2, 1\]\n    must have each value once"),
        ({"costs.loss_days": 3}, r"values\['costs.loss_days'\] = 3\n    must be a list of values"),
        ({"study.name": "abc"}, "must be a list of values\n    put a single one in brackets"),
        ({"costs.lost_days": [1]}, "lost_days"),
    ],
)
def test_what_are_no_values_of_variants_is_refused(small, values, words):
    with pytest.raises((serrata.ArgumentError, serrata.StudyError), match=words):
        small.variants(values)
