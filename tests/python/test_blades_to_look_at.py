"""How many blades to look at, as Python and the command line say it; the numbers are held against tables in Rust."""

import json

import pytest
from click.testing import CliRunner

import serrata
from serrata.command import main


def test_the_readings_stand_in_a_table():
    answer = serrata.how_many_blades(80, 2, 0.9, found=1, cracked_probability=0.02, worth_blades=50)
    assert list(answer.summary["reading"]) == ["if there", "if left", "by prior"]
    there, left, prior = answer.summary["blades"]
    # More finds ask for more looks; the prior says that few are cracked.
    assert (there, left > there) == (69, True)
    assert prior >= 1
    assert (answer.summary["chance_left"] <= 0.05 + 1e-12).all()


def test_no_number_is_an_answer():
    answer = serrata.how_many_blades(80, 1, 0.8)
    assert answer.summary["blades"].isna().all()
    assert answer.summary["pod_needed"][0] == pytest.approx(0.95, abs=1e-9)
    assert answer.summary["chance_left"][0] == pytest.approx(0.2, abs=1e-12)
    assert "no number is enough" in answer.report()
    assert "no number is enough" in repr(answer)


def test_the_curve_passes_the_limit_at_the_answer():
    answer = serrata.how_many_blades(80, 3, 0.9)
    ax = answer.plot()
    curve = next(line for line in ax.lines if len(line.get_xdata()) == 81)
    number = int(answer.summary["blades"][0])
    assert curve.get_ydata()[number] <= 0.05 < curve.get_ydata()[number - 1]


def test_what_does_not_fit_is_refused():
    for arguments, message in [
        ((80, 0, 0.9), "1 says that none remains"),
        ((80, 81, 0.9), "must be at most 80"),
        ((80, 2, 1.5), "pod"),
        ((True, 2, 0.9), "not True or False"),
    ]:
        with pytest.raises(serrata.ArgumentError, match=message):
            serrata.how_many_blades(*arguments)
    with pytest.raises(serrata.ArgumentError, match="belongs with cracked_probability"):
        serrata.how_many_blades(80, 2, 0.9, worth_blades=50)


def test_the_command_says_the_same(tmp_path):
    figure = tmp_path / "left.png"
    ran = CliRunner().invoke(main, ["blades", "80", "--fewer-than", "2", "--pod", "0.9", "--figure", str(figure)])
    assert ran.exit_code == 0, ran.output
    assert "look at 69 of 80 blades" in ran.output
    assert serrata.CAUTION in ran.output
    assert figure.stat().st_size > 10_000
    ran = CliRunner().invoke(main, ["blades", "80", "--pod", "0.5", "--json"])
    assert json.loads(ran.output)["readings"][0]["answer"]["blades"] is None
