"""A study given its records: what is believed, and lives that go on from it."""

from __future__ import annotations

import json
import pickle
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import serrata
from serrata.command import main
from serrata.study import Study

ROOT = Path(__file__).parents[2]
DATA = ROOT / "tests" / "engine" / "data" / "given"
FEW = {"draws": 64, "cracks": 256, "repeats": 2}


@pytest.fixture(scope="module")
def study() -> Study:
    return Study.load(DATA / "a.toml")


@pytest.fixture(scope="module")
def found() -> serrata.Records:
    return serrata.Records.load(DATA / "b.csv")


@pytest.fixture(scope="module")
def now(study: Study, found: serrata.Records) -> Study:
    return study.given(found, **FEW)


def test_finds_make_a_row_worse_and_clean_looks_make_it_better(study: Study, now: Study) -> None:
    clean = study.given(serrata.Records.load(DATA / "a.csv"), **FEW)

    def of(belief: serrata.Belief, quantity: str) -> float:
        return float(belief.by_row.set_index("quantity")["value"][quantity])

    assert of(clean.belief, "cracks") < of(now.belief, "cracks")
    assert of(clean.belief, "p_loss_in_5_years") < of(now.belief, "p_loss_in_5_years")
    factors = [belief.inputs.query("input == 'row factor'")["mean"].iloc[0] for belief in (clean.belief, now.belief)]
    # Of other programs: 0.445 and 1.281, before the records 1; see tests/engine/data/given/expected.csv.
    np.testing.assert_allclose(factors, [0.445, 1.281], rtol=0.02)


def test_tables_hang_together(now: Study) -> None:
    belief = now.belief
    rows = belief.by_row.set_index("quantity")["value"]
    lengths = belief.lengths
    assert lengths["p_none_longer"].iloc[0] == rows["p_no_crack"]
    assert lengths["p_none_longer"].is_monotonic_increasing
    assert belief.losses["p_loss_until"].is_monotonic_increasing
    at_next = belief.losses.set_index("year")["p_loss_until"][2026.0]
    assert at_next == rows["p_loss_to_next_outage"]
    assert belief.rows_by_risk() == ["row"]
    assert belief.next_look["blades_called"].gt(0).all()
    assert json.loads(belief.to_json())["by_row"][0]["row"] == "row"
    with pytest.raises(serrata.ArgumentError, match="there are summary, by_row, inputs"):
        belief.columns("row")


def test_threads_change_nothing_and_a_seed_is_a_seed(study: Study, found: serrata.Records, now: Study) -> None:
    again = study.given(found, **FEW, threads=1)
    assert again == now
    assert again.belief.to_json() == now.belief.to_json()
    assert study.given(found, **FEW, seed=2) != now


def test_it_is_a_study_like_any_other(now: Study, tmp_path: Path) -> None:
    now.save(tmp_path / "now.toml")
    loaded = Study.load(tmp_path / "now.toml")
    assert loaded == now
    assert loaded.is_given_records
    with pytest.raises(serrata.ArgumentError, match=r"study\.given\(records\)"):
        _ = loaded.belief
    copy = pickle.loads(pickle.dumps(now))
    assert copy == now
    assert copy.belief.report() == now.belief.report()
    comparison = loaded.simulate(trials=300, planted_lives=200, seed=1)
    assert pickle.loads(pickle.dumps(comparison)).study == now
    with pytest.raises(serrata.StudyError, match="learned under other inputs"):
        now.with_values({"growth.paris.exponent": 3.2})
    assert now.with_values({"costs.loss_cost": 5}).is_given_records
    with pytest.raises(serrata.StudyError, match="not screened"):
        now.screen()


def test_the_command_says_saves_and_writes(tmp_path: Path) -> None:
    arguments = [
        "given",
        str(DATA / "a.toml"),
        str(DATA / "b.csv"),
        "--draws",
        "64",
        "--cracks",
        "256",
        "--repeats",
        "2",
    ]
    run = CliRunner().invoke(main, [*arguments, "--save", str(tmp_path / "now.toml"), "--out", str(tmp_path / "out")])
    assert run.exit_code == 0, run.output
    assert "called 3 blades" in run.output
    assert serrata.CAUTION in run.output
    assert Study.load(tmp_path / "now.toml").is_given_records
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"belief-by_row.csv", "belief-rows.png", "belief-inputs.png", "belief-report.txt", "SHA256SUMS"} <= written
    refused = CliRunner().invoke(main, ["given", str(DATA / "a.toml"), str(DATA / "c.csv")])
    assert refused.exit_code == 2
    assert "line 2, row = east-1" in refused.output
    assert "is no row of the study" in refused.output


def test_an_interrupt_ends_it(study: Study, found: serrata.Records) -> None:
    def stop(_done: int, _of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        study.given(found, draws=4000, cracks=8192, progress=stop)


def test_numbers_out_of_range_are_refused(study: Study, found: serrata.Records) -> None:
    for name, value in (("draws", 3), ("cracks", 5), ("repeats", 1)):
        with pytest.raises(serrata.ArgumentError, match=f"{name} = {value}\n    must be at least"):
            study.given(found, **{**FEW, name: value})


def test_what_is_uncertain_is_learned_by_all_rows() -> None:
    study = Study.load(DATA / "c.toml")
    records = serrata.Records.load(DATA / "c.csv")
    inputs = study.given(records, **FEW).belief.inputs.set_index("input")
    # Of another program: 0.400 +- 0.230 and -0.206 +- 0.253, before the records 0 +- 0.4 and 0 +- 0.3.
    slow, sharp = inputs.loc["ln factor s"], inputs.loc["ln factor w"]
    assert abs(slow["mean"] - 0.400) < 0.02
    assert abs(slow["sd"] - 0.230) < 0.02
    assert abs(sharp["mean"] + 0.206) < 0.06
    assert abs(sharp["sd"] - 0.253) < 0.04
    fixed = study.with_values({"techniques.insitu.inspection_sigma": 0.0})
    with pytest.raises(serrata.StudyError, match=r"techniques\.insitu\.inspection_sigma is 0"):
        fixed.given(records, **FEW)


def test_past_looks_are_held_against_what_was_expected(study: Study, found: serrata.Records) -> None:
    hindcast = study.hindcast(found, draws=64, cracks=256)
    looks = hindcast.looks
    assert looks["called"].tolist() == [0, 2, 1]
    assert looks["year"].is_monotonic_increasing
    chance = looks["p_so_many"].to_numpy()
    np.testing.assert_allclose(looks["score"], -np.log(chance))
    assert abs(hindcast.score + np.log(chance).mean()) < 1e-12
    # Until the second look nothing was found, and little is expected; then more.
    assert looks["expected"].is_monotonic_increasing
    assert "3 looks called 3 blades, where 2.1 were expected" in hindcast.report()
    run = CliRunner().invoke(
        main, ["hindcast", str(DATA / "a.toml"), str(DATA / "b.csv"), "--draws", "64", "--cracks", "256"]
    )
    assert run.exit_code == 0, run.output
    assert run.output == hindcast.report()


def test_finds_that_contradict_the_study_are_explained(study: Study, found: serrata.Records) -> None:
    few = {"draws": 48, "cracks": 128}
    # As if cracks started far later than they do.
    late = study.with_values({"initiation.fatigue.scale": 20_000})
    explanations = late.explanations(found, **few)
    assert explanations.called == 3
    assert explanations.p_at_least < 0.02
    table = explanations.summary
    best = table.loc[table["times_as_probable"].idxmax()]
    assert (best["assumption"], best["factor"]) == ("time until cracks start", 0.25)
    assert "that is seldom" in explanations.report()
    assert "Best explained by time until cracks start times 0.25" in explanations.report()
    expected = study.explanations(found, **few)
    assert expected.p_at_least > 0.05
    assert table["ln_evidence"].max() < expected.summary["ln_evidence"].max() + 0.5
    assert (expected.summary.query("factor == 1")["times_as_probable"] == 1.0).all()


def test_finds_that_stand_in_the_study_need_no_file(tmp_path: Path) -> None:
    looks = (
        '{ year = 2014, technique = "insitu", found = 0 }, '
        '{ year = 2018, technique = "insitu", found = 2, measured_lengths_mm = [5.1] }'
    )
    text = (DATA / "a.toml").read_text()
    (tmp_path / "told.toml").write_text(text.replace("blades = 20\n", f"blades = 20\npast_looks = [{looks}]\n"))
    told = Study.load(tmp_path / "told.toml")
    assert "past_looks of row say what was found, which is not used" in told.warnings[0]
    now = told.given(**FEW)
    assert now.belief.by_row.set_index("quantity")["value"]["blades_called"] == 2
    assert now.belief.warnings[0].startswith("Which blades of row were called is not said.")
    # Lives that go on from draws have an error of their own, which is said of every comparison.
    assert any("Lives go on from draws" in warning for warning in now.simulate(trials=512, seed=1).warnings)
    done = CliRunner().invoke(main, ["given", str(tmp_path / "told.toml"), "--draws", "64", "--cracks", "256"])
    assert done.exit_code == 0
    assert "1 rows called 2 blades" in done.output
    assert len(told.hindcast(draws=64, cracks=256).looks) == 2
