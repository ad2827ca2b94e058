"""Missed cracks, against statsmodels run in the same test."""

import itertools
import json
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
import statsmodels.api as sm
from matplotlib.figure import Figure

import serrata
from conftest import DEMO_RECORDS, DEMO_SECTIONED, ROOT

TECHNIQUES = ["mpi-enhanced", "penetrant", "eddy-array"]
DATA = ROOT / "tests" / "statistics" / "data"


@pytest.fixture(scope="module")
def missed():
    return serrata.Records.load(DEMO_RECORDS, dates="day-month-year").missed_cracks(TECHNIQUES)


def counts_of(file):
    """Counts of a published data set by who found what, its lists by their letters."""
    lines = [line.split(",") for line in (DATA / file).read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    names = [name.removeprefix("list_") for name in lines[0][:-1]]
    cells = [[int(cell) for cell in line] for line in lines[1:]]
    return names, {tuple(n for n, one in zip(names, row, strict=False) if one): row[-1] for row in cells}


@pytest.mark.parametrize("file", ["capture_hepatitis_a.csv", "capture_diabetes.csv"])
def test_every_log_linear_model_is_the_poisson_regression_of_statsmodels(file):
    names, counts = counts_of(file)
    ours = serrata.MissedCracks.from_counts(names, counts).models.set_index("links")
    sets = list(counts)
    observed = np.array([counts[one] for one in sets], dtype=float)
    pairs = list(itertools.combinations(names, 2))
    checked = 0
    for number in range(len(pairs) + 1):
        for linked in itertools.combinations(pairs, number):
            columns = [[1.0] * len(sets)]
            columns += [[float(name in one) for one in sets] for name in names]
            columns += [[float(a in one and b in one) for one in sets] for a, b in linked]
            if len(columns) == len(sets):
                continue  # A perfect fit leaves that library no degree of freedom; the Rust tests have its closed form.
            fit = sm.GLM(observed, np.array(columns).T, family=sm.families.Poisson()).fit(tol=1e-12)
            line = ours.loc[", ".join(f"{a} + {b}" for a, b in linked) or "none"]
            n0 = np.exp(fit.params[0])
            assert line["missed"] == pytest.approx(n0, rel=1e-6)
            assert line["standard_error"] == pytest.approx(np.sqrt(n0 + n0**2 * fit.cov_params()[0, 0]), rel=1e-6)
            assert line["aic"] == pytest.approx(fit.aic, abs=1e-6)
            checked += 1
    assert len(ours) == 2 ** len(pairs)
    assert checked >= len(ours) - 1


def test_chapman_is_met_on_a_published_example():  # Ricker 1975, as quoted by a fisheries library's tests
    counts = {("a", "b"): 57, ("a",): 109 - 57, ("b",): 177 - 57}
    estimate = serrata.MissedCracks.from_counts(["a", "b"], counts)
    assert estimate.pairs["chapman"].iloc[0] == pytest.approx(337, abs=0.5)
    assert estimate.method == "two-lists"
    assert estimate.models.empty
    assert estimate.coverage is None


def test_the_demo_records_give_an_answer_with_lengths(missed):
    low, high = missed.interval
    assert missed.method == "by-length"
    assert 0 < low < missed.estimate < high
    assert missed.lengths["missed"].sum() == pytest.approx(missed.estimate, rel=1e-9)
    assert missed.length_models["weight"].sum() == pytest.approx(1.0)
    assert missed.mostly_shorter_mm in set(missed.lengths["length_mm"])


def test_the_report_leads_with_the_plain_sentence(missed):
    report = missed.report()
    low, high = missed.range
    assert report.startswith(f"Between {low:g} and {high:g} more cracked blades than the {missed.found} found")
    assert "mostly shorter than" in " ".join(report.split("\n\n")[0].split())
    # The truth by make_demo_records.py: 5 and 9 in the two rows.
    assert low <= 14 <= high
    bound = missed.methods.set_index("method")["missed"]["lower-bound"]
    assert bound > missed.estimate
    said = f"at least about {bound:.0f} were missed, and {missed.estimate:.1f} by length is too few"
    assert said in " ".join(report.split())
    for part in ("takes for granted", "By method", "lower bound", "Two by two", "log-linear number", serrata.CAUTION):
        assert part in report
    assert max(map(len, report.splitlines())) <= 120
    assert str(missed) == report


def test_error_of_measured_lengths_is_told_and_allowed_for():
    records = serrata.Records.load(DEMO_RECORDS, dates="day-month-year")
    plain, known = (records.missed_cracks(TECHNIQUES, length_error_log=spread) for spread in (0.0, 0.3))
    assert known.length_error_log == 0.3
    assert "measured ones err by a factor of about 1.35" in " ".join(known.report().split())
    assert "without error" in " ".join(plain.report().split())
    with pytest.raises(serrata.ArgumentError, match="length_error_log"):
        records.missed_cracks(TECHNIQUES, length_error_log=-1.0)


def test_few_recaptures_give_the_wide_interval_of_the_likelihood_and_a_warning():
    estimate = serrata.MissedCracks.from_counts(["a", "b"], {("a",): 13, ("b",): 10, ("a", "b"): 1})
    # In all 43 to 2284, by an independent program: within 1, and 3 %.
    low, high = estimate.interval
    assert low + estimate.found == pytest.approx(43, abs=1)
    assert high + estimate.found == pytest.approx(2284, rel=0.03)
    assert estimate.pairs["high"].iloc[0] == pytest.approx(high, abs=1)
    assert "rests on 1 blade found by both" in estimate.report()


def test_no_overlap_gives_no_upper_bound_and_still_a_figure():  # G1
    estimate = serrata.MissedCracks.from_counts(["a", "b"], {("a",): 8, ("b",): 5})
    assert estimate.interval[1] is None
    assert estimate.method == "lower-bound"
    assert estimate.pairs["missed"].isna().all()
    assert "no estimate (" in estimate.report()
    assert "no upper bound" in estimate.report()
    ax = estimate.plot(Figure().subplots())
    assert "no upper bound" in [text.get_text() for text in ax.get_legend().get_texts()]


def test_the_range_is_what_the_methods_leave_together(missed):
    methods = missed.methods
    assert list(methods["method"]) == ["by-length", "log-linear", "lower-bound"]
    assert missed.range == (methods["low"].min(), methods["high"].max())
    assert np.isnan(methods["high"].iloc[-1])
    low, high = missed.range
    assert repr(missed).startswith(f"<MissedCracks {low:g} to {high:g} beside 45 found")
    alone = serrata.MissedCracks.from_counts(["a", "b"], {("a", "b"): 12, ("a",): 5, ("b",): 3})
    assert alone.range == alone.interval


def test_blades_that_are_known_to_be_missed_overrule_the_methods():
    missed = serrata.Records.load(DEMO_SECTIONED, dates="day-month-year").missed_cracks()
    frame = serrata.Records.load(DEMO_SECTIONED, dates="day-month-year").frame
    blades = frame.groupby(["row", "blade", "inspection"])
    by_all = blades["technique"].nunique() == frame["technique"].nunique()
    known = (by_all & (blades["cracked"].first() == True) & ~blades["called"].any()).sum()  # noqa: E712
    assert missed.confirmed_missed == known == 6
    assert (missed.methods["missed"] < known).all()
    assert (missed.estimate, missed.range) == (None, (6.0, 6.0))
    assert missed.report().startswith("6 more cracked blades than the 33 found: all that none called are confirmed")


def test_the_figure_has_a_line_for_each_method_and_pair(missed):
    ax = missed.plot()
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels[:3] == list(missed.methods["words"])
    assert labels[3:] == [
        f"{one} and {other}" for one, other in zip(missed.pairs["first"], missed.pairs["second"], strict=True)
    ]
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    low, high = missed.range
    assert legend[0] == f"together: {low:g} to {high:g}"
    assert "all techniques, 95 % interval" in legend
    points = [line.get_xdata()[0] for line in ax.lines if len(line.get_xdata()) == 1]
    np.testing.assert_allclose(points, [*missed.methods["missed"], *missed.pairs["missed"]])
    ax.figure.canvas.draw()
    plt.close(ax.figure)


def test_it_survives_pickle_and_json(missed):
    assert pickle.loads(pickle.dumps(missed)) == missed
    assert json.loads(missed.to_json())["missed_cracks"]["found"] == missed.found


def test_what_says_nothing_is_refused():
    with pytest.raises(serrata.DataError) as caught:
        serrata.MissedCracks.from_counts(["a", "b"], {("a",): 8})
    assert caught.value.reason == "found-nothing"
    with pytest.raises(serrata.ArgumentError, match="'c' is not a technique named"):
        serrata.MissedCracks.from_counts(["a", "b"], {("a", "c"): 8})
    with pytest.raises(serrata.ArgumentError, match="must be a whole number"):
        serrata.MissedCracks.from_counts(["a", "b"], {("a",): -1})
    # Six found by one, eight by the other, nine by both.
    with pytest.raises(serrata.ArgumentError, match="must be a whole number"):
        serrata.MissedCracks.from_counts(["a", "b"], {("a",): 6 - 9, ("b",): 8 - 9, ("a", "b"): 9})


def test_an_estimate_beyond_what_none_called_is_not_known():
    counts = {("a",): 14, ("b",): 11, ("a", "b"): 1, (): 8}
    estimate = serrata.MissedCracks.from_counts(["a", "b"], counts)
    assert (estimate.method, estimate.estimate, estimate.interval[1]) == ("cannot-be-told", None, 8.0)
    assert "no more than the 8 that none called" in " ".join(estimate.report().split())
    assert "not known" in repr(estimate)
    ax = estimate.plot(Figure().subplots())
    ax.figure.canvas.draw()
