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


@pytest.mark.parametrize("lives", [-1, 1.5, "many", None])
def test_numbers_of_planted_lives_that_are_none_are_refused(study, lives):
    with pytest.raises(serrata.ArgumentError, match=r"planted_lives = .*\n    must be a whole number from 0 to"):
        study.simulate(trials=10, planted_lives=lives, seed=1)
