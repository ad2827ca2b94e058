"""Signal response, against a direct likelihood in the same run."""

import json
import pickle

import matplotlib.pyplot as plt
import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure
from scipy import optimize, stats

import serrata
from conftest import REFERENCE, ROOT
from serrata.command import main

DATA = ROOT / "tests" / "statistics" / "data" / "ahat_generated.csv"
#: Noise floor, saturation and threshold, as the file states them.
FLOOR, SATURATION, THRESHOLD = 0.45, 5.0, 0.8
LIMITS = {"floor": FLOOR, "saturation": SATURATION}


@pytest.fixture(scope="module")
def signals():
    table = np.genfromtxt(DATA, delimiter=",", skip_header=3, usecols=(0, 1))
    return table[:, 0], table[:, 1]


@pytest.fixture(scope="module")
def noise():
    return 0.5 * np.exp(0.3 * np.random.default_rng(1).standard_normal(150))


@pytest.fixture(scope="module")
def fit(signals, noise):
    size_mm, signal = signals
    return serrata.fit_signal(np.r_[size_mm, 0 * noise], np.r_[signal, noise], **LIMITS, source="a trial in 2031")


def cost(parameters, x, y):
    """Minus the log-likelihood of level, slope and ln scatter."""
    level, slope, log_scatter = parameters
    scatter = np.exp(log_scatter)
    middle = level + slope * x
    below, above = y <= np.log(FLOOR), y >= np.log(SATURATION)
    within = ~(below | above)
    return -(
        stats.norm.logcdf(np.log(FLOOR), middle[below], scatter).sum()
        + stats.norm.logsf(np.log(SATURATION), middle[above], scatter).sum()
        + stats.norm.logpdf(y[within], middle[within], scatter).sum()
    )


def test_line_and_likelihood_are_those_of_a_direct_search(fit, signals):
    x, y = np.log(signals)
    options = {"xatol": 1e-9, "fatol": 1e-13, "maxiter": 5000}
    best = optimize.minimize(cost, [0.0, 1.0, -1.0], args=(x, y), method="Nelder-Mead", options=options)
    assert fit.line["value"].to_numpy() == pytest.approx([*best.x[:2], np.exp(best.x[2])], abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-9)


def test_a_fit_with_errors_in_size_is_that_of_an_average_over_true_sizes(signals):
    """Each reading's chance is averaged over the true sizes by quadrature, which the fit does in closed form."""
    error = 0.15
    x, y = np.log(signals)
    kept = 1.0 - error**2 / x.var()
    points, weights = np.polynomial.hermite_e.hermegauss(60)
    true = (x.mean() + kept * (x - x.mean()))[:, None] + error * np.sqrt(kept) * points
    below, above = y <= np.log(FLOOR), y >= np.log(SATURATION)

    def averaged(parameters):
        level, slope, log_scatter = parameters
        middle, scatter = level + slope * true, np.exp(log_scatter)
        chances = stats.norm.pdf(y[:, None], middle, scatter)
        chances[below] = stats.norm.cdf(np.log(FLOOR), middle[below], scatter)
        chances[above] = stats.norm.sf(np.log(SATURATION), middle[above], scatter)
        return -np.log(chances @ weights / weights.sum()).sum()

    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5000}
    best = optimize.minimize(averaged, [0.1, 1.1, np.log(0.3)], method="Nelder-Mead", options=options)
    ours = serrata.fit_signal(*signals, **LIMITS, size_error_log=error)
    # The search is right to 1e-12 in its value and so to about 1e-6 in its parameters.
    assert ours.line["value"].to_numpy() == pytest.approx([*best.x[:2], np.exp(best.x[2])], abs=1e-5)
    assert ours.log_likelihood == pytest.approx(-best.fun, abs=1e-8)
    # Standard errors by second differences of the averaged likelihood, on the scale of ln scatter.
    step = 1e-3 * np.eye(3)
    bent = [
        [
            (averaged(best.x + a + b) - averaged(best.x + a - b) - averaged(best.x - a + b) + averaged(best.x - a - b))
            / 4e-6
            for b in step
        ]
        for a in step
    ]
    errors = np.sqrt(np.diag(np.linalg.inv(bent))) * [1.0, 1.0, np.exp(best.x[2])]
    assert ours.line["standard_error"].to_numpy() == pytest.approx(errors, rel=1e-3)
    exact = serrata.fit_signal(*signals, **LIMITS)
    assert ours.line.loc["slope", "value"] > exact.line.loc["slope", "value"]


def test_the_likelihood_ratio_bound_is_the_one_found_by_direct_search(fit, signals):
    x, y = np.log(signals)
    critical = stats.norm.ppf(0.95) ** 2

    def excess(log_q90):
        def constrained(free):
            slope, log_scatter = free
            level = np.log(THRESHOLD) + stats.norm.ppf(0.9) * np.exp(log_scatter) - slope * log_q90
            return cost((level, slope, log_scatter), x, y)

        options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5000}
        found = optimize.minimize(constrained, [1.0, -1.0], method="Nelder-Mead", options=options)
        return 2 * (found.fun + fit.log_likelihood) - critical

    log_q90 = np.log(fit.size_at(0.9, threshold=THRESHOLD))
    high = np.exp(optimize.brentq(excess, log_q90, log_q90 + 1, xtol=1e-9))
    assert fit.size_bounds(0.9, threshold=THRESHOLD, method="likelihood-ratio")[1] == pytest.approx(high, rel=1e-5)


def test_a_bound_of_signals_none_of_which_is_cut_off_is_that_of_the_non_central_t_distribution(signals):
    x, y = np.log(signals)
    fit = serrata.fit_signal(*signals)
    assert fit.usual_method == "non-central-t"
    design = np.column_stack([np.ones_like(x), x])
    line, squares, *_ = np.linalg.lstsq(design, y, rcond=None)
    scatter = np.sqrt(squares[0] / (len(x) - 2))
    inverse = np.linalg.inv(design.T @ design)

    def excess(log_size):
        row = np.array([1.0, log_size])
        error = np.sqrt(row @ inverse @ row)
        t = (row @ line - np.log(THRESHOLD)) / scatter / error
        return stats.nct.cdf(t, len(x) - 2, stats.norm.ppf(0.9) / error) - 0.95

    q90_mm = fit.size_at(0.9, threshold=THRESHOLD)
    high = np.exp(optimize.brentq(excess, np.log(q90_mm), np.log(q90_mm) + 1, xtol=1e-10))
    assert fit.size_bounds(0.9, threshold=THRESHOLD)[1] == pytest.approx(high, rel=1e-6)
    assert high > fit.size_bounds(0.9, threshold=THRESHOLD, method="likelihood-ratio")[1]
    told = json.loads(fit.to_json(threshold=THRESHOLD))
    assert (told["method"], told["sides"]) == ("non-central-t", "each bound one-sided")


def test_a_size_beyond_the_largest_crack_is_marked_in_text_table_figure_and_evidence(fit):
    threshold = SATURATION
    largest = fit.range_mm[1]
    assert fit.size_bounds(0.9, threshold=threshold)[1] > largest
    assert "beyond the largest crack looked at" in fit.summary(threshold=threshold)
    assert "beyond the largest crack looked at" in fit.evidence(threshold=threshold).basis
    assert list(fit.trade([THRESHOLD, threshold])["beyond_largest"]) == [False, True]
    assert json.loads(fit.to_json(threshold=threshold))["q90_95_beyond_largest"]
    ax = fit.plot(Figure().subplots(), threshold=threshold)
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert any(text.startswith("q90/95") and text.endswith("(beyond the largest crack)") for text in legend)


def test_noise_and_false_calls_are_those_of_a_direct_search(fit, noise):
    y = np.log(noise)
    below = y <= np.log(FLOOR)

    def noise_cost(parameters):
        mean, spread = parameters[0], np.exp(parameters[1])
        return -(
            below.sum() * stats.norm.logcdf(np.log(FLOOR), mean, spread)
            + stats.norm.logpdf(y[~below], mean, spread).sum()
        )

    best = optimize.minimize(noise_cost, [-0.7, -1.2], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    mean, spread = best.x[0], np.exp(best.x[1])
    assert fit.noise["value"].to_numpy() == pytest.approx([mean, spread], abs=1e-6)
    value, low, high = fit.false_calls(threshold=THRESHOLD)
    assert value == pytest.approx(stats.norm.sf(np.log(THRESHOLD), mean, spread), rel=1e-5)
    assert 0 <= low < value < high <= 1


def test_a_threshold_trades_detection_for_false_calls(fit):
    trade = fit.trade([0.6, 0.8, 1.0])
    assert trade["size_mm"].is_monotonic_increasing
    assert trade["false_calls"].is_monotonic_decreasing
    assert (trade["size_low_mm"] < trade["size_mm"]).all()
    assert (trade["size_mm"] < trade["size_high_mm"]).all()
    with pytest.raises(serrata.ArgumentError, match=r"must be at least 0\.45 and at most 5"):
        fit.trade([0.1])


def test_without_noise_there_are_no_false_calls_to_tell(signals):
    fit = serrata.fit_signal(*signals, **LIMITS)
    assert fit.noise is None
    assert fit.false_calls(threshold=THRESHOLD) is None
    assert json.loads(fit.to_json(threshold=THRESHOLD))["false_calls"] is None
    assert fit.trade([THRESHOLD])["false_calls"].isna().all()
    with pytest.raises(serrata.ArgumentError, match="the noise is not known"):
        fit.plot_trade(thresholds=[THRESHOLD])


def test_signals_that_carry_no_line_are_refused(signals):
    size_mm, signal = signals
    with pytest.raises(serrata.DataError) as caught:
        serrata.fit_signal(1 / size_mm, signal, **LIMITS)
    assert caught.value.reason == "reversed"
    with pytest.raises(serrata.ArgumentError, match="must be as long as size_mm"):
        serrata.fit_signal(size_mm, signal[1:])
    with pytest.raises(serrata.ArgumentError, match="must be a finite number"):
        serrata.fit_signal(size_mm, np.where(signal > 3, np.nan, signal))
    with pytest.raises(serrata.ArgumentError, match="must exceed 0 to have a logarithm"):
        serrata.fit_signal(size_mm, signal - 1)


def test_a_fit_does_not_change_and_survives_pickling(fit):
    again = pickle.loads(pickle.dumps(fit))
    assert again.summary(threshold=THRESHOLD) == fit.summary(threshold=THRESHOLD)
    with pytest.raises(AttributeError, match="does not change"):
        fit.line = None
    with pytest.raises(TypeError, match="is made by fit_signal"):
        serrata.SignalFit()


def test_the_summary_fits_one_screen(fit):
    text = fit.summary(threshold=THRESHOLD)
    for part in (
        f"q90/95 = {fit.size_bounds(0.9, threshold=THRESHOLD)[1]:.3f} mm by modified likelihood ratio, one-sided",
        # The reference value by the plain ratio beside the modified one.
        "   1.281",
        "Wald",
        "false calls: ",
        "a trial in 2031",
        "below the floor 11",
    ):
        assert part in text, part
    assert max(map(len, text.splitlines())) <= 120


def test_the_figures_show_line_threshold_and_trade(fit, signals):
    ax = fit.plot(threshold=THRESHOLD)
    ax.figure.canvas.draw()
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    bound_mm = fit.size_bounds(0.9, threshold=THRESHOLD)[1]
    assert {"below the floor", "above saturation", "line", f"q90/95 {bound_mm:.3g} mm"} <= set(legend)
    plt.close(ax.figure)
    drawn = Figure().subplots()
    assert fit.plot_trade(drawn, thresholds=[0.6, 0.8, 1.0]) is drawn
    plain = serrata.fit_signal(*signals, **LIMITS, signal_scale="plain", size_scale="plain")
    ax = plain.plot(Figure().subplots(), threshold=1.0)
    line = next(line for line in ax.lines if line.get_label() == "line")
    # Where the line crosses the threshold, half of the signals exceed it.
    assert np.interp(plain.size_at(0.5, threshold=1.0), *line.get_data()) == pytest.approx(1.0, abs=1e-9)
    assert "upper bounds, each 95 %" in [text.get_text() for text in drawn.get_legend().get_texts()]


def test_a_fit_goes_into_a_study(fit):
    study = serrata.Study.load(REFERENCE)
    changed = study.with_technique(study.techniques[0], fit.evidence(threshold=THRESHOLD))
    assert f'basis = "{fit.basis(threshold=THRESHOLD)}"' in changed.to_toml()


@pytest.fixture(scope="module")
def records(signals, noise, tmp_path_factory):
    """The signals as records of a technique of the reference study; a look of unknown size and one without signal."""
    technique = serrata.Study.load(REFERENCE).techniques[0]
    lines = ["row,blade,year,technique,called,cracked,confirmed_length_mm,signal"]
    for index, (size_mm, signal) in enumerate(zip(*signals, strict=True)):
        lines.append(f"R1,{index:03},2031,{technique},{'yes' if signal > THRESHOLD else 'no'},yes,{size_mm},{signal}")
    lines += [f"R2,{index:03},2031,{technique},no,no,,{signal!r}" for index, signal in enumerate(noise.tolist())]
    lines += [f"R3,001,2031,{technique},no,,,0.6", f"R3,002,2031,{technique},no,yes,1.5,"]
    path = tmp_path_factory.mktemp("records") / "records.csv"
    path.write_text("\n".join(lines) + "\n")
    return path, technique


def test_records_give_the_same_fit_as_arrays(fit, records):
    read = serrata.fit_signal_records(*records, **LIMITS)
    assert read.log_likelihood == fit.log_likelihood
    assert read.false_calls(threshold=THRESHOLD) == fit.false_calls(threshold=THRESHOLD)
    summary = read.summary(threshold=THRESHOLD)
    assert "not used: 1 line (its true size is not known)" in summary
    assert "not used: 1 line (signal is blank)" in summary
    assert pickle.loads(pickle.dumps(read)).source == read.source == f"{records[1]} of {records[0]}"
    with pytest.raises(serrata.ArgumentError, match="the records have no such technique"):
        serrata.fit_signal_records(records[0], "sonar")


def test_the_command_prints_draws_and_writes_the_study(records, tmp_path):
    path, technique = records

    def run(*arguments):
        limits = ["--technique", technique, "--threshold", THRESHOLD, "--floor", FLOOR, "--saturation", SATURATION]
        command = ["signal", path, *limits, *arguments]
        return CliRunner().invoke(main, [str(argument) for argument in command], catch_exceptions=False)

    shown = run("--figure", tmp_path / "signals.png")
    assert shown.exit_code == 0
    assert "mm by modified likelihood ratio, one-sided" in shown.stdout
    assert serrata.CAUTION in shown.stdout
    assert (tmp_path / "signals.png").stat().st_size > 10_000
    assert json.loads(run("--json").stdout)["q90_mm"] == pytest.approx(1.1114240645536482, abs=5e-4)
    out = tmp_path / "changed.toml"
    assert run("--study", REFERENCE, "--out", out).exit_code == 0
    assert "call above 0.8" in serrata.Study.load(out).to_toml()
    assert run("--out", out).exit_code == 2
    refused = run("--figure", tmp_path / "nowhere" / "signals.png")
    assert refused.exit_code == 2
    assert "ends in .png, .svg or .pdf" in refused.stderr
