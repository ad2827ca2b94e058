"""Percentiles of cost and days, and limits on the chance of a loss, through the package."""

from __future__ import annotations

import json

import numpy as np
import pytest

import serrata

RUN = {"trials": 2_000, "seed": 4, "progress": False}
ROW, UNIT, FLEET = (f"limits.{level}_loss_probability_per_year" for level in ("row", "unit", "fleet"))


@pytest.fixture(scope="module")
def limited(losing):
    text = losing.to_toml() + "\n[limits]\nrow_loss_probability_per_year = 0.5\nunit_loss_probability_per_year = 1e-9\n"
    return serrata.Study.parse(text)


def test_the_spread_is_that_of_lives(losses):
    spread = losses.spread
    assert list(spread.columns) == [*losses.by_unit.columns, "statistic"]
    strategies, levels = losses.study.strategies, 1 + len(losses.study.units) + len(losses.study.rows)
    assert len(spread) == len(strategies) * levels * 2 * 7
    assert spread.groupby("level").size().to_dict().keys() == {"fleet", "row", "unit"}
    for _, lines in spread.groupby(["level", "row", "of_unit", "strategy", "quantity"]):
        percentiles = lines[lines["statistic"] == "percentile"]
        worst = lines[lines["statistic"] == "mean of the worst"]
        assert list(percentiles["probability"]) == [0.5, 0.9, 0.95, 0.99]
        assert list(worst["probability"]) == [0.1, 0.05, 0.01]
        assert percentiles["value"].is_monotonic_increasing
        assert worst["value"].is_monotonic_increasing
        # The mean beyond a percentile is no less than it.
        assert (worst["value"].to_numpy() >= percentiles["value"].to_numpy()[1:] * (1.0 - 1e-9)).all()
        for table in (percentiles, worst):
            assert (table["low"] <= table["value"] * (1.0 + 1.0 / 128.0)).all()
            assert (table["high"] >= table["value"] * (1.0 - 1.0 / 128.0)).all()
    np.testing.assert_allclose(spread[spread["probability"] == 0.95]["events"], 100.0)


def test_rows_of_one_unit_and_a_fleet_of_one_row_are_alike(losses):
    assert len(losses.study.rows) == 1
    spread = losses.spread
    columns = ["strategy", "quantity", "statistic", "probability", "value", "low", "high"]
    levels = [spread[spread["level"] == level][columns].to_numpy() for level in ("fleet", "unit", "row")]
    for level in levels[1:]:
        assert (level == levels[0]).all()


def test_the_spread_of_few_lives_says_so(losing):
    spread = losing.simulate(**{**RUN, "trials": 60}).spread
    fleet = spread[(spread["level"] == "fleet") & (spread["quantity"] == "cost")]
    last = fleet[fleet["probability"] == 0.99]
    assert set(last["note"]) == {"too few lives beyond: no upper end"}
    assert last["high"].isna().all()
    worst = fleet[(fleet["statistic"] == "mean of the worst") & (fleet["probability"] == 0.05)]
    assert set(worst["note"]) == {"fewer than 10 lives: no interval"}
    assert worst["standard_error"].isna().all()


def test_planted_lives_do_not_change_the_spread(losing):
    plain = losing.simulate(**RUN)
    planted = losing.simulate(**RUN, planted_lives=500)
    assert plain.spread.drop(columns="note").equals(planted.spread.drop(columns="note"))
    assert (planted.spread[planted.spread["events"] >= 20.0]["note"] == "of plain lives alone").all()
    assert (plain.spread[plain.spread["events"] >= 20.0]["note"] == "").all()
    assert not plain.summary.equals(planted.summary)


def test_limits_are_held_against_each_strategy(limited):
    comparison = limited.simulate(**RUN)
    limits = comparison.limits
    assert list(limits["level"]) == ["row", "unit"] * len(limited.strategies)
    assert set(limits[limits["level"] == "row"]["limit"]) == {0.5}
    unit = limits[limits["level"] == "unit"]
    assert set(unit["of_unit"]) == set(limited.units)
    for _, line in limits.iterrows():
        expected = (
            "meets" if line["high"] <= line["limit"] else "misses" if line["low"] > line["limit"] else "undecided"
        )
        assert line["verdict"] == expected
    # The worst year is that of by_year, with a wider interval.
    years = comparison.by_year
    line = limits.iloc[0]
    same = years[
        (years["level"] == "row")
        & (years["strategy"] == line["strategy"])
        & (years["quantity"] == "p_any_loss")
        & (years["year"] == line["year"])
    ].iloc[0]
    assert (line["value"], line["events"]) == (same["value"], same["events"])
    assert line["high"] > same["high"]
    report = comparison.report("limits")
    assert "Limits on the chance of a loss in a year" in report
    assert "No strategy is known to meet all." in report
    assert report in comparison.report() or "Limits on the chance" in comparison.report()
    said = [text for text in comparison.warnings if text.startswith(UNIT)]
    assert len(said) == 1
    assert "no strategy is known to meet it" in said[0]


def test_the_summary_says_who_meets_all_limits(limited):
    comparison = limited.with_values({UNIT: 1}).simulate(**RUN)
    by_strategy = comparison.summary.groupby("strategy")["meets_limits"].unique()
    for strategy, verdicts in by_strategy.items():
        own = set(comparison.limits[comparison.limits["strategy"] == strategy]["verdict"])
        expected = "misses" if "misses" in own else "meets" if own == {"meets"} else "undecided"
        assert list(verdicts) == [expected]
    assert "Meet all limits: " in comparison.report("limits")


def test_without_limits_nothing_is_said_of_them(losses):
    assert len(losses.limits) == 0
    assert "meets_limits" not in losses.summary
    assert "Limits on" not in losses.report()


def test_results_with_a_spread_and_limits_read_back(limited, tmp_path):
    comparison = limited.simulate(**RUN)
    again = serrata.Comparison.from_bytes(comparison.to_bytes())
    assert again == comparison
    for name in ("spread", "limits", "summary"):
        assert again.table(name).equals(comparison.table(name))
    tables = json.loads(comparison.to_json())["tables"]
    assert len(tables["spread"]["value"]) == len(comparison.spread)
    assert tables["limits"]["verdict"] == list(comparison.limits["verdict"])
    comparison.write(tmp_path / "out")
    assert (tmp_path / "out" / "spread.csv").exists()
    assert "Limits on the chance of a loss in a year" in (tmp_path / "out" / "report.txt").read_text()


def test_a_heavy_tail_is_warned_of(losing):
    cost = {"costs.loss_cost": {"kind": "pareto", "minimum": 1.0, "tail_exponent": 1.5}}
    heavy = losing.with_values(cost)
    assert any("variance is infinite" in warning for warning in heavy.warnings)
    worst = heavy.simulate(**RUN).spread.query("quantity == 'cost' and statistic == 'mean of the worst'")
    assert worst["standard_error"].isna().all()
    with pytest.raises(serrata.StudyError, match="must exceed 1 where there is no cap"):
        losing.with_values({"costs.loss_cost": {"kind": "pareto", "minimum": 1.0, "tail_exponent": 1.0}})


def test_a_day_costs_what_its_season_does(losing):
    seasons = {"costs.outage_day_cost": [{"from_month": 1, "cost": 5.0}, {"from_month": 7, "cost": 5.0}]}
    costs = [
        losing.with_values(values).simulate(**RUN).summary.query("quantity == 'cost'")["value"].to_numpy()
        for values in ({"costs.outage_day_cost": 5.0, "costs.loss_days": 40}, {**seasons, "costs.loss_days": 40})
    ]
    # Two seasons at one price are that price.
    np.testing.assert_allclose(costs[0], costs[1], rtol=1e-9)
