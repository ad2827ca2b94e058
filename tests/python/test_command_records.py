"""The command line for records and demonstration tests."""

import json

import pytest
from click.testing import CliRunner

import serrata
from conftest import DEMO_RECORDS
from serrata.command import main

DEMO = (DEMO_RECORDS, "--dates", "day-month-year")


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], catch_exceptions=False)


def test_check_prints_one_screen():
    result = run("records", "check", *DEMO)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == serrata.Records.load(DEMO_RECORDS, dates="day-month-year").report().replace("\r", "")


def test_check_refuses_a_faulty_file_in_plain_words():
    result = run("records", "check", DEMO_RECORDS)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "line 3, date = 03.09.2030\n    is not a date like 2031-03-31" in result.stderr
    assert result.stderr.rstrip().endswith("more")


def test_messages_name_options_as_the_shell_takes_them(tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text("row,No of blade,year,technique,called\nR1,1,2031,ET,NRI\n", encoding="utf-8")
    result = run("records", "check", path)
    assert result.stderr.rstrip().endswith("is meant, rename it, or add --column blade=NAME")
    near = tmp_path / "near.csv"
    near.write_text("row,blade no,year,technique,called\nR1,1,2031,ET,yes\n", encoding="utf-8")
    result = run("records", "check", near)
    assert result.stderr.rstrip().endswith("if it is meant, rename it, or add --column 'blade=blade no'")
    result = run("records", "check", path, "--column", "blade=No of blade")
    assert "if no is meant, add --value NRI=no\n" in result.stderr
    result = run("records", "check", path, "--column", "blade=No of blade", "--value", "NRI=no")
    assert (result.exit_code, result.stderr) == (0, "")
    assert 'cells where "NRI" stands for no: 1' in result.stdout
    assert run("records", "check", path, "--value", "NRI").exit_code == 2


def test_check_lists_what_was_left_out(tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text("row,No,year,technique,called\nR1,1,2031,ET,yes\nR1,2,2031,ET,?\n", encoding="utf-8")
    result = run("records", "check", path, "--column", "blade=No", "--bad-lines", "leave-out")
    assert "left out: 1 of 2 lines (line 3)" in result.stdout
    assert "line 3, called = ?\n    must be yes or no" in result.stdout
    assert run("records", "check", path, "--column", "blade").exit_code == 2


def test_the_template_is_a_file_that_reads(tmp_path):
    path = tmp_path / "template.csv"
    path.write_text(run("records", "template").stdout, encoding="utf-8")
    assert run("records", "check", path).exit_code == 0


def test_side_by_side_prints_report_json_and_figure(tmp_path):
    chosen = ("--technique", "mpi-enhanced", "--technique", "penetrant")
    result = run("records", "side-by-side", *DEMO, *chosen, "--by", "surface", "--figure", tmp_path / "overlap.png")
    assert result.exit_code == 0
    assert "Blades of class: peened" in result.stdout
    assert serrata.CAUTION in result.stdout
    assert (tmp_path / "overlap.png").stat().st_size > 10_000
    told = json.loads(run("records", "side-by-side", *DEMO, *chosen, "--json").stdout)
    assert told[0]["overlap"]["class"] == "all"
    assert run("records", "side-by-side", *DEMO, *chosen, "--figure", tmp_path / "overlap.xyz").exit_code == 2


def test_missed_prints_the_sentence_json_and_figure(tmp_path):
    chosen = [part for name in ("mpi-enhanced", "penetrant", "eddy-array") for part in ("--technique", name)]
    result = run("records", "missed", *DEMO, *chosen, "--figure", tmp_path / "missed.png")
    assert result.stdout.startswith("Between ")
    assert serrata.CAUTION in result.stdout
    assert (tmp_path / "missed.png").stat().st_size > 10_000
    told = json.loads(run("records", "missed", *DEMO, *chosen, "--json").stdout)
    assert told["missed_cracks"]["answer"]["method"] == "by-length"


def test_latent_classes_prints_the_report_json_and_figure(tmp_path):
    chosen = [part for name in ("mpi-enhanced", "penetrant", "eddy-array") for part in ("--technique", name)]
    result = run("records", "latent-classes", *DEMO, *chosen, "--figure", tmp_path / "classes.png")
    assert result.stdout.startswith("How many blades are cracked, and how many were missed, these calls do not tell")
    assert serrata.CAUTION in result.stdout
    assert (tmp_path / "classes.png").stat().st_size > 10_000
    told = json.loads(run("records", "latent-classes", *DEMO, *chosen, "--json").stdout)
    assert len(told["latent_classes"]["techniques"]) == 3
    refused = run("records", "latent-classes", *DEMO, *chosen, "--dependent-pair", "mpi-enhanced", "penetrant")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "at least three sources of calls must err independently" in refused.stderr


def test_a_plan_is_printed_for_each_number_of_misses():
    result = run("demonstration", "plan", 0.9, "--misses", 2, "--true-pod", 0.95)
    lines = [line.split() for line in result.stdout.splitlines()[2:5]]
    assert [(line[0], line[1]) for line in lines] == [("0", "29"), ("1", "46"), ("2", "61")]
    assert lines[0][2:] == ["0.9019", "0.226"]


@pytest.mark.parametrize(("pod", "words"), [(0.9, "is shown at 95 % confidence"), (0.95, "is not shown")])
def test_an_outcome_is_told_in_sentences(pod, words):
    result = run("demonstration", "outcome", 29, 29, "--pod", pod, "--lengths-mm", 1.5, 2, "--false-calls", 0, 40)
    assert words in result.stdout
    assert "False calls: 0 of 40" in result.stdout
    assert run("demonstration", "outcome", 30, 29).exit_code == 2
