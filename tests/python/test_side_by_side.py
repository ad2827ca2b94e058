"""Techniques side by side, against general-purpose libraries run in the same test."""

import itertools
import json
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from scipy import stats
from statsmodels.stats.contingency_tables import cochrans_q, mcnemar
from statsmodels.stats.multitest import multipletests

import serrata
from conftest import DEMO_RECORDS

TECHNIQUES = ["mpi-enhanced", "penetrant", "eddy-array"]


@pytest.fixture(scope="module")
def records():
    return serrata.Records.load(DEMO_RECORDS, dates="day-month-year")


@pytest.fixture(scope="module")
def found(records):
    return records.side_by_side(TECHNIQUES)


@pytest.fixture(scope="module")
def calls(records):
    """Who called which blade, counted anew: True, False, or None where a technique did not look."""
    frame = records.frame
    clean = frame[frame["cracked"].eq(False)][["row", "blade"]].apply(tuple, axis=1)
    known_cracked = frame[frame["cracked"].eq(True)][["row", "blade"]].apply(tuple, axis=1)
    free = set(clean) - set(known_cracked)
    answers = {}
    for line in frame.itertuples():
        if line.technique in TECHNIQUES and (line.row, line.blade) not in free:
            blade = answers.setdefault((line.row, line.blade, line.inspection), {})
            blade[line.technique] = blade.get(line.technique, False) or line.called
    return answers


def test_counts_are_those_of_a_count_by_hand(found, calls):
    whole = [blade for blade in calls.values() if len(blade) == len(TECHNIQUES)]
    assert found.found_by_any == sum(any(blade.values()) for blade in whole)
    assert found.found_by_none == sum(not any(blade.values()) for blade in whole)
    table = found.finds.set_index("technique")
    for technique in TECHNIQUES:
        mine = [blade for blade in whole if blade[technique]]
        assert table["found"][technique] == len(mine)
        assert table["found_alone"][technique] == sum(sum(blade.values()) == 1 for blade in mine)
        assert table["missed"][technique] == found.found_by_any - len(mine)
    assert found.patterns["blades"].sum() == found.found_by_any


def test_pairs_agree_with_statsmodels(found, calls):
    pairs = found.pairs
    assert len(pairs) == 3
    exact = []
    for first, second in itertools.combinations(TECHNIQUES, 2):
        table = np.zeros((2, 2), dtype=int)
        for blade in calls.values():
            if first in blade and second in blade:
                table[1 - blade[first], 1 - blade[second]] += 1
        ours = pairs[(pairs["first"] == first) & (pairs["second"] == second)].iloc[0]
        assert [ours["both"], ours["only_first"], ours["only_second"], ours["neither"]] == table.ravel().tolist()
        assert ours["p_exact"] == pytest.approx(mcnemar(table, exact=True).pvalue, rel=1e-10)
        chi_square = mcnemar(table, exact=False, correction=False)
        assert ours["chi_square"] == pytest.approx(chi_square.statistic, rel=1e-12)
        assert ours["p_chi_square"] == pytest.approx(chi_square.pvalue, rel=1e-9)
        exact.append(ours["p_exact"])
    assert list(pairs["p_holm"]) == pytest.approx(multipletests(exact, method="holm")[1], rel=1e-12)


def test_all_together_agree_with_statsmodels(found, calls):
    whole = np.array([[blade[t] for t in TECHNIQUES] for blade in calls.values() if len(blade) == 3], dtype=int)
    theirs = cochrans_q(whole)
    ours = found.cochran.iloc[0]
    assert ours["q"] == pytest.approx(theirs.statistic, rel=1e-12)
    assert ours["p"] == pytest.approx(theirs.pvalue, rel=1e-9)


def test_shares_have_the_exact_intervals_of_scipy(found):
    for line in found.finds.itertuples():
        theirs = stats.binomtest(line.found, found.found_by_any).proportion_ci(0.95, method="exact")
        assert line.share_of_union_low == pytest.approx(theirs.low, rel=1e-9)
        assert line.share_of_union_high == pytest.approx(theirs.high, rel=1e-9)


@pytest.mark.parametrize(("by", "lengths"), [("surface", ()), ("grade", ()), ("length", (1.5, 3.0))])
def test_classes_add_up_to_all(records, by, lengths):
    finds = records.side_by_side(TECHNIQUES, by=by, lengths_mm=lengths).finds
    whole, parts = finds[finds["class"] == "all"], finds[finds["class"] != "all"]
    assert parts["class"].nunique() > 1
    assert parts.groupby("technique")["found"].sum().to_dict() == whole.set_index("technique")["found"].to_dict()


def test_the_report_names_numbers_bias_and_caution(found):
    report = found.report()
    for part in (
        "All blades",
        "share of all finds",
        "Cochran's Q",
        "upper limits of the probability of detection",
        serrata.CAUTION,
    ):
        assert part in report
    assert str(found) == report
    assert max(map(len, report.splitlines())) <= 120


def test_the_figure_shows_every_set_of_techniques(found):
    ax = found.plot(Figure().subplots())
    patterns = found.patterns
    heights = {round(bar.get_x() + bar.get_width() / 2): bar.get_height() for bar in ax.patches}
    assert [heights[place] for place in sorted(heights)] == patterns["blades"].tolist()
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert set(TECHNIQUES) <= set(labels)
    assert f"called by none: {found.found_by_none} blades" in ax.get_title()
    own = found.plot()
    own.figure.canvas.draw()
    plt.close(own.figure)


def test_where_no_blade_was_looked_at_by_all_the_figure_shows_the_pairs(records):
    everyone = records.side_by_side()
    assert everyone.patterns.empty
    ax = everyone.plot(Figure().subplots())
    pairs = everyone.pairs[everyone.pairs["blades"] > 0]
    names = [f"{line.first}, {line.second} ({line.blades})" for line in pairs.itertuples()]
    assert [label.get_text() for label in ax.get_yticklabels()] == names
    drawn = np.array([bar.get_width() for bar in ax.patches]).reshape(3, len(pairs))
    np.testing.assert_array_equal(drawn, pairs[["only_first", "both", "only_second"]].to_numpy().T)
    assert "no blade was looked at by all" in ax.get_title()


def test_it_survives_pickle_and_json(found):
    assert pickle.loads(pickle.dumps(found)) == found
    assert json.loads(found.to_json())[0]["overlap"]["found_by_any"] == found.found_by_any


def test_what_cannot_be_compared_is_refused(records):
    with pytest.raises(serrata.ArgumentError, match="is not in the records"):
        records.side_by_side(["mpi-enhanced", "x-ray"])
    with pytest.raises(serrata.DataError) as caught:
        records.side_by_side(["mpi-enhanced", "eddy-current"])
    assert caught.value.reason == "no-common-blades"
    with pytest.raises(serrata.ArgumentError, match="number of techniques"):
        records.side_by_side(["penetrant"])
    with pytest.raises(serrata.ArgumentError, match='counts with by="length" alone'):
        records.side_by_side(lengths_mm=[1.0])
    with pytest.raises(serrata.ArgumentError, match="must rise"):
        records.side_by_side(TECHNIQUES, by="length", lengths_mm=[2.0, 1.0])
