"""Lives with a planted crack, through the package."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import serrata

RUN = {"trials": 1_100, "planted_lives": 1_500, "seed": 3, "progress": False}


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load(Path(__file__).parents[1] / "engine" / "data" / "y2.toml")


@pytest.fixture(scope="module")
def lived(study):
    return study.simulate(**RUN)


def test_rare_losses_are_told_where_plain_lives_show_none(study, lived):
    plain = study.simulate(**{**RUN, "planted_lives": 0})
    for comparison, least in ((plain, 0), (lived, 3)):
        losses = comparison.summary.query("quantity == 'losses'").set_index("strategy")
        assert (losses["standard_error"] < 0.3 * losses["value"]).sum() >= least + 1  # of "none" anyway
    # By another program, see tests/engine/data/yardstick_expected_rare.json.
    losses = lived.summary.query("quantity == 'losses'").set_index("strategy").loc["insitu_every"]
    assert abs(losses["value"] - 8.409e-4) < 4.0 * losses["standard_error"]
    assert losses["low"] < losses["value"] < losses["high"]


def test_it_is_said_how_each_number_was_got(study, lived):
    how = lived.rare_losses.set_index("strategy")
    assert lived.planted_lives == 1_500
    assert how.loc["none", "planted_share"] < 0.9 < how.loc["insitu_every", "planted_share"]
    assert (how["planted_losses"] > 0).all()
    assert (how["effective_losses"] <= how["planted_losses"]).all()
    assert "1,500 lives of each row with a planted crack" in lived.report("rare_losses")
    plain = study.simulate(**{**RUN, "planted_lives": 0})
    assert (plain.rare_losses["note"] == "plain lives only").all()
    assert "planted crack" not in plain.report()


def test_few_planted_lives_are_called_thin(study):
    comparison = study.simulate(**{**RUN, "planted_lives": 20})
    notes = comparison.rare_losses.set_index("strategy")["note"]
    assert notes["insitu_then_bench"].startswith("thin: ")
    assert any("badly" in warning and "insitu_then_bench" in warning for warning in comparison.warnings)


def test_parts_and_checkpoints_give_the_same_bytes(study, lived, tmp_path):
    with ThreadPoolExecutor(2) as pool:
        assert study.simulate(**RUN, block_trials=512, executor=pool) == lived
    assert study.simulate(**RUN, block_trials=512, checkpoints=tmp_path) == lived
    assert study.simulate(**RUN, checkpoints=tmp_path) == lived
    assert serrata.Comparison.from_bytes(lived.to_bytes()) == lived
    # Another number of planted lives is another run.
    assert study.simulate(**{**RUN, "planted_lives": 0}, checkpoints=tmp_path) != lived


def test_sums_over_years_are_those_of_the_horizon(lived):
    years = lived.by_year.query("level == 'row' and quantity == 'losses'").groupby("strategy")["value"].sum()
    losses = lived.by_row.query("quantity == 'losses'").set_index("strategy")["value"]
    # Each year has shares of its own between plain and planted lives.
    error = lived.by_row.query("quantity == 'losses'").set_index("strategy")["standard_error"]
    assert np.all(np.abs((years - losses)[error.index]) < 4.0 * error)


@pytest.mark.parametrize("lives", [-1, 1.5, "many", True])
def test_numbers_of_planted_lives_that_are_none_are_refused(study, lives):
    with pytest.raises(serrata.ArgumentError, match=r"planted_lives = .*\n    must be a whole number from 0 to"):
        study.simulate(trials=10, planted_lives=lives, seed=1)


def test_a_run_ends_when_it_knows_enough(study):
    known = study.simulate(target_relative_error=0.1, seed=1)
    assert (known.ended, known.target_relative_error) == ("target reached", 0.1)
    losses = known.summary[known.summary["quantity"] == "losses"]
    assert (losses["standard_error"] <= 0.1 * losses["value"]).all()
    assert 512 <= known.trials < 100_000
    assert abs(known.planted_lives - known.trials) < 512
    assert known == study.simulate(target_relative_error=0.1, seed=1, threads=3)
    assert "to 0.1 of themselves (one standard error); ended: target reached" in known.report("heading")
    assert serrata.Comparison.from_bytes(known.to_bytes()).ended == "target reached"


def test_a_run_that_ends_before_it_knows_enough_says_how_far_it_came(study):
    tired = study.simulate(target_relative_error=0.001, planted_lives=0, most_seconds=1.0, seed=1)
    assert (tired.ended, tired.target_relative_error) == ("time over", 0.001)
    said = [warning for warning in tired.warnings if "were to be known to 0.10 %" in warning]
    assert len(said) == 1
    assert "the end of the time came first: " in said[0]
    lived = study.simulate(trials=600, planted_lives=600, target_relative_error=0.001, seed=1)
    assert (lived.ended, lived.trials) == ("trials lived", 600)
    assert any("but the last trial came first" in warning for warning in lived.warnings)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"target_relative_error": 0.0}, r"target_relative_error = 0.*\n    must be above 0 and below 1"),
        ({"target_relative_error": 1}, r"target_relative_error = 1\n    must be above 0 and below 1"),
        ({"target_relative_error": float("nan")}, r"target_relative_error = .*\n    must be above 0 and below 1"),
        ({"target_relative_error": "5 %"}, r"target_relative_error = '5 %'\n    must be a number"),
        ({"target_relative_error": True}, r"target_relative_error = True\n    must be a number"),
        ({"most_seconds": 0}, r"most_seconds = 0\n    must be above 0 and finite"),
        ({"most_seconds": float("inf")}, r"most_seconds = inf\n    must be above 0 and finite"),
        ({"most_seconds": 5, "executor": object()}, "most_seconds = 5\n    cannot be had with an executor"),
    ],
)
def test_targets_that_are_none_are_refused(study, options, said):
    with pytest.raises(serrata.ArgumentError, match=said):
        study.simulate(**options)


def test_losses_are_told_by_hot_spot_until_a_year_and_above_a_cost(study):
    comparison = study.simulate(trials=2_000, planted_lives=2_000, seed=1)
    losses = comparison.by_row[comparison.by_row["quantity"] == "losses"].set_index("strategy").sort_index()
    spots = comparison.by_hot_spot.groupby("strategy")["value"].sum().sort_index()
    # Shares of plain lives are set number by number, so that both are near each other, not equal.
    assert ((spots - losses["value"]).abs() < 3.0 * losses["standard_error"]).all()
    until = comparison.by_year[comparison.by_year["quantity"] == "p_any_loss_until"]
    for _, years in until.groupby(["row", "strategy"]):
        assert years["value"].is_monotonic_increasing
    cost = comparison.loss_cost
    assert set(cost["level"]) == {"fleet", "row"}
    for _, levels in cost.groupby(["row", "strategy"]):
        assert levels["above"].is_monotonic_increasing
        assert levels["value"].is_monotonic_decreasing
