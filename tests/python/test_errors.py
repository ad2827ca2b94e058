"""Refusals: the right class, and words that say what is wrong and what to do."""

import copy
import pickle

import numpy as np
import pytest

import serrata
from serrata import _engine


def test_the_tree_of_exceptions_is_the_documented_one():
    for name in ("StudyError", "ArgumentError", "FileError", "ContradictionError", "InternalError"):
        assert issubclass(getattr(serrata, name), serrata.Error)
    assert issubclass(serrata.StudyError, ValueError)
    assert issubclass(serrata.ArgumentError, ValueError)
    assert issubclass(serrata.FileError, OSError)


def test_a_study_error_holds_every_fault(reference):
    text = reference.to_toml().replace('"kEUR"', "3").replace("blades = 64", "blades = 0")
    with pytest.raises(serrata.StudyError) as caught:
        serrata.Study.parse(text, "mine.toml")
    faults = caught.value.faults
    assert [fault.path for fault in faults] == ["money.currency", "rows.north-a.blades"]
    assert all(fault.line and fault.rule and fault.remedy for fault in faults)
    assert faults[0].line == 1 + text[: text.index("currency")].count("\n")
    assert str(caught.value).startswith("mine.toml: 2 faults\n")


def test_a_study_error_survives_pickle_and_copy():
    with pytest.raises(serrata.StudyError) as caught:
        serrata.Study.parse("")
    for again in (pickle.loads(pickle.dumps(caught.value)), copy.copy(caught.value), copy.deepcopy(caught.value)):
        assert type(again) is serrata.StudyError
        assert str(again) == str(caught.value)
        assert again.faults == caught.value.faults
        assert len(again.faults) > 1


@pytest.mark.parametrize(
    "made",
    [serrata.Error, serrata.ArgumentError, serrata.FileError, serrata.ContradictionError, serrata.InternalError],
)
def test_every_exception_survives_pickle(made):
    again = pickle.loads(pickle.dumps(made("why")))
    assert type(again) is made
    assert str(again) == "why"


def test_files_that_cannot_be_read_are_file_errors(tmp_path):
    with pytest.raises(serrata.FileError, match="there is no such file"):
        serrata.Study.load(tmp_path / "absent.toml")
    with pytest.raises(serrata.FileError, match="is a directory"):
        serrata.Study.load(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'")
    with pytest.raises(serrata.FileError, match="is not UTF-8 text"):
        serrata.Study.load(str(tmp_path / "latin.toml"))


def test_a_place_that_cannot_be_written_to_is_a_file_error(reference, losses, tmp_path):
    with pytest.raises(serrata.FileError):
        reference.save(tmp_path / "absent" / "study.toml")
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(serrata.FileError, match="choose another name for the directory"):
        losses.write(tmp_path / "taken")


NOT_WHOLE = [-1, 2**70, -(2**70), 1.5, 2.0, True, np.float64(3.0), "7", None]


@pytest.mark.parametrize("trials", [0, 4 * 10**9 + 1, *NOT_WHOLE[:-1]])
def test_bad_trials_are_refused(reference, trials):
    with pytest.raises(serrata.ArgumentError, match="trials = ") as caught:
        reference.simulate(trials=trials, seed=1)
    rule, remedy = str(caught.value).splitlines()[1:]
    assert "must be" in rule
    assert "trials" in remedy


@pytest.mark.parametrize("seed", [2**64, *(bad for bad in NOT_WHOLE if bad is not None)])
def test_bad_seeds_are_refused(reference, seed):
    with pytest.raises(serrata.ArgumentError, match="seed = "):
        reference.simulate(trials=10, seed=seed)


@pytest.mark.parametrize("threads", [4097, *NOT_WHOLE])
def test_bad_threads_are_refused(reference, threads):
    with pytest.raises(serrata.ArgumentError, match="threads = "):
        reference.simulate(trials=10, seed=1, threads=threads)


def test_the_whole_message_of_a_bad_argument(reference):
    with pytest.raises(serrata.ArgumentError) as caught:
        reference.simulate(trials=10, seed=-3)
    assert str(caught.value) == (
        "seed = -3\n"
        "    must be a whole number from 0 to 18446744073709551615\n"
        "    any such number will do; leave it out to have one drawn"
    )


def test_an_unknown_table_is_refused_with_the_known_ones(losses):
    with pytest.raises(serrata.ArgumentError) as caught:
        losses.table("sumary")
    assert str(caught.value) == (
        'table = "sumary"\n'
        "    is not the name of a table\n"
        "    choose one of summary, by_unit, by_row, by_year, by_outage, by_hot_spot, loss_cost, spread, "
        "differences, rankings, limits, rare_losses"
    )


@pytest.mark.parametrize(
    "path", ["rows.nowhere.blades", "units.north.duty[9].from_year", "study", "a..b", "", "study.name.x"]
)
def test_paths_that_lead_nowhere_are_refused(reference, path):
    with pytest.raises(serrata.Error):
        reference.with_values({path: 1})


def test_a_path_that_leads_nowhere_says_what_there_is(reference):
    with pytest.raises(serrata.ArgumentError) as caught:
        reference.with_values({"rows.nowhere.blades": 1})
    assert str(caught.value) == (
        'path = "rows.nowhere.blades"\n    leads nowhere: there is no nowhere\n    there is north-a, south-a, south-b'
    )


def test_an_unknown_last_key_is_refused_with_a_suggestion_and_no_line(reference):
    path = "techniques.bench-mt.pod.q50"
    with pytest.raises(serrata.StudyError) as caught:
        reference.with_values({path: 1.0})
    words = f"changed study: 1 fault\n  {path} = 1.0\n    unknown key; did you mean q50_mm?\n    change q50_mm instead"
    assert str(caught.value) == words
    assert caught.value.faults[0].line is None


def test_a_misspelt_name_on_the_way_is_refused_with_a_suggestion(reference):
    with pytest.raises(serrata.ArgumentError, match=r"there is no bench-m\n    did you mean bench-mt\?"):
        reference.with_values({"techniques.bench-m.pod.q50_mm": 1.0})


@pytest.mark.parametrize("value", [None, object(), {1, None}, 2**70, float("nan"), float("inf")])
def test_values_that_cannot_stand_in_a_study_file_are_refused(reference, value):
    with pytest.raises(serrata.Error):
        reference.with_values({"money.discount_rate_per_year": value})


def test_bytes_that_are_no_comparison_are_refused(losses):
    good = losses.to_bytes()
    for bad in (
        b"",
        b"{}",
        good[:-10],
        good.replace(b'"trials":2000', b'"trials":2001'),
        good.replace(b"form 10", b"form 8"),
    ):
        assert bad != good
        with pytest.raises(serrata.ArgumentError, match="bytes = "):
            serrata.Comparison.from_bytes(bad)


def test_a_contradiction_has_its_own_class(losing):
    # Cracks are many and grow through within years, so that no such row could still be running.
    doomed = losing.with_values({"study.start_year": 200})
    with pytest.raises(serrata.ContradictionError, match="yet the row runs"):
        doomed.simulate(trials=10, seed=1)


def test_a_mistake_of_ours_is_an_ordinary_exception_that_asks_for_a_report(capfd):
    with pytest.raises(serrata.InternalError, match="please report it") as caught:
        _engine._fail_inside()
    assert "asked to fail" in str(caught.value)
    assert isinstance(caught.value, Exception)
    capfd.readouterr()
    with pytest.raises(serrata.InternalError):
        _engine._fail_inside()
