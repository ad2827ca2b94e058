"""Which plan is the cheapest that meets the limits, in Python and on the command line; Rust holds the numbers."""

import json

import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure

import serrata
from conftest import DEMO_STUDY, ROOT
from serrata import drawing
from serrata.command import main
from test_figures import shown_texts

VARY = {"looks[1].every_outages": [1, 2, 4, 0], "looks[1].techniques": [["phased-array"], ["eddy-array"]]}


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load(DEMO_STUDY)


@pytest.fixture(scope="module")
def answer(study):
    return study.cheapest_plan(
        VARY, plan="in-place-every-second", row_limit=0.01, trials=1_024, planted_lives=1_024, seed=1
    )


def test_each_combination_has_a_line_or_is_refused(answer):
    summary = answer.summary
    assert list(summary["looks[1].every_outages"]) == ["1", "1", "2", "2", "4", "4"]
    assert set(summary["looks[1].techniques"]) == {'["phased-array"]', '["eddy-array"]'}
    assert (summary["cost_low"] <= summary["cost"]).all()
    assert (summary["cost"] <= summary["cost_high"]).all()
    refused = answer.refused
    assert len(refused) == 2
    assert refused["why"].str.contains("every_outages = 0").all()


def test_what_is_dropped_says_when_and_why(answer):
    summary = answer.summary.set_index("strategy")
    dropped = summary[summary["dropped_after"].notna()]
    assert set(dropped["why"]) <= {"misses", "dearer"}
    dearer = dropped[dropped["why"] == "dearer"]
    assert len(dearer) > 1
    assert (dearer["at_least"] > 0.0).all()
    assert (summary.loc[dearer["dearer_than"], "limits"] == "meets").all()
    assert (dropped[dropped["why"] == "misses"]["limits"] == "misses").all()
    rounds = answer.rounds
    assert rounds["plans"].iloc[0] == 6
    assert rounds["plans"].is_monotonic_decreasing
    # What was spent is what the rounds say.
    lives = rounds["lives"].diff().fillna(rounds["lives"])
    assert json.loads(answer.to_json())["plan_lives"] == (rounds["plans"] * lives).sum()


def test_the_cheapest_that_stayed_is_named(answer):
    summary = answer.summary
    stayed = summary[summary["dropped_after"].isna() & (summary["limits"] == "meets")]
    assert answer.cheapest == stayed.sort_values("cost")["strategy"].iloc[0]
    assert answer.cheapest in repr(answer)


def test_the_answer_is_said_in_words(answer):
    said = " ".join(answer.report().split())
    assert "Which of 6 plans like in-place-every-second is the cheapest that meets the limits?" in said
    assert answer.cheapest in said
    assert "95 % confidence" in said
    assert "surely dearer than one which meets all" in said
    assert "Left out, since the study refuses them: every_outages = 0" in said
    assert "lives of the fleet, one plan at a time" in said
    assert serrata.CAUTION in answer.report()
    assert f"seed {json.loads(answer.to_json())['seed']}" in said


def test_the_studys_own_plans_are_a_family_and_records_change_nothing_of_the_call():
    data = ROOT / "tests" / "engine" / "data" / "given"
    study = serrata.Study.load(data / "a.toml")
    given = study.given(serrata.Records.load(data / "a.csv"), draws=32, cracks=64, repeats=2)
    for one in (study, given):
        found = one.cheapest_plan(fleet_limit=1, trials=512, planted_lives=512, seed=1)
        assert list(found.summary["strategy"]) == list(study.strategies)
        varied = one.cheapest_plan(
            {"looks[1].every_outages": [1, 2]},
            plan="insitu-every",
            fleet_limit=1,
            trials=512,
            planted_lives=0,
            seed=1,
        )
        assert len(varied.summary) == 2
        assert ("drawn from the records" in found.report()) == (one is given)
    assert "money alone decides" in found.report()


def test_a_study_without_limits_asks_for_them(study):
    with pytest.raises(serrata.ArgumentError, match="limits = none"):
        study.cheapest_plan(trials=512, planted_lives=0, seed=1)


def test_what_cannot_be_asked_is_refused(study):
    with pytest.raises(serrata.ArgumentError, match="must name a value of the plan"):
        study.cheapest_plan(plan="in-place-every-second", fleet_limit=1)
    with pytest.raises(serrata.ArgumentError, match="must have each value once"):
        study.cheapest_plan({"looks[1].every_outages": [1, 1]}, fleet_limit=1)
    with pytest.raises(serrata.ArgumentError, match="leads nowhere"):
        study.cheapest_plan({"looks[3].every_outages": [1]}, fleet_limit=1)
    with pytest.raises(serrata.StudyError, match="every_outages = 0"):
        study.cheapest_plan({"looks[1].every_outages": [0]}, fleet_limit=1)
    with pytest.raises(serrata.ArgumentError, match="most_plan_lives = 10"):
        study.cheapest_plan(fleet_limit=1, most_plan_lives=10)


def many(answer, plans):
    """Give an answer with so many plans, every second of which stayed."""
    content = json.loads(answer.to_json())
    dropped = next(plan["dropped"] for plan in content["plans"] if plan["dropped"] is not None)
    first = next(plan for plan in content["plans"] if plan["strategy"] == content["cheapest"])
    more = []
    for number in range(plans):
        plan = dict(first, strategy=f'every_outages = {number + 1}, techniques = ["eddy-array"]')
        plan["cost"] = [cost * (1.0 + 0.07 * number) for cost in first["cost"]]
        plan["limits"] = [dict(line, limit=line["limit"] * (1.0 + number % 7)) for line in first["limits"]]
        plan["dropped"] = dropped if number % 2 else None
        more.append(plan)
    content["plans"] = more
    content["cheapest"] = more[0]["strategy"]
    return serrata.CheapestPlan(json.dumps(content))


@pytest.mark.parametrize("plans", [1, 14, 20, 200])
def test_many_plans_break_no_figure(answer, plans):
    with drawing.look():
        figure = Figure(figsize=drawing.SIZE, layout="constrained")
        ax = many(answer, plans).plot(figure.subplots())
    figure.draw_without_rendering()
    texts = shown_texts(figure)
    width, height = figure.bbox.size
    for words, box in texts:
        assert box.x0 >= -1, words
        assert box.x1 <= width + 1, words
        assert box.y0 >= -1, words
        assert box.y1 <= height + 1, words
    assert ax.get_xscale() == "log"
    assert any("limit" in words for words, _ in texts)


def test_a_report_takes_it_as_a_further_answer(study, answer, tmp_path):
    page = tmp_path / "report.html"
    study.simulate(trials=50, seed=1).write_report(page, answers=[answer])
    text = page.read_text(encoding="utf-8")
    assert "Which plan is the cheapest that meets the limits?" in text


def test_progress_is_told_in_lives_of_a_plan(study):
    told = []
    study.cheapest_plan(
        fleet_limit=1,
        indifference=1e-9,
        trials=1_024,
        planted_lives=0,
        seed=1,
        progress=lambda done, of: told.append((done, of)),
    )
    assert told[-1] == (1_024, 1_024)
    with pytest.raises(KeyboardInterrupt):
        study.cheapest_plan(fleet_limit=1, trials=1_024, planted_lives=0, seed=1, progress=interrupting)


def interrupting(_done, _of):
    raise KeyboardInterrupt


def test_the_command_answers_in_words_and_as_json(tmp_path):
    figure = tmp_path / "cheapest.png"
    arguments = ["cheapest", str(DEMO_STUDY), "--plan", "in-place-every-second", "--fleet-limit", "1"]
    arguments += [
        "--vary",
        "looks[1].every_outages=1,2",
        "--vary",
        'looks[1].techniques=["phased-array"],["eddy-array"]',
    ]
    arguments += ["--trials", "512", "--planted-lives", "0", "--seed", "1"]
    words = CliRunner().invoke(main, [*arguments, "--figure", str(figure)])
    assert words.exit_code == 0, words.output
    assert "is the cheapest that meets the limits?" in words.output
    assert figure.stat().st_size > 10_000
    found = json.loads(CliRunner().invoke(main, [*arguments, "--json"]).output)
    assert [plan["values"] for plan in found["plans"]] == [
        ["1", '["phased-array"]'],
        ["1", '["eddy-array"]'],
        ["2", '["phased-array"]'],
        ["2", '["eddy-array"]'],
    ]
    for wrong in ("looks[1].every_outages", "looks[1].techniques=phased-array", "looks[1].every_outages=1"):
        refused = CliRunner().invoke(main, [*arguments, "--vary", wrong])
        assert refused.exit_code == 2
        assert "--vary" in refused.output
