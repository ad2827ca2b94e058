"""Which plan to take, as Python and the command line say it; the numbers are held by hand in Rust."""

import json

import pytest
from click.testing import CliRunner

import serrata
from serrata.command import main
from serrata.wording import in_words


@pytest.fixture(scope="module")
def which():
    return serrata.Study.load("demo-data/demo-study.toml").simulate(trials=600, seed=4).which_plan()


def test_each_plan_has_a_line(which):
    summary = which.summary
    assert len(summary) == 7
    for measure in ("p_any_loss", "cost", "days"):
        assert summary[f"{measure}_best"].sum() == pytest.approx(1.0, abs=1e-9)
        assert (
            (summary[f"{measure}_low"] <= summary[measure]) & (summary[measure] <= summary[f"{measure}_high"])
        ).all()
    frontier = summary[summary["beaten_by"].isna()]
    # The smallest of each measure is beaten by none, unless another has the same.
    assert summary.loc[summary["cost"].idxmin(), "strategy"] in set(frontier["strategy"])
    for _, beaten in summary[summary["beaten_by"].notna()].iterrows():
        by = summary[summary["strategy"] == beaten["beaten_by"]].iloc[0]
        assert all(by[measure] <= beaten[measure] for measure in ("p_any_loss", "cost", "days"))


def test_ties_say_how_many_lives_would_tell(which):
    ties = which.ties
    assert {"p_any_loss", "cost"} >= set(ties["quantity"]) or len(ties)
    told = ties.dropna(subset=["trials_needed"])
    # Fewer lives than these left the difference open.
    assert (told["trials_needed"] >= 600).all()
    assert (ties["low"] <= 0.0).all()


def test_the_answer_is_said_in_words(which):
    report = which.report()
    cheapest = which.summary.loc[which.summary["cost"].idxmin(), "strategy"]
    # Without a limit on risk the cheapest is no answer.
    assert "states no limit on risk, so that cost alone decides nothing" in report
    assert f"{cheapest} has the smallest cost" in " ".join(report.split())
    assert "Beaten by none on risk, cost and days together" in report
    assert serrata.CAUTION in report


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        ((0.0131, 0.0119, 0.0148), "13 in 1,000 (12 to 15)"),
        ((0.31, 0.29, 0.33), "31 in 100 (29 to 33)"),
        ((0.0, 0.0, 3.7e-4), "less than 370 in 1,000,000 (none seen)"),
        ((2.2e-6, 1.9e-6, 2.5e-6), "2,200 in 1,000,000,000 (1,900 to 2,500)"),
    ],
)
def test_chances_are_said_as_people_count(chance, words):
    assert in_words(*chance) == words


def test_the_cheapest_of_those_that_meet_the_limits_is_the_answer():
    study = serrata.Study.load("demo-data/reference-study.toml")
    loose = study.with_values({f"limits.{of}_loss_probability_per_year": 1.0 for of in ("row", "unit", "fleet")})
    which = loose.simulate(trials=200, seed=1).which_plan()
    cheapest = which.summary.loc[which.summary["cost"].idxmin(), "strategy"]
    assert f"{cheapest} is the cheapest of the plans that meet the study's limits" in " ".join(which.report().split())
    assert f"{cheapest} is the cheapest that meets" in repr(which)


def test_a_study_without_a_plan_that_meets_the_limits_says_so():
    study = serrata.Study.load("demo-data/reference-study.toml")
    strict = study.with_values({"limits.row_loss_probability_per_year": 1e-9})
    which = strict.simulate(trials=200, seed=1).which_plan()
    assert "No plan is known to meet the study's limits" in which.report()
    assert "no plan is known" in repr(which)
    which.plot()


def test_the_command_says_the_same(tmp_path):
    figure = tmp_path / "which.png"
    arguments = ["choose", "demo-data/demo-study.toml", "--trials", "200", "--seed", "4"]
    ran = CliRunner().invoke(main, [*arguments, "--figure", str(figure)])
    assert ran.exit_code == 0, ran.output
    assert "cost alone decides nothing" in ran.output
    assert "Seed 4\n" in ran.output
    assert figure.stat().st_size > 10_000
    ran = CliRunner().invoke(main, [*arguments, "--json"])
    assert len(json.loads(ran.output)["plans"]) == 7
