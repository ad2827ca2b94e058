"""The public surface does what its documentation says."""

import copy
import functools
import inspect
import json
import math
import re

import numpy as np
import pandas as pd
import pytest

import serrata
from conftest import ROOT
from serrata import plots, report

TABLES = (
    "summary",
    "by_unit",
    "by_row",
    "by_year",
    "by_outage",
    "by_hot_spot",
    "loss_cost",
    "spread",
    "differences",
    "rankings",
    "limits",
    "rare_losses",
)


def pick(frame, **where):
    for column, value in where.items():
        frame = frame[frame[column] == value]
    assert len(frame) == 1
    return frame.iloc[0]


def test_everything_in_all_exists_and_says_what_it_is():
    for name in serrata.__all__:
        thing = getattr(serrata, name)
        assert name == "__version__" or isinstance(thing, str) or thing.__doc__


def kind(member):
    """Give whether a member is called, and, where it is not, what it gives, apart from whether that may be missing."""
    if isinstance(member, property):
        given = member.fget.__annotations__["return"]
    elif isinstance(member, functools.cached_property):
        given = member.func.__annotations__["return"]
    else:
        return "method"
    return given.removesuffix(" | None").split("[")[0]


def test_a_name_is_of_one_kind_wherever_it_stands():
    kinds = {}
    # The line of a fault is one of a file.
    for name in set(serrata.__all__) - {"Fault"}:
        owner = getattr(serrata, name)
        if not isinstance(owner, type) or not owner.__module__.startswith("serrata.") or issubclass(owner, Exception):
            continue
        for member in dir(owner):
            found = inspect.getattr_static(owner, member)
            if not member.startswith("_") and not hasattr(found, "__objclass__"):
                kinds.setdefault(member, {}).setdefault(kind(found), set()).add(name)
    assert len(kinds) > 100
    assert len(kinds["techniques"]["list"]) > 3
    assert {member: found for member, found in kinds.items() if len(found) > 1} == {}


def test_a_study_tells_what_it_holds(reference):
    assert reference.name == "Reference study (invented)"
    named = ["in-place-always", "bench-sometimes", "new-rows", "sampled", "bench-and-dress"]
    assert list(reference.strategies) == named
    assert reference.baseline == "in-place-always"
    assert reference.rows == {"north-a": 64, "south-a": 72, "south-b": 72}
    assert reference.units == ["north", "south"]
    assert reference.techniques == ["in-place-ut", "bench-mt"]
    assert (reference.start_year, reference.horizon_years, reference.currency) == (2026, 20, "kEUR")
    assert repr(reference) == "<Study 'Reference study (invented)': 3 rows, 5 strategies, 20 years from 2026>"


def test_a_saved_study_loads_as_the_same_study(reference, tmp_path):
    path = tmp_path / "copy.toml"
    reference.save(path)
    again = serrata.Study.load(path)
    assert again == reference
    assert hash(again) == hash(reference)
    assert again != reference.with_values({"money.discount_rate_per_year": 0.5})


def test_a_study_does_not_change(reference):
    with pytest.raises(AttributeError, match="with_values"):
        reference.name = "another"
    with pytest.raises(TypeError, match=r"Study\.load"):
        serrata.Study()


def test_values_are_changed_by_key_path(reference):
    changed = reference.with_values(
        {
            "study.horizon_years": np.float32(20.5),
            "rows.north-a.blades": np.int64(70),
            "units.north.duty[1].starts_per_year": 33,
            "initiation.fatigue.scale": np.float64(1234.0),
            "study.name": 'with "quotes"',
            "costs.loss_cost": {"kind": "lognormal", "median": 10.0, "sigma_log": 0.5},
        }
    )
    assert changed.horizon_years == 20.5
    assert changed.rows["north-a"] == 70
    assert changed.name == 'with "quotes"'
    assert "starts_per_year = 33" in changed.to_toml()
    assert "scale = 1234.0\n" in changed.to_toml()
    assert 'loss_cost = { kind = "lognormal", median = 10.0, sigma_log = 0.5 }' in changed.to_toml()
    assert reference.horizon_years == 20


def test_a_study_keeps_what_its_file_said():
    path = ROOT / "demo-data" / "demo-study.toml"
    demo = serrata.Study.load(path)
    assert demo.to_toml() == path.read_text(encoding="utf-8")
    text = demo.with_values({"units.birch.outages.every_years": 3}).to_toml()
    assert "outages = { first_year = 2027.5, every_years = 3, window_days = 28 }" in text
    # Comments stay, and nothing but the value changes.
    assert text == demo.to_toml().replace(
        "first_year = 2027.5, every_years = 2", "first_year = 2027.5, every_years = 3"
    )


@pytest.mark.parametrize("horizon_years", [11.3, 30])
def test_outages_by_a_period_go_as_far_as_the_horizon(horizon_years):
    demo = serrata.Study.load(ROOT / "demo-data" / "demo-study.toml")
    changed = demo.with_values({"study.horizon_years": horizon_years})
    years = changed.work_calendar().query("unit == 'alder'")["year"]
    # At 2028, 2030, ... under a strategy that looks at each outage.
    assert set(years) == set(np.arange(2028, 2027 + horizon_years, 2))


def test_equal_studies_may_be_said_in_different_words(reference):
    other = serrata.Study.parse(
        "# A comment.\n" + reference.to_toml().replace("horizon_years = 20", "horizon_years = 20.0")
    )
    assert other.to_toml() != reference.to_toml()
    assert (other, hash(other)) == (reference, hash(reference))


def test_the_template_runs():
    study = serrata.Study.parse(serrata.Study.template())
    assert study.warnings == []
    comparison = study.simulate(trials=200, seed=1)
    found = pick(comparison.summary, strategy="blades-out", quantity="cracks_found")
    assert found["value"] > 0.0


def test_a_changed_value_changes_the_answer_and_the_others_stay(losing):
    dearer = losing.with_values({"costs.loss_days": 10})
    before, after = losing.simulate(trials=300, seed=1), dearer.simulate(trials=300, seed=1)
    for quantity in ("losses", "cracks_found"):
        lines = [run.summary[run.summary["quantity"] == quantity] for run in (before, after)]
        pd.testing.assert_frame_equal(*lines)
    days = pick(after.summary, strategy="none", quantity="forced_days")
    lost = pick(after.summary, strategy="none", quantity="losses")
    assert days["value"] == pytest.approx(10 * lost["value"], rel=1e-12)


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_a_frame_and_cached(comparison, name):
    frame = getattr(comparison, name)
    assert isinstance(frame, pd.DataFrame)
    assert len(frame) > 0
    assert frame is getattr(comparison, name)
    assert comparison.table(name) is not frame
    pd.testing.assert_frame_equal(comparison.table(name), frame)


def test_tables_of_estimates_have_the_same_columns(comparison):
    *columns, last = comparison.summary.columns
    assert last == "meets_limits"  # which the study has
    assert columns[:6] == ["level", "row", "strategy", "year", "quantity", "probability"]
    for name in ("by_row", "by_year", "by_outage"):
        assert list(comparison.table(name).columns) == columns
    assert list(comparison.differences.columns)[: len(columns)] == columns
    # No number stands twice.
    names = ("summary", "by_row", "by_year", "by_outage")
    together = pd.concat([comparison.table(name) for name in names])
    assert not together.duplicated(columns[:6]).any()
    assert set(together["level"]) == {"fleet", "row"}
    assert ((together["level"] == "row") == (together["row"] != "")).all()


@pytest.mark.parametrize("name", TABLES)
def test_columns_are_those_of_the_frame_as_arrays(comparison, name):
    columns = comparison.columns(name)
    assert all(isinstance(column, np.ndarray) for column in columns.values())
    pd.testing.assert_frame_equal(pd.DataFrame(columns), comparison.table(name), check_dtype=False)


def test_every_number_stands_with_its_interval(comparison):
    for frame in (comparison.summary, comparison.by_row, comparison.by_year, comparison.differences):
        assert (frame["low"] <= frame["value"]).all()
        assert (frame["value"] <= frame["high"]).all()
        scattered = frame[frame["standard_error"] > 0.0]
        assert (scattered["low"] < scattered["high"]).all()
    chances = comparison.summary[comparison.summary["unit"] == "probability"]
    assert ((chances["low"] >= 0.0) & (chances["high"] <= 1.0)).all()


def test_splits_add_up_to_their_whole(comparison):
    for strategy in comparison.study.strategies:
        value = {
            line["quantity"]: line["value"] for _, line in comparison.summary.iterrows() if line["strategy"] == strategy
        }
        parts = ("look_cost", "blades_out_cost", "replacement_cost", "dressing_cost", "stop_cost", "extra_day_cost")
        parts += ("surface_cost", "starts_limit_cost", "spares_cost", "loss_cost")
        assert sum(value[part] for part in parts) == pytest.approx(value["cost"], rel=1e-12)
        parts = ("look_days", "blades_out_days", "replacement_days", "dressing_days", "stop_days", "wait_days")
        parts += ("surface_days",)
        parts += ("forced_days",)
        assert sum(value[part] for part in parts) == pytest.approx(value["days"], rel=1e-12)


def test_losses_by_year_add_up_to_losses(losses):
    fleet = losses.by_year[losses.by_year["level"] == "fleet"]
    for strategy in losses.study.strategies:
        total = fleet[(fleet["strategy"] == strategy) & (fleet["quantity"] == "losses")]["value"].sum()
        assert total == pytest.approx(pick(losses.summary, strategy=strategy, quantity="losses")["value"], rel=1e-12)


def test_the_mean_over_rows_is_the_mean_over_rows(reference):
    # Cracks grow so fast that both rows lose blades.
    weak = reference.with_values({"growth.blade-steel.coefficient_m_per_start": 1e-10})
    run = weak.simulate(trials=300, seed=1)
    for strategy in weak.strategies:
        rows = run.by_row[(run.by_row["strategy"] == strategy) & (run.by_row["quantity"] == "p_any_loss")]
        mean = pick(run.summary, strategy=strategy, quantity="p_any_loss_mean_row")
        assert rows["value"].sum() > 0.0
        assert mean["value"] == pytest.approx(rows["value"].mean(), rel=1e-12)
        assert mean["events"] == rows["events"].sum()


def test_a_difference_is_the_difference_of_the_means(losses):
    for _, line in losses.differences.iterrows():
        ours = pick(losses.summary, strategy=line["strategy"], quantity=line["quantity"])["value"]
        theirs = pick(losses.summary, strategy=line["baseline"], quantity=line["quantity"])["value"]
        assert line["value"] == pytest.approx(ours - theirs, rel=1e-9, abs=1e-12)


def test_what_was_never_seen_has_a_bound_and_no_bare_zero(rare):
    run = rare.simulate(trials=1000, seed=1)
    # -ln(0.025) / n, to first order (exact interval of 0 of n)
    bound = -math.expm1(math.log(0.025) / 1000)
    for quantity in ("p_any_loss", "losses"):
        line = pick(run.summary, strategy="insitu_every", quantity=quantity)
        assert (line["value"], line["events"]) == (0.0, 0.0)
        assert math.isnan(line["standard_error"])
        assert line["high"] == pytest.approx(bound, rel=1e-9)
        assert line["note"] == "none seen: high is an upper bound"
    assert "< 0.0037 (none seen in 1,000)" in run.report()
    assert "< 0.0037 (none seen in 1,000)" in repr(run)


def test_what_a_strategy_cannot_do_is_exactly_zero(losses):
    line = pick(losses.summary, strategy="none", quantity="cracks_found")
    assert (line["value"], line["low"], line["high"]) == (0.0, 0.0, 0.0)
    assert line["note"] == "cannot happen under this strategy"


def test_thin_evidence_is_said(rare, losses):
    warnings = rare.simulate(trials=1000, seed=1).warnings
    assert any(line.startswith("insitu_every: no loss in 1,000 trials") for line in warnings)
    assert losses.warnings == []


def test_what_is_taken_for_granted_is_listed(reference):
    assumptions = reference.assumptions
    assert any(line.startswith("Intervals show") for line in assumptions)
    missing = next(line for line in assumptions if line.startswith("Inputs without a stated basis"))
    assert "rows.south-a" in missing
    assert "scatter" not in missing
    certain = reference.with_values({"techniques.bench-mt.pod.ceiling": 1})
    assert "A crack that is long enough is never missed: ceiling 1 (bench-mt)." in certain.assumptions
    assert not any("ceiling 1" in line for line in assumptions)


def test_json_is_valid_and_says_where_it_comes_from(rare):
    run = rare.simulate(trials=500, seed=9)

    def refuse(text):
        raise AssertionError(f"{text} is not JSON")

    page = json.loads(run.to_json(), parse_constant=refuse)
    assert (page["trials"], page["seed"], page["version"]) == (500, 9, serrata.__version__)
    assert page["generator"] == run.generator
    assert page["caution"] == serrata.CAUTION
    assert list(page["tables"]) == list(TABLES)
    assert "threads" not in run.to_json()
    nulls = page["tables"]["summary"]["standard_error"].count(None)
    assert nulls > 0
    assert "standard_error" in page["reasons_for_null"]
    values = page["tables"]["summary"]["value"]
    np.testing.assert_array_equal(values, run.summary["value"])


def test_every_null_of_json_has_its_reason(comparison):
    page = json.loads(comparison.to_json())
    for table in page["tables"].values():
        for name, column in table.items():
            if None in column:
                assert name in page["reasons_for_null"], name


def test_numbers_do_not_depend_on_the_line_they_are_read_from(comparison):
    again = serrata.Comparison.from_bytes(comparison.to_bytes())
    assert again == comparison
    assert again.to_json() == comparison.to_json()
    assert copy.deepcopy(comparison) == copy.copy(comparison) == comparison


def test_without_a_seed_one_is_drawn_and_kept(reference):
    one, other = (reference.simulate(trials=10) for _ in range(2))
    assert one.seed != other.seed
    assert 0 <= one.seed < 2**53
    assert reference.simulate(trials=10, seed=one.seed) == one


def test_a_seed_may_be_any_64_bits_and_any_integer_type(reference):
    assert reference.simulate(trials=10, seed=2**64 - 1).seed == 2**64 - 1
    assert reference.simulate(trials=np.int32(10), seed=np.uint8(3)) == reference.simulate(trials=10, seed=3)


def test_one_line_and_a_table_for_notebooks(losses):
    assert repr(losses).startswith("<Comparison of 4 strategies, 2,000 trials, seed 1: fewest losses with ")
    assert "\n" not in repr(losses)
    page = losses._repr_html_()
    assert serrata.CAUTION.replace("'", "&#x27;") in page
    assert f"cost, {plots.money_unit(losses)[1]}" in page
    # Every difference to the baseline is there, in words of the text report.
    compared = page.split("<table")[2]
    assert f">Differences to {losses.study.baseline}" in compared
    assert compared.count("<tr>") == 1 + len(losses.differences)
    text = losses.report("differences")
    numbers = re.findall(r">([-0-9.,e]+)<br>", compared)
    assert len(numbers) == (losses.differences["high"] > losses.differences["low"]).sum() > 0
    assert all(number in text for number in numbers)


def test_a_part_of_the_report_is_what_the_whole_has(losses):
    whole, closing = losses.report(), f"{report.RANGES}\n\n{serrata.CAUTION}"
    for part in report.PARTS:
        words = losses.report(part)
        assert " ".join(words.split()).endswith(" ".join(closing.split()))
        assert words.split("\n\nRanges are 95 % intervals")[0] in whole
    # A terminal of 80 columns hides the numbers of the table; the text shows each of them.
    assert all(line["strategy"] in losses.report("differences") for _, line in losses.differences.iterrows())
    with pytest.raises(serrata.ArgumentError, match="choose one of answer, heading, losses, limits, by_year"):
        losses.report("money")


def test_names_are_escaped_in_html(losing):
    page = losing.with_values({"study.name": "<b>&"}).simulate(trials=10, seed=1)._repr_html_()
    assert "&lt;b&gt;&amp;" in page
    assert "<b>" not in page


def test_written_files_are_the_same_again_and_name_no_place(losses, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    losses.write(tmp_path / "a")
    monkeypatch.setenv("COLUMNS", "60")
    losses.write(tmp_path / "b")
    names = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert [f"{table}.csv" for table in sorted(TABLES)] == [name for name in names if name.endswith(".csv")]
    assert {"result.json", "report.txt", "study.toml", "risk_by_year.png"} <= set(names)
    for name in names:
        one, other = ((tmp_path / which / name).read_bytes() for which in "ab")
        assert one == other, name
        assert str(tmp_path).encode() not in one, name
    back = pd.read_csv(
        tmp_path / "a" / "summary.csv", keep_default_na=False, na_values={"standard_error": "", "events": ""}
    )
    np.testing.assert_array_equal(back["value"], losses.summary["value"])
