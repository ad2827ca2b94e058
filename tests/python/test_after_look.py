"""A row after a look: what is left in it, and whether it can run on, as Python and the command line tell it."""

import json

import matplotlib
import numpy as np
import pytest
from click.testing import CliRunner

import serrata
from serrata.command import main

matplotlib.use("Agg")

DEMO = "demo-data/demo-study.toml"
ROW = "cedar-lp1-front"


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load(DEMO)


@pytest.fixture(scope="module")
def clean(study):
    return study.left_in_row(ROW, "eddy-array", lives=4_000)


@pytest.fixture(scope="module")
def running(study):
    return study.can_it_run(
        ROW, "eddy-array", left_in={"four-serrations.upper": 6.0}, yearly_limit=1e-3, lives=2_000, planted_lives=2_000
    )


def test_a_clean_look_leaves_less_and_a_sharper_one_least(clean):
    lines = clean.summary
    assert list(lines["look"][:2]) == ["asked", "no look"]
    assert len(lines) == 2 + 7
    cracks = lines.set_index(["look", "technique"])["cracks"]
    unseen = lines.loc[1, "cracks"]
    assert unseen > cracks[("if clean", "phased-array")] > cracks[("if clean", "eddy-current")]
    # Hardly more than the array: peened mouths are closed to others.
    assert cracks[("if clean", "eddy-array")] < cracks[("if clean", "eddy-current")]
    # Asked about is the same look, in the same lives.
    assert lines.loc[0, "cracks"] == cracks[("if clean", "eddy-array")]
    assert (lines["p_none_low"] <= lines["p_none"]).all()
    assert (lines["p_none"] <= lines["p_none_high"]).all()
    assert lines.loc[1, "p_outcome"] == 1.0
    assert 0.0 < lines.loc[0, "p_outcome"] < 1.0


def test_numbers_of_cracks_are_chances(clean):
    numbers = clean.numbers
    assert numbers["value"].sum() == pytest.approx(1.0, abs=1e-9)
    mean = (numbers["cracks"] * numbers["value"]).sum()
    assert mean == pytest.approx(float(clean.summary.loc[0, "cracks"]), rel=1e-9)


def test_longer_ones_are_fewer(clean):
    asked = clean.lengths[clean.lengths["look"] == "asked"]
    assert (np.diff(asked["p_longer"]) <= 0.0).all()
    assert (np.diff(asked["cracks_longer"]) <= 0.0).all()
    # One crack at the least where any is longer.
    assert (asked["cracks_longer"] >= asked["p_longer"] - 1e-12).all()
    critical = clean.critical
    assert list(critical["hot_spot"]) == ["upper", "upper", "lower", "lower"]
    assert (critical["p_longer"][::2].to_numpy() >= critical["p_longer"][1::2].to_numpy()).all()


def test_the_report_says_it_in_words(clean):
    report = clean.report()
    assert serrata.CAUTION in report
    assert "that found nothing" in report
    assert "none is left" in report
    assert "past looks" in report
    assert all(len(line) <= 120 for line in report.removesuffix(serrata.CAUTION + "\n").splitlines()[:-1])
    found = repr(clean)
    assert found.startswith(f"<LeftInRow of {ROW}: ")


def test_finds_are_replaced_and_tell_of_the_row(study, clean):
    """Three finds speak for a bad row: more is left than after none, though three blades were replaced."""
    finds = study.left_in_row(ROW, "eddy-array", found=3, lives=4_000)
    assert float(finds.summary.loc[0, "cracks"]) > float(clean.summary.loc[0, "cracks"])
    assert "found 3 blades, since replaced" in finds.report()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"row": "nowhere"}, "there is no such row"),
        ({"technique": "nothing"}, "there is no such technique"),
        ({"technique": None, "found": 1}, "must be 0 where nobody looked"),
        ({"found": 65}, "at most the 64 blades"),
        ({"found": True}, "whole number"),
        ({"lives": 10}, "must be from 256"),
    ],
)
def test_what_cannot_be_asked_is_refused(study, change, message):
    asked = {"row": ROW, "technique": "eddy-array", "found": 0, "lives": 256} | change
    for call in (study.left_in_row, study.can_it_run):
        with pytest.raises(serrata.ArgumentError, match=message):
            call(**asked)


def test_an_outcome_that_hardly_any_life_has_is_refused(study):
    for call in (study.left_in_row, study.can_it_run):
        with pytest.raises(serrata.DataError, match="finds 40 blades has a chance of") as refused:
            call(ROW, "eddy-array", found=40, lives=512)
        assert refused.value.reason == "thin"


def test_the_chance_of_a_loss_grows_month_by_month(running):
    months = running.by_month
    assert months["month"].iloc[-1] == 42
    assert (np.diff(months["p_loss"]) >= 0.0).all()
    assert (months["p_loss_low"] <= months["p_loss"]).all()
    assert (months["p_loss"] <= months["p_loss_high"]).all()
    # In the first year all that was lost was lost within twelve months.
    assert (months["p_loss"][:12] == months["p_loss_in_12_months"][:12]).all()
    whole = months["p_loss"].to_numpy()
    assert months["p_loss_in_12_months"].to_numpy()[12:] == pytest.approx(whole[12:] - whole[:-12], rel=1e-9)
    lines = running.summary
    assert list(lines["months"]) == [0, 3, 6, 12, 24]
    assert lines.loc[0, "year"] == 2028.5
    assert lines["added"].to_numpy() == pytest.approx(lines["p_loss"].to_numpy() - lines.loc[0, "p_loss"], rel=1e-9)


def test_a_crack_left_in_adds_up(study, running):
    lines, crack = running.summary, running.left_in
    assert list(crack["length_mm"]) == [6.0]
    chance, high = float(crack.loc[0, "p_lost"]), float(crack.loc[0, "p_lost_high"])
    assert 0.0 < chance < high
    assert lines.loc[0, "p_loss_most"] == pytest.approx(lines.loc[0, "p_loss_high"] + high)
    assert lines.loc[0, "p_loss_least"] == max(lines.loc[0, "p_loss_low"], float(crack.loc[0, "p_lost_low"]))
    pairs = [("four-serrations.upper", 9.0)]
    longer = study.can_it_run(ROW, "eddy-array", left_in=pairs, lives=2_048, planted_lives=0)
    assert float(longer.left_in.loc[0, "p_lost"]) > chance
    assert "A crack of 6 mm left in at four-serrations.upper" in running.report()
    with pytest.raises(serrata.ArgumentError, match="must be in the root of the row"):
        study.can_it_run(ROW, left_in={"five-serrations.upper": 3.0}, lives=256, planted_lives=0)
    with pytest.raises(serrata.ArgumentError, match="must be a number"):
        study.can_it_run(ROW, left_in={"four-serrations.upper": "long"}, lives=256, planted_lives=0)


def test_the_limit_is_passed_when_the_last_twelve_months_pass_it(study, running):
    months = running.by_month
    # The crack that is left in counts: it passes the limit where the row alone does not.
    assert float(months["p_loss_in_12_months_high"].max()) < 1e-3
    over = months[months["p_loss_in_12_months_most"] > 1e-3]
    assert not over.empty
    assert "passes the limit of 0.001" in running.report()
    said = json.loads(running.to_json())["limit"]
    assert said["may_be_passed"] == over["year"].iloc[0]
    silent = study.can_it_run(ROW, "eddy-array", lives=2_048, planted_lives=0)
    assert "No limit on the yearly chance" in silent.report()
    assert json.loads(silent.to_json())["limit"] is None
    none = study.can_it_run(ROW, "eddy-array", yearly_limit=0.0, lives=1_024, planted_lives=1_024)
    assert json.loads(none.to_json())["limit"]["may_be_passed"] == none.by_month["year"].iloc[0]


def test_a_study_given_its_records_is_asked_in_the_same_way():
    study = serrata.Study.load("tests/engine/data/given/a.toml")
    clean, bad = (
        study.given(serrata.Records.load(f"tests/engine/data/given/{name}.csv"), draws=64, cracks=256)
        for name in ("a", "b")
    )
    answers = [of.left_in_row("row", "insitu", lives=4_000) for of in (clean, bad)]
    few, many = (float(answer.summary.loc[0, "cracks"]) for answer in answers)
    assert few < many
    assert "what its records leave" in answers[0].report()
    # With nobody looking now it is what the study believes already.
    believed = clean.belief.by_row.set_index("quantity")
    unseen = answers[0].summary.loc[1]
    error = float(believed.loc["cracks", "standard_error"])
    reach = 2.0 * (error + float(unseen["cracks_high"] - unseen["cracks_low"]) / 4.0)
    assert abs(float(unseen["cracks"]) - float(believed.loc["cracks", "value"])) < 2.0 * reach
    running = bad.can_it_run("row", "insitu", lives=2_000, planted_lives=2_000)
    assert float(running.summary.loc[0, "p_loss"]) > 0.0


def test_progress_is_told_and_stops(study):
    told = []
    study.left_in_row(ROW, "eddy-array", lives=2_048, progress=lambda done, wanted: told.append((done, wanted)))
    assert all(done <= wanted == 2_048 for done, wanted in told)

    def stop(_done, _wanted):
        raise KeyboardInterrupt

    for call in (study.left_in_row, study.can_it_run):
        with pytest.raises(KeyboardInterrupt):
            call(ROW, "eddy-array", lives=1_000_000, progress=stop)


def test_threads_change_no_result(study):
    asked = {"found": 1, "lives": 1_024}
    assert study.left_in_row(ROW, "eddy-array", threads=1, **asked) == study.left_in_row(
        ROW, "eddy-array", threads=3, **asked
    )
    asked["planted_lives"] = 1_024
    assert study.can_it_run(ROW, "eddy-array", threads=1, **asked) == study.can_it_run(
        ROW, "eddy-array", threads=3, **asked
    )


def test_figures_are_drawn(clean, running):
    ax = clean.plot()
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "nobody looks" in labels
    assert "eddy-array found nothing" in labels
    assert len(labels) == 8
    ax = running.plot()
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "limit for 12 months" in labels
    assert any("cracks left in" in label for label in labels)


def test_the_command_line_says_the_same(tmp_path, clean):
    picture = tmp_path / "left.png"
    asked = [DEMO, "--row", ROW, "--technique", "eddy-array", "--lives", "4000"]
    done = CliRunner().invoke(main, ["left", *asked, "--figure", str(picture)])
    assert done.exit_code == 0
    assert done.output == clean.report()
    assert picture.stat().st_size > 1_000
    asked = [*asked, "--planted-lives", "256", "--left-in", "four-serrations.lower", "5", "--yearly-limit", "0.01"]
    done = CliRunner().invoke(main, ["run-on", *asked, "--json"])
    said = json.loads(done.output)
    assert done.exit_code == 0
    assert said["left_in"][0]["length_mm"] == 5.0
    assert said["limit"]["limit"] == 0.01
    refused = CliRunner().invoke(main, ["left", DEMO, "--row", "nowhere"])
    assert refused.exit_code == 2
    assert "there is no such row" in refused.output


def test_the_command_line_gives_a_study_its_records_first():
    study, records = "tests/engine/data/given/a.toml", "tests/engine/data/given/a.csv"
    asked = ["left", study, "--row", "row", "--technique", "insitu", "--lives", "1024"]
    plain, given = (CliRunner().invoke(main, [*asked, *more]) for more in ([], ["--records", records]))
    assert plain.exit_code == given.exit_code == 0
    assert "without records" in plain.output
    assert "what its records leave" in given.output
