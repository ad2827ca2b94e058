"""Expected losses by quadrature, as Python shows them; the numbers themselves are checked in tests/engine/screen.rs."""

import pickle

import numpy as np
import pandas as pd
import pytest

import serrata

TABLES = ("summary", "by_row", "by_year", "not_screened")


@pytest.fixture(scope="module")
def screening(losing):
    return losing.screen()


def values(table, quantity):
    return table[table["quantity"] == quantity].set_index("strategy")["value"]


def test_losses_are_those_of_the_lives(screening, losses):
    for quantity in ("losses", "p_any_loss", "blades_replaced"):
        lived = losses.summary[losses.summary["quantity"] == quantity].set_index("strategy")
        screened = values(screening.summary, quantity)
        assert list(screened.index) == ["none", "insitu_every", "bench_third"]
        for strategy, value in screened.items():
            line = lived.loc[strategy]
            assert abs(value - line["value"]) <= 4.0 * line["standard_error"]


def test_years_add_up_and_the_fleet_is_the_sum_of_its_rows(screening):
    losses = values(screening.summary, "losses")
    for level in ("fleet", "row"):
        years = screening.by_year[screening.by_year["level"] == level].groupby("strategy")["value"].sum()
        for strategy, value in losses.items():
            assert years[strategy] == pytest.approx(value, rel=1e-12)
    assert values(screening.by_row, "losses").to_dict() == pytest.approx(losses.to_dict())


def test_numbers_have_their_errors_and_the_columns_of_a_comparison(screening, losses):
    for name in ("summary", "by_row", "by_year"):
        table = getattr(screening, name)
        shared = [column for column in table.columns if column != "numerical_error"]
        assert set(shared) <= set(losses.summary.columns)
        assert (table["numerical_error"] >= 0.0).all()
        if name != "by_year":
            assert (table["numerical_error"] <= 1e-3 * table["value"]).all()
    assert (screening.summary["numerical_error"] > 0.0).any()


@pytest.mark.parametrize("name", TABLES)
def test_tables_come_as_frames_and_as_arrays(screening, name):
    columns = screening.columns(name)
    assert all(isinstance(column, np.ndarray) for column in columns.values())
    pd.testing.assert_frame_equal(pd.DataFrame(columns), screening.table(name), check_dtype=False)
    pd.testing.assert_frame_equal(getattr(screening, name), screening.table(name))
    with pytest.raises(serrata.ArgumentError, match="summary, by_row, by_year, not_screened"):
        screening.columns("by_years")


def test_what_is_not_screened_is_said(screening):
    assert screening.not_screened.to_dict("records") == [
        {
            "strategy": "insitu_then_bench",
            "path": "strategies.insitu_then_bench.looks[1].escalation",
            "reason": "what one blade shows changes what is done to others: blades are not independent",
            "remedy": "simulate it instead",
        }
    ]
    text = screening.report()
    assert "not screened: strategies.insitu_then_bench.looks[1].escalation" in text
    assert str(screening) == text
    assert repr(screening) == "<Screening: 3 of 4 strategies of 'yardstick y1c'>"


def test_what_nothing_can_be_said_of_is_refused(losing):
    fixed = losing.with_values({"growth.paris.crack_sigma_log": 0})
    with pytest.raises(serrata.StudyError, match=r"growth\.paris\.crack_sigma_log\n    is 0: lives") as caught:
        fixed.screen()
    assert [fault.path for fault in caught.value.faults] == ["growth.paris.crack_sigma_log"]
    with pytest.raises(TypeError, match=r"study\.screen\(\)"):
        serrata.Screening()


def test_shared_shifts_leave_the_chance_of_any_loss_out(losing):
    shared = losing.with_values({"techniques.insitu.inspection_sigma": 0.2}).screen()
    assert list(values(shared.summary, "p_any_loss").index) == ["none", "bench_third"]
    notes = shared.summary.groupby("strategy")["note"].first()
    assert notes["insitu_every"].startswith("blades of a row share shifts of looks")
    assert notes["none"] == ""


def test_answers_are_the_same_every_time(losing, screening):
    again = losing.screen()
    for name in TABLES:
        pd.testing.assert_frame_equal(again.table(name), screening.table(name))


def test_a_rough_screening_is_as_far_off_as_it_says(losing):
    fine, rough = losing.screen().summary, losing.screen(rough=True).summary
    assert (rough["value"] != fine["value"]).any()
    assert ((rough["value"] - fine["value"]).abs() <= rough["numerical_error"] + fine["numerical_error"]).all()
    assert (rough["numerical_error"] <= 0.1 * rough["value"]).all()
    kept = pickle.loads(pickle.dumps(losing.screen(rough=True)))
    assert kept.summary.equals(rough)
