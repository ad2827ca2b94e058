"""Growth from records: against scipy in the same run, and what stands around the numbers."""

import json
import math
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from scipy import integrate, optimize, stats

import serrata
from conftest import ROOT
from serrata.command import main

CLOSED = ROOT / "tests" / "engine" / "data" / "closed_case.toml"
#: `Y S sqrt(pi)` of that case.
INTENSITY = 1.12 * 300.0 * math.sqrt(math.pi)
TABLE = {
    "crack": ["A", "A", "B", "B", "C", "C"],
    "starts": [0, 1000, 0, 1000, 200, 1400],
    "depth_mm": [1.0, 2.9, 1.2, 2.6, 0.8, 3.9],
    "sizing_sigma_log": [0.1, 0.1, 0.1, 0.2, 0.15, 0.15],
}


@pytest.fixture(scope="module")
def study():
    """Give a study whose cracks grow by a thousandth of their size at each start, with a scatter of 0.3."""
    law = {
        "growth.paris.exponent": 2,
        "growth.paris.coefficient_m_per_start": 1e-3 / INTENSITY**2,
        "growth.paris.crack_sigma_log": 0.3,
    }
    return serrata.Study.load(CLOSED).with_values(law)


@pytest.fixture(scope="module")
def fit(study):
    return study.fit_growth(TABLE, hot_spot="fillet", source="an invented campaign")


def test_estimate_bounds_and_likelihood_are_those_of_quadrature_by_scipy(fit):
    frame = pd.DataFrame(TABLE)
    pairs = [
        (
            math.log(crack["depth_mm"].iloc[1] / crack["depth_mm"].iloc[0]),
            (crack["starts"].iloc[1] - crack["starts"].iloc[0]) / 1000,
            math.hypot(*crack["sizing_sigma_log"]),
        )
        for _, crack in frame.groupby("crack")
    ]

    def log_likelihood(x):
        def of(growth, expected, sigma):
            def density(z):
                return stats.norm.pdf(growth, expected * math.exp(x + 0.3 * z), sigma) * stats.norm.pdf(z)

            return math.log(integrate.quad(density, -9, 9, epsabs=1e-13, limit=200)[0])

        return sum(of(*pair) for pair in pairs)

    best = optimize.minimize_scalar(lambda x: -log_likelihood(x), bounds=(-2, 2), method="bounded")
    assert math.log(fit.factor) == pytest.approx(best.x, abs=1e-4)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-5)
    assert fit.log_likelihood_of_study == pytest.approx(log_likelihood(0.0), abs=1e-5)
    deviance = 2 * (-best.fun - log_likelihood(0.0))
    assert fit.p_of_study == pytest.approx(stats.chi2.sf(deviance, 1), abs=1e-4)

    def short(x):
        return 2 * (-best.fun - log_likelihood(x)) - stats.norm.ppf(0.975) ** 2

    low, high = (math.exp(optimize.brentq(short, best.x, end)) for end in (best.x - 3, best.x + 3))
    assert fit.bounds() == (pytest.approx(low, rel=1e-4), pytest.approx(high, rel=1e-4))
    step = 1e-2
    curvature = (log_likelihood(best.x + step) - 2 * log_likelihood(best.x) + log_likelihood(best.x - step)) / step**2
    assert fit.standard_error_log == pytest.approx((-curvature) ** -0.5, rel=1e-3)
    assert fit.sigma_log >= max(fit.standard_error_log, math.log(high / fit.factor) / stats.norm.ppf(0.975)) - 1e-4


def test_the_tables_say_what_the_fit_says(fit):
    assert list(fit.summary.columns) == ["value", "low", "high"]
    low, high = fit.bounds()
    assert tuple(fit.summary.loc["factor"]) == (fit.factor, low, high)
    now = 1e-3 / INTENSITY**2
    assert fit.summary.loc["coefficient_m_per_start", "value"] == pytest.approx(now * fit.factor)
    cracks = fit.cracks.set_index("crack")
    assert cracks.loc["A", "factor"] == pytest.approx(math.log(2.9), rel=1e-4)
    assert cracks.loc["C", "starts"] == 1200
    assert ((cracks["low"] < cracks["factor"]) & (cracks["factor"] < cracks["high"])).all()
    assert len(fit.sizes) == 6
    assert set(fit.curves["crack"]) == {"A", "B", "C"}
    # From one size to the next by the factor, and between its bounds.
    curve = fit.curves[fit.curves["crack"] == "A"]
    grown = math.log(curve["fitted_mm"].iloc[-1] / curve["fitted_mm"].iloc[0])
    assert grown == pytest.approx(fit.factor, rel=1e-4)
    page = json.loads(fit.to_json())
    assert (page["factor"], page["caution"]) == (fit.factor, serrata.CAUTION)


def test_everything_that_a_person_reads_has_the_caution_and_the_unsafe_side(fit):
    report = fit.report()
    assert report.rstrip().endswith(serrata.CAUTION)
    assert "the factor is too low, which is the unsafe side" in report.replace("\n", " ")
    assert "multiply" in report
    assert "an invented campaign" in report
    assert repr(fit).startswith("<GrowthFit: paris, 3 cracks, factor ")
    assert any("3 cracks show nothing" in warning for warning in fit.warnings)


def test_files_and_frames_say_the_same_and_survive_pickle(study, fit, tmp_path):
    path = tmp_path / "sizes.csv"
    pd.DataFrame(TABLE).to_csv(path, index=False)
    of_file = study.fit_growth(path, hot_spot="root.fillet", row="row")
    assert of_file.factor == fit.factor
    assert of_file.source == str(path)
    path.write_text("crack;starts;Tiefe [um];sizing_sigma_log\nA;0;1000,5;0,1\nA;1000;2900,5;0,1\n", encoding="utf-8")
    german = study.fit_growth(path, hot_spot="fillet", columns={"depth_mm": "Tiefe [um]"})
    assert german.sizes["size_mm"].tolist() == pytest.approx([1.0005, 2.9005])
    assert any("converted to mm" in note for note in german.notes)
    again = pickle.loads(pickle.dumps(of_file))
    assert (again.factor, again.study, again.report()) == (of_file.factor, study, of_file.report())


def test_a_study_takes_what_the_sizes_say(study, fit):
    evidence = fit.evidence()
    assert evidence.coefficient_m_per_start == pytest.approx(fit.factor * 1e-3 / INTENSITY**2)
    changed = study.with_growth(evidence, uncertain="growth-rate")
    assert f"sigma_log = {fit.sigma_log}" in changed.to_toml()
    assert changed.fit_growth(TABLE, hot_spot="fillet").factor == pytest.approx(1.0, abs=1e-4)
    assert pickle.loads(pickle.dumps(evidence)) == evidence
    with pytest.raises(serrata.ArgumentError, match="uncertain by"):
        changed.with_growth(evidence, uncertain="another")


def test_what_cannot_be_fitted_is_refused(study):
    one = {name: values[:3] for name, values in TABLE.items()}
    with pytest.raises(serrata.RecordsError, match="has one size only") as refused:
        study.fit_growth(one, hot_spot="fillet")
    assert [fault.line for fault in refused.value.faults] == [3]
    swamped = {**TABLE, "sizing_sigma_log": [2.0] * 6}
    bound = study.fit_growth(swamped, hot_spot="fillet")
    assert bound.bound_only
    assert bound.factor is None
    assert bound.bounds()[0] is None
    assert math.isnan(bound.summary.loc["factor", "value"])
    assert "no estimate" in repr(bound)
    with pytest.raises(serrata.DataError, match="no estimate") as error:
        bound.evidence()
    assert error.value.reason == "bound-only"
    json.loads(bound.to_json())
    with pytest.raises(serrata.ArgumentError, match="a data frame has neither"):
        study.fit_growth(TABLE, hot_spot="fillet", decimal="comma")
    with pytest.raises(TypeError, match="fit_growth"):
        serrata.GrowthFit()
    reference = serrata.Study.load(ROOT / "demo-data" / "reference-study.toml")
    with pytest.raises(serrata.DataError):
        reference.fit_growth(TABLE, hot_spot="curved-tree.tang", row="south-b")


def test_a_figure_has_each_crack_with_its_curve_and_band(fit):
    ax = fit.plot()
    assert len(ax.containers) == 3
    assert len(ax.collections) >= 3
    assert ax.get_xlabel() == "starts"
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert labels == ["A, depth", "B, depth", "C, depth"]
    drawn = [line for line in ax.get_lines() if len(line.get_xdata()) == 40]
    np.testing.assert_allclose(drawn[0].get_ydata(), fit.curves.loc[fit.curves["crack"] == "A", "fitted_mm"])
    plt.close("all")


def test_the_command_prints_the_report_and_writes_the_study(study, fit, tmp_path):
    study.save(tmp_path / "study.toml")
    pd.DataFrame(TABLE).to_csv(tmp_path / "sizes.csv", index=False)
    names = ("study.toml", "sizes.csv", "out.toml", "figure.png")
    before, sizes, out, figure = (str(tmp_path / name) for name in names)

    def run(*options):
        arguments = ["records", "growth", before, sizes, "--hot-spot", "fillet", *options]
        return CliRunner().invoke(main, arguments, catch_exceptions=False)

    result = run("--out", out, "--uncertain", "rate", "--figure", figure)
    assert (result.exit_code, result.stderr) == (0, "")
    assert serrata.CAUTION in result.stdout
    assert f"{fit.factor:.4f}" in result.stdout
    assert serrata.Study.load(out) == study.with_growth(
        study.fit_growth(sizes, hot_spot="fillet").evidence(), uncertain="rate"
    )
    assert (tmp_path / "figure.png").stat().st_size > 0
    assert json.loads(run("--json").stdout)["factor"] == fit.factor
    assert run("--uncertain", "rate").exit_code == 2
    refused = CliRunner().invoke(main, ["records", "growth", before, sizes, "--hot-spot", "tang"])
    assert refused.exit_code == 2
    assert "must be in the study" in refused.stderr
