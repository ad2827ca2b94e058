"""The command line."""

import json
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

import serrata
from conftest import LOSING, RARE, REFERENCE
from serrata.command import main


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], catch_exceptions=False)


def test_it_tells_its_version():
    result = run("--version")
    assert (result.exit_code, result.output) == (0, f"serrata {serrata.__version__}\n")


def test_a_comparison_is_answered_on_one_screen_and_written_with_everything_that_is_asked_of_it(tmp_path):
    result = run("compare", LOSING, "--trials", 2000, "--seed", 1)
    assert result.exit_code == 0
    assert result.stderr == ""
    for part in ("Which of 4 plans", "How sure: ", "What would change it: ", "1 time in 20", serrata.CAUTION):
        assert part in result.stdout, part
    assert result.stdout.splitlines()[-1] == "For the whole answer give --report FILE.html, or --out DIRECTORY."
    assert result.stdout.count("\n") <= 40
    result = run("compare", LOSING, "--trials", 2000, "--seed", 1, "--out", tmp_path / "out")
    assert result.stdout.splitlines()[-1].endswith(f"report.txt and result.json are in {tmp_path / 'out'}.")
    whole = (tmp_path / "out" / "report.txt").read_text(encoding="utf-8")
    for part in (
        "2,000 trials, seed 1",
        "fleet: any loss",
        "a row: any loss, mean",
        "year by year",
        "longest:",
        "Found and replaced, whole fleet",
        "Cost, whole fleet",
        "Days, whole fleet",
        "Differences to none",
        "confidence in the first",
        "1 time in 20",
        serrata.CAUTION,
    ):
        assert part in whole, part
    assert max(map(len, [*result.stdout.splitlines(), *whole.splitlines()])) <= 120


def test_what_is_taken_for_granted_stands_in_the_report(losses):
    report = losses.report()
    unwrapped = " ".join(report.split())
    for assumption in losses.study.assumptions:
        assert assumption in unwrapped
    assert "Taken for granted" in unwrapped


def test_the_numbers_of_the_text_are_those_of_the_comparison(losses):
    line = losses.summary[(losses.summary["strategy"] == "bench_third") & (losses.summary["quantity"] == "p_any_loss")]
    value, low, high = (float(line[name].iloc[0]) for name in ("value", "low", "high"))
    block = losses.report("losses")
    printed = next(text for text in block.splitlines() if text.startswith("  bench_third") and " to " in text)
    assert f"{value:.3f} ({low:.3f} to {high:.3f})" in printed


def test_finds_and_replacements_are_printed_with_their_uncertainty(losses):
    block = losses.report("found")
    line = next(text for text in block.splitlines() if text.startswith("  insitu_then_bench"))
    found, left, replaced, false, rows, out = re.findall(r"(?<!±)\b\d[\d,.]*(?: ±[\d.]+)?", line)
    summary = losses.summary[losses.summary["strategy"] == "insitu_then_bench"].set_index("quantity")
    for printed, quantity in (
        (found, "cracks_found"),
        (left, "cracks_left_after_last_outage"),
        (replaced, "blades_replaced"),
        (out, "times_blades_out"),
    ):
        value, half = (float(number) for number in printed.split(" ±"))
        # Two figures of the half-width are printed.
        assert value == pytest.approx(summary["value"][quantity], abs=0.05 * half)
        assert half == pytest.approx(summary["high"][quantity] - summary["value"][quantity], rel=0.05)
    assert (false, rows) == ("0", "0")


def test_no_chance_is_printed_with_a_range_below_zero(losing):  # A7
    for trials in (2000, 40):
        block = losing.simulate(trials=trials, seed=1).report("by_year")
        for value, half in re.findall(r"([\d.]+(?:e-?\d+)?) ±([\d.]+(?:e-?\d+)?)", block):
            assert float(half) <= float(value), f"{value} ±{half}"
    assert re.search(r"\d to \d", block), "some years have but one life with a loss"


def test_nothing_seen_is_printed_as_a_bound_and_warned_of():
    result = run("compare", RARE, "--trials", 1000, "--seed", 1)
    assert "less than 3,700 in 1,000,000 (none seen)" in result.stdout
    assert "Beware" in result.stdout


def test_json_alone_goes_to_standard_output(losing):
    result = run("compare", LOSING, "--trials", 300, "--seed", 3, "--threads", 1, "--json")
    assert result.stdout == losing.simulate(trials=300, seed=3, threads=2).to_json() + "\n"
    json.loads(result.stdout)


def test_quiet_prints_nothing_and_still_writes(tmp_path):
    result = run("compare", LOSING, "--trials", 100, "--seed", 3, "--quiet", "--out", tmp_path / "new" / "place")
    assert (result.exit_code, result.output) == (0, "")
    written = json.loads((tmp_path / "new" / "place" / "result.json").read_text(encoding="utf-8"))
    assert written["trials"] == 100


def test_without_a_seed_the_drawn_one_is_shown():
    seeds = {run("compare", LOSING, "--trials", 10, "--json").stdout for _ in range(2)}
    assert len({json.loads(text)["seed"] for text in seeds}) == 2


def test_check_lists_what_is_taken_for_granted():
    result = run("check", REFERENCE)
    assert result.exit_code == 0
    for part in ("no faults", "rows: north-a (64 blades)", "Taken for granted", "Inputs without a stated basis"):
        assert part in result.stdout


def test_the_template_is_a_study_that_runs(tmp_path):
    template = run("template")
    (tmp_path / "study.toml").write_text(template.stdout, encoding="utf-8")
    assert (template.exit_code, run("check", tmp_path / "study.toml").exit_code) == (0, 0)
    assert run("compare", tmp_path / "study.toml", "--trials", 50, "--seed", 1).exit_code == 0
    assert "Decision support only" in template.stdout


def test_a_file_that_the_system_refuses_is_not_taken_for_standard_output(monkeypatch):
    def refuse(_):
        raise PermissionError(13, "Permission denied", "fonts.json")

    monkeypatch.setattr(serrata.Study, "load", refuse)
    result = run("check", REFERENCE)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", "fonts.json: Permission denied\n")


def test_a_workbook_given_as_a_study_is_recognised(tmp_path):
    (tmp_path / "study.xlsx").write_bytes(b"PK\x03\x04...")
    result = run("check", tmp_path / "study.xlsx")
    assert result.exit_code == 2
    assert "is a workbook or another packed file, not a study file\n    name the study file" in result.stderr


def test_check_prints_the_calendar_of_work_before_anything_is_simulated():
    result = run("check", REFERENCE, "--calendar")
    assert result.exit_code == 0
    assert "  south (a crew for each row, window 25 days)" in result.output
    frame = serrata.Study.load(REFERENCE).work_calendar()
    assert list(frame.columns[:6]) == ["strategy", "unit", "row", "rotor", "outage", "year"]
    lines = [line for line in result.output.splitlines() if line.startswith("    outage ")]
    assert len(lines) == len(frame.groupby(["strategy", "unit", "outage"]))
    assert "  - a called blade is watched below 2 mm long, or else is replaced" in result.output
    assert (frame["done_after_days"] >= frame["days"]).all()
    assert serrata.CAUTION in result.output


@pytest.mark.parametrize("verb", ["compare", "check"])
def test_a_faulty_study_is_refused_in_plain_words(verb, tmp_path):
    (tmp_path / "bad.toml").write_text("[study]\nname = 3\n", encoding="utf-8")
    result = run(verb, tmp_path / "bad.toml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "line 2, study.name = 3\n    must be text, not a whole number" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [("--trials", "0"), ("--trials", str(2**70)), ("--seed", "-1"), ("--threads", "-2"), ("--trials", "1.5")],
)
def test_bad_options_are_refused_with_exit_code_2(arguments):
    result = run("compare", LOSING, *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert arguments[0].strip("-") in result.stderr


def test_an_absent_file_is_refused_from_a_real_shell_too(tmp_path):
    command = [sys.executable, "-m", "serrata", "compare", str(tmp_path / "absent.toml")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.endswith("there is no such file or directory\n    check the name and the directory\n")


def test_output_into_a_file_holds_the_report_and_no_progress(tmp_path):
    command = [sys.executable, "-m", "serrata", "compare", str(LOSING), "--trials", "5000", "--seed", "1"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    assert done.stderr == ""
    assert "\r" not in done.stdout
