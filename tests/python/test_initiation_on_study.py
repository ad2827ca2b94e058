"""The law of initiation, fitted on a study to records of imperfect looks."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from click.testing import CliRunner

import serrata
from conftest import ROOT
from serrata.command import main

DATA = ROOT / "tests" / "engine" / "data" / "given"
DEMO = ROOT / "demo-data" / "demo-study.toml"
PAST = ROOT / "demo-data" / "demo-past.csv"


@pytest.fixture(scope="module")
def study() -> serrata.Study:
    return serrata.Study.load(DATA / "a.toml")


@pytest.fixture(scope="module")
def found() -> serrata.Records:
    return serrata.Records.load(DATA / "b.csv")


def test_a_fit_says_that_it_is_on_a_study(study: serrata.Study, found: serrata.Records) -> None:
    fit = study.fit_initiation(found, shape=2.0, cracks=256)
    assert (fit.study_name, fit.law, fit.unit) == (study.name, "weibull", "starts")
    assert fit.found_counts == {"blades": 23, "found": 3, "found_at_first_look": 0}
    assert "fitted on the study" in fit.report()
    assert serrata.CAUTION in fit.report()
    assert any("one origin" in note for note in fit.notes)
    # Rows differ in this study.
    assert any("row factor" in warning for warning in fit.warnings)
    assert fit.nonparametric is not None
    assert "Fraction of origins with a crack, by time" in fit.plot().get_title()


def test_imperfect_looks_make_cracks_begin_earlier(study: serrata.Study, found: serrata.Records) -> None:
    fit = study.fit_initiation(found, shape=2.0, cracks=256)
    perfect = study.with_values(
        {
            "techniques.insitu.pod.q50_mm": 0.1,
            "techniques.insitu.pod.ceiling": 1.0,
            "techniques.insitu.crack_sigma": 0.0,
            "techniques.insitu.inspection_sigma": 0.0,
        }
    ).fit_initiation(found, shape=2.0, cracks=256)
    assert fit.summary["value"]["scale"] < perfect.summary["value"]["scale"]


def test_a_fit_on_a_study_survives_pickle(study: serrata.Study, found: serrata.Records) -> None:
    fit = study.fit_initiation(found, shape=2.0, cracks=64, clock="hours")
    again = pickle.loads(pickle.dumps(fit))
    assert (repr(again), again.unit, again.report()) == (repr(fit), "hours", fit.report())


def test_no_finds_are_a_bound(study: serrata.Study) -> None:
    clean = serrata.Records.load(DATA / "a.csv")
    fit = study.fit_initiation(clean, shape=2.0, cracks=256)
    assert fit.bound_only
    low, high = fit.parameter_bounds("scale")
    assert low is not None
    assert high is None
    with pytest.raises(serrata.DataError, match="shape") as refused:
        study.fit_initiation(clean, cracks=256)
    assert refused.value.reason == "no-finds"


def test_calls_that_were_false_leave_a_bound(study: serrata.Study, tmp_path: Path) -> None:
    head, *lines = (DATA / "b.csv").read_text(encoding="utf-8").splitlines()
    falsely = [f"{line},{'no' if ',yes,' in line else ''}" for line in lines]
    file = tmp_path / "falsely.csv"
    file.write_text("\n".join([f"{head},cracked", *falsely]) + "\n", encoding="utf-8")
    fit = study.fit_initiation(serrata.Records.load(file), shape=2.0, cracks=256)
    assert fit.found_counts["found"] == 3
    assert fit.bound_only
    assert fit.parameter_bounds("scale")[0] is not None
    assert any("without any crack by this law" in note for note in fit.notes)


def test_which_law_is_meant_must_be_said() -> None:
    demo, past = serrata.Study.load(DEMO), serrata.Records.load(PAST)
    with pytest.raises(serrata.DataError, match="upper-serrations, lower-serrations") as refused:
        demo.fit_initiation(past)
    assert refused.value.reason == "several-laws"
    fit = demo.fit_initiation(past, initiation="lower-serrations", shape=2.0, cracks=64)
    assert fit.unit == "1 a start and 0.01 an hour"
    assert not fit.bound_only
    assert any("other laws" in note for note in fit.notes)
    assert fit.plot().get_xlabel() == f"time, {fit.unit}"  # without the distribution of any shape: there is none


def test_a_study_that_was_given_records_is_refused(study: serrata.Study, found: serrata.Records) -> None:
    now = study.given(found, draws=32, cracks=64, repeats=2)
    with pytest.raises(serrata.ArgumentError, match="was given records"):
        now.fit_initiation(found)


def test_clocks_of_one_unit_are_not_told_apart(study: serrata.Study, found: serrata.Records) -> None:
    clocks = study.initiation_clocks(found, shape=2.0, cracks=256)
    assert list(clocks.summary["clock"]) == ["starts"] * 3 + ["hours"] * 3
    by_law = clocks.summary.set_index(["law", "clock"])["log_likelihood"].unstack()
    assert by_law["starts"].to_numpy() == pytest.approx(by_law["hours"].to_numpy(), abs=1e-6, nan_ok=True)
    assert "cannot be told apart" in clocks.verdict
    assert clocks.verdict in clocks.report()
    assert serrata.CAUTION in clocks.report()


def test_the_command_fits_and_compares_clocks(tmp_path: Path) -> None:
    figure = tmp_path / "law.png"
    common = ["initiation", str(DATA / "a.toml"), str(DATA / "b.csv"), "--shape", "2", "--cracks", "256"]
    done = CliRunner().invoke(main, [*common, "--figure", str(figure)])
    assert done.exit_code == 0, done.output
    assert "scale" in done.output
    assert serrata.CAUTION in done.output
    assert figure.exists()
    done = CliRunner().invoke(main, [*common, "--clocks"])
    assert done.exit_code == 0, done.output
    assert "cannot be told apart" in done.output
    done = CliRunner().invoke(main, [*common, "--clocks", "--clock", "hours"])
    assert done.exit_code == 2
