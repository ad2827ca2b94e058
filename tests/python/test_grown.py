"""Cracks grown to the end, as Python and the command line show them."""

import json
import pickle
import subprocess
import sys

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure

import serrata

matplotlib.use("Agg")

STUDY = "demo-data/demo-study.toml"
UPPER = {"hot_spot": "four-serrations.upper", "technique": "phased-array", "cracks": 400}


@pytest.fixture(scope="module")
def study():
    return serrata.Study.load(STUDY)


@pytest.fixture(scope="module")
def grown(study):
    return study.grow(**UPPER)


def test_the_window_is_life_less_the_time_until_detectable(grown):
    cracks = grown.cracks
    expected = (cracks["years_to_loss"] - cracks["years_to_detectable"]).clip(lower=0.0)
    finite = np.isfinite(expected)
    assert finite.sum() > 100
    np.testing.assert_allclose(cracks["window_years"][finite], expected[finite])


def test_quantiles_are_those_of_the_cracks_and_lie_in_their_interval(grown):
    for quantity, table in grown.quantiles.groupby("quantity"):
        assert ((table["low"] <= table["value"]) & (table["value"] <= table["high"])).all()
        numbers = grown.cracks[quantity].dropna()
        for probability, value in zip(table["probability"], table["value"], strict=True):
            assert np.quantile(numbers, probability, method="inverted_cdf") == pytest.approx(value, rel=0.02)


def test_chances_of_looks_fall_with_the_interval_and_match_the_table(grown):
    chances = [grown.chance_of_looks(1, years)[0] for years in (1, 5, 20, 80)]
    assert chances == sorted(chances, reverse=True)
    line = grown.looks.iloc[0]
    assert grown.chance_of_looks(int(line["looks_at_least"]), line["interval_years"])[0] == line["value"]


def test_cracks_pickle_by_growing_again(grown):
    again = pickle.loads(pickle.dumps(grown))
    assert again.cracks.equals(grown.cracks)


def test_ways_begin_and_end_where_the_cracks_do(grown):
    for index, way in grown.ways.groupby("crack"):
        crack = grown.cracks.loc[index]
        if np.isfinite(crack["years_to_loss"]):
            assert way["years"].iloc[-1] == pytest.approx(crack["years_to_loss"])
            assert way["depth_mm"].iloc[-1] == pytest.approx(crack["critical_depth_mm"], rel=1e-3)
        assert (np.diff(way["depth_mm"]) >= -1e-9).all()


def test_the_report_says_what_was_asked_and_ends_with_the_caution(grown):
    report = grown.report()
    assert "four-serrations.upper in row alder-lp1-front" in report
    assert "phased-array finds it with 50 %" in report
    assert report.rstrip().endswith("stand above it.")
    assert "nan" not in report


def test_every_figure_has_its_labels(grown, tmp_path):
    grown.write(tmp_path)
    assert len(list(tmp_path.glob("grown-*.png"))) == 7
    for ax in (grown.plot_growth(), grown.plot_shape(), grown.plot_critical_size(), grown.plot_window()):
        assert ax.get_xlabel()
        assert ax.get_ylabel()
        assert grown.hot_spot in ax.get_title()
        assert f"row {grown.row}, {grown.study.name}" in ax.get_title()
        plt.close(ax.figure)


@pytest.mark.parametrize("what", ["depth_mm", "deepest_mpa_sqrt_m"])
def test_half_of_the_cracks_never_shrink_and_end_where_half_are_lost(grown, what):
    ax = grown.plot_growth(Figure().subplots(), what=what)
    half = next(line for line in ax.lines if line.get_label().startswith("half of cracks"))
    starts, size = (np.asarray(of) for of in half.get_data())
    there = np.isfinite(size)
    assert (np.diff(size[there]) >= 0.0).all()
    # The twin that must fail, half of those that are left, falls.
    ways = [way for _, way in grown.ways.groupby("crack")]
    last = np.array([way["starts"].iloc[-1] for way in ways])
    more_than_half_lost = np.sort(last)[len(last) // 2]
    assert starts[there][-1] <= more_than_half_lost < starts[~there][0]
    for moment, drawn in zip(starts[there], size[there], strict=True):
        beyond = sum(
            end < moment or np.interp(moment, way["starts"], way[what]) > drawn
            for way, end in zip(ways, last, strict=True)
        )
        assert abs(beyond - 0.5 * len(ways)) <= 1
    left = [
        np.median(
            [np.interp(moment, way["starts"], way[what]) for way, end in zip(ways, last, strict=True) if end >= moment]
        )
        for moment in np.linspace(0.0, np.quantile(last, 0.95), 120)
    ]
    assert np.diff(left).min() < 0.0


def test_years_and_outages_stand_above_the_starts(study, grown):
    # Alder: outages from 2028 on, every two years, in a study from 2027 to 2041; 18 starts a year.
    assert grown.outage_years == [1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0]
    ax = grown.plot_growth(Figure().subplots())
    marks = next(line for line in ax.lines if line.get_label().startswith("outages of the study, 2028 to 2040"))
    np.testing.assert_allclose(marks.get_xdata(), 18.0 * np.array(grown.outage_years), rtol=0.02)
    (above,) = ax.child_axes
    assert above.get_xlabel() == "years since the beginning of the study"
    assert above._functions[0](180.0) == pytest.approx(10.0, rel=0.02)


def test_sizes_when_detectable_are_those_of_the_curve(study):
    # Logistic on ln length, ceiling 0.99: nine in ten at q50 exp(0.22 ln 10), by hand; length alone counts.
    cracks = study.grow("four-serrations.upper", technique="eddy-array", detectable_at=0.9, cracks=300).cracks
    later = cracks[cracks["years_to_detectable"] > 0.0]
    assert len(later) > 100
    np.testing.assert_allclose(later["detectable_length_mm"], 0.65 * 10.0**0.22, rtol=1e-3)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"hot_spot": "uper"}, "four-serrations.upper"),
        ({"technique": "x-ray"}, "choose one of mpi-standard"),
        ({"detectable_at": 1.5}, "detectable_at"),
        ({"cracks": 2.5}, "whole number"),
        ({"from_depth_mm": float("nan")}, "from_depth_mm"),
    ],
)
def test_what_cannot_be_answered_is_refused(study, change, said):
    with pytest.raises(serrata.ArgumentError, match=said):
        study.grow(**{**UPPER, **change})


def test_a_depth_that_is_asked_for_is_not_held_at_the_study_s_own_depths(study):
    def half(**start):
        table = study.grow("five-serrations.upper", row="birch-lp1-rear", cracks=500, **start).quantiles
        return table["value"][(table["quantity"] == "years_to_loss") & (table["probability"] == 0.5)].item()

    lives = [half(from_depth_mm=depth_mm) for depth_mm in (2.9, 3.0, 5.0)]
    assert lives[0] > lives[1] > 1.5 * lives[2]
    # Those of 2.9 mm are on the tables, those of 3 mm are not: both continue one line.
    assert lives[1] == pytest.approx(lives[0] * 3.0**-0.3 / 2.9**-0.3, rel=0.03)
    assert half(from_length_mm=10.0) > half(from_length_mm=20.0)


def test_the_report_says_with_what_cracks_begin_and_where_they_were_held(study):
    long = study.grow("four-serrations.upper", from_depth_mm=6.0, from_length_mm=70.0, cracks=100)
    report = long.report()
    assert "All begin 6 mm deep and 70 mm long at the surface." in report
    assert any("longer than half the width" in warning for warning in long.warnings)
    assert (
        "Beware\n  100 of 100 cracks grew longer"
        in study.grow(
            "four-serrations.upper", row="alder-lp1-rear", from_depth_mm=6.0, from_length_mm=70.0, cracks=100
        ).report()
    )
    assert json.loads(long.to_json())["warnings"] == long.warnings
    report = study.grow("four-serrations.upper", from_length_mm=10.0, cracks=100).report()
    assert "All begin 10 mm long at the surface; their depth is as each one's own initial aspect has it" in report
    assert "Beware" not in study.grow("four-serrations.upper", row="alder-lp1-rear", cracks=20).report()


def test_without_a_row_each_one_with_the_root_has_its_line(study):
    every = study.grow("four-serrations.upper", cracks=300, from_depth_mm=4.0)
    rows = list(every.by_row["row"])
    assert rows[0] == every.row == "alder-lp1-front"
    assert len(rows) > 3
    report = every.report()
    assert f"{rows[0]} is the first row with that root; the others follow below ({', '.join(rows[1:])})." in report
    for row in rows:
        alone = study.grow("four-serrations.upper", cracks=300, from_depth_mm=4.0, row=row)
        assert alone.by_row.iloc[0].equals(every.by_row.iloc[rows.index(row)])
        assert f"\n{row} " in report
    assert "is the first row" not in alone.report()


def test_the_chance_of_a_loss_before_an_outage_counts_the_cracks_lost_by_then(study):
    grown = study.grow("four-serrations.upper", row="alder-lp1-front", cracks=2_000, from_depth_mm=6.0)
    line = grown.by_row.iloc[0]
    # Alder stops in 2028, 2030, ...; the study begins in 2027.
    assert (line["next_outage"], line["second_outage"]) == (2028.0, 2030.0)
    for which, years in (("next", 1.0), ("second", 3.0)):
        there = grown.cracks["years_to_loss"][grown.cracks["years_to_loss"] > 0.0]
        assert line["p_past_limit"] == pytest.approx(1.0 - len(there) / 2_000, abs=1e-12)
        share = (there < years).mean()
        assert line[f"p_lost_before_{which}"] == share
        assert line[f"p_lost_before_{which}_low"] <= share <= line[f"p_lost_before_{which}_high"]
    assert 0.0 < line["p_lost_before_second"] < 1.0
    report = grown.report()
    assert "Chance that the blade is lost before the next outage, and before the one after" in report
    assert "at the start of the study (2027), if nobody looks and nothing is done before" in report
    assert "2030: " in report
    assert ("past their limit where they begin" in report) == (line["p_past_limit"] > 0.0)
    large = study.grow("four-serrations.upper", row="alder-lp1-front", cracks=500, from_depth_mm=9.0)
    assert 0.1 < large.by_row["p_past_limit"].item() < 1.0
    assert large.by_row["p_lost_before_next"].item() < (large.cracks["years_to_loss"] < 1.0).mean()
    assert "% of the cracks drawn are past their limit where they begin" in large.report()
    broken = study.grow("four-serrations.upper", row="alder-lp1-front", cracks=20, from_depth_mm=22.9)
    assert "2028: all are past their limit" in broken.report()
    assert json.loads(broken.to_json())["by_row"][0]["p_lost_before_next"] is None


def test_without_a_technique_there_is_no_window(study):
    grown = study.grow("four-serrations.upper", cracks=50)
    assert not len(grown.looks)
    assert grown.cracks["window_years"].isna().all()
    with pytest.raises(serrata.ArgumentError, match="technique"):
        grown.chance_of_looks(1, 2.0)
    with pytest.raises(serrata.ArgumentError, match="technique"):
        grown.plot_window()


def test_the_command_line_gives_report_json_and_files(tmp_path):
    def run(*arguments):
        command = [
            sys.executable,
            "-m",
            "serrata",
            "grow",
            STUDY,
            "--hot-spot",
            "four-serrations.upper",
            "--cracks",
            "60",
            *arguments,
        ]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    shown = run("--technique", "phased-array", "--out", str(tmp_path / "grown"))
    assert shown.returncode == 0, shown.stderr
    assert (tmp_path / "grown" / "grown-window.png").exists()
    found = json.loads(run("--json").stdout)
    assert found["row"] == "alder-lp1-front"
    assert len(found["quantiles"]) == 20
    refused = run("--technique", "x-ray")
    assert refused.returncode == 2
    assert "choose one of mpi-standard" in refused.stderr
    long = run("--from-length-mm", "12", "--row", "alder-lp2-front")
    assert "All begin 12 mm long at the surface" in long.stdout
    assert "alder-lp2-front" in long.stdout


def test_a_place_whose_cracks_join_is_drawn_crack_by_crack(grown):
    study = serrata.Study.load("demo-data/reference-study.toml")
    place = study.grow("curved-tree.fillet", cracks=60, seed=3)
    assert place.joins
    assert "Each is a place whose cracks join" in place.report()
    cracks = place.places.groupby(["place", "crack"])
    ends = cracks["end"].first()
    assert set(ends) <= {"joins", "lost", "remains"}
    assert (ends == "lost").groupby("place").sum().max() == 1
    # A place whose blade is lost ends at the life of its specimen.
    last = cracks["years"].last()[ends == "lost"].groupby("place").max()
    np.testing.assert_allclose(last, place.cracks["years_to_loss"].loc[last.index])
    ax = place.plot_joining()
    meshes = [artist for artist in ax.collections if hasattr(artist, "get_coordinates")]
    assert len(meshes) > 3
    lost = [line.get_ydata()[0] for line in ax.lines if line.get_linewidth() == 2.0 and len(line.get_ydata())]
    shown = next(i for i in range(60) if place.cracks["years_to_loss"].iloc[i] == lost[0])
    assert (place.places["place"] == shown).any()
    assert not grown.joins
    assert len(grown.places) == 0
    with pytest.raises(serrata.ArgumentError, match="several origins and a joining rule"):
        grown.plot_joining()
    with pytest.raises(serrata.ArgumentError, match="place = 99"):
        place.plot_joining(place=99)
