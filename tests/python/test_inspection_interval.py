"""How long the interval between inspections may be, in Python and on the command line; Rust holds the numbers."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

import serrata
from serrata.command import main

STUDY = "demo-data/demo-study.toml"


@pytest.fixture(scope="module")
def answer():
    study = serrata.Study.load(STUDY)
    return study.inspection_interval(
        techniques=["phased-array", "penetrant"],
        most_outages=3,
        row_limit=0.01,
        fleet_limit=0.05,
        map_of="phased-array",
        trials=600,
        planted_lives=600,
        seed=2,
    )


def test_each_way_of_looking_has_a_line_and_each_interval_its_limits(answer):
    assert list(answer.summary["way"]) == ["as planned", "phased-array", "penetrant"]
    by_interval = answer.by_interval
    assert len(by_interval) == (1 + 3 * 3) * 2
    assert set(by_interval["level"]) == {"row", "fleet"}
    seen = by_interval[by_interval["p_loss"] > 0.0]
    assert len(seen) > 10
    assert ((seen["p_loss_low"] <= seen["p_loss"]) & (seen["p_loss"] <= seen["p_loss_high"])).all()
    assert (by_interval[by_interval["verdict"] == "misses"]["p_loss_low"] > by_interval["limit"].min()).all()
    nobody = by_interval[by_interval["way"] == "nobody looks"]
    assert nobody["every_outages"].isna().all()
    # Every second year is what the demonstration's outages are apart.
    pd_years = by_interval[by_interval["every_outages"] == 2]["years_high"]
    assert np.allclose(pd_years, pd_years.iloc[0])
    assert 3.5 < pd_years.iloc[0] < 4.5


def test_the_map_says_what_capability_is_needed(answer):
    needed = answer.needed
    assert list(needed["every_outages"]) == [1, 2, 3]
    assert (needed["surely_mm"] <= needed["q90_mm"]).all()
    assert (needed["q90_mm"] <= needed["surely_not_mm"]).all()
    assert answer.plot_map().get_xlabel().startswith("size found with 90 %")


def test_the_answer_is_said_in_words(answer):
    said = " ".join(answer.report().split())
    assert "The longest interval that keeps the limits" in said
    assert "If nobody looks they are" in said
    assert "Plain check: an interval that fits 2 times" in said
    assert "common practice, no source" in said
    assert "Size that must be found with 90 %" in said
    assert "1 time in 20" in said
    assert "intervals of up to 3 outages were tried" in said
    assert serrata.CAUTION in answer.report()
    assert f"seed {json.loads(answer.to_json())['seed']}" in said
    assert "as planned" in repr(answer)
    assert answer.plot().get_yscale() == "log"


def test_no_map_is_drawn_that_was_not_asked_for():
    study = serrata.Study.load("demo-data/reference-study.toml")
    answer = study.inspection_interval(techniques=["in-place-ut"], most_outages=1, trials=50, planted_lives=0, seed=1)
    assert len(answer.needed) == 0
    with pytest.raises(serrata.ArgumentError, match="map_of"):
        answer.plot_map()


def test_a_study_without_limits_asks_for_them():
    with pytest.raises(serrata.ArgumentError, match="limits = none"):
        serrata.Study.load(STUDY).inspection_interval(trials=10, planted_lives=0, seed=1)


def test_the_command_answers_in_words_and_as_json(tmp_path):
    figure = tmp_path / "interval.png"
    arguments = ["interval", STUDY, "--technique", "eddy-array", "--most-outages", "2", "--row-limit", "0.01"]
    arguments += ["--trials", "60", "--planted-lives", "60", "--seed", "1"]
    words = CliRunner().invoke(main, [*arguments, "--figure", str(figure)])
    assert words.exit_code == 0, words.output
    assert "How long may the interval between inspections be?" in words.output
    assert figure.stat().st_size > 10_000
    found = CliRunner().invoke(main, [*arguments, "--json"])
    assert [way["technique"] for way in json.loads(found.output)["ways"]] == [None, "eddy-array"]
    refused = CliRunner().invoke(main, [*arguments, "--map-figure", str(figure)])
    assert refused.exit_code == 2
    assert "--map-of" in refused.output
